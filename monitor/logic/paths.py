"""Does each way still reach a person? The weekly test, the lines of the day, and what is shown.

A network that says "accepted" proves nothing: a path counts as proven only when a person has
answered what went out by it, a test by its number or an event by the way itself.
"""

from dataclasses import replace
from math import inf

from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic import duty, telling, wording_paths
from monitor.logic.path_records import PathRecord
from monitor.logic.scan import Scan
from monitor.setup import DAY, Setup

WAIT = 1800.0
"""Seconds in which a test must be answered (common practice, no source)."""
LATE = 3 * 3600.0
"""Seconds after its time for which a test or a line still goes out, after a restart."""
LINE_WAIT = 900.0
"""Seconds after its time at which a line of the day counts as missing (common practice)."""
TO_PEOPLE = {"modem": "text", "text_gateway": "", "mail": "mail"}
"""Kinds of channel that reach a person anywhere, and the way by which one answers on them."""
BEACONS = ("sign_mqtt", "sign_http")


def tested(setup: Setup) -> tuple[str, ...]:
    """The channels that are tested: those that reach somebody of the set-up anywhere."""
    used = {channel for person in setup.people for channel in person.channels}
    return tuple(item.id for item in setup.channels if item.kind in TO_PEOPLE and item.id in used)


def has_listener(setup: Setup) -> bool:
    """Whether signs of life leave this watch, so that somebody elsewhere can miss them."""
    return any(channel.kind in BEACONS for channel in setup.channels)


def follow(scan: Scan, anew: bool) -> None:
    """Carry tests and lines on. anew: something happened, so look again."""
    if not anew and scan.t < scan.running.paths_due:
        scan.due(scan.running.paths_due)
        return
    before = scan.durable
    for channel, record in tuple(scan.durable.paths.items()):
        if record.number and scan.t >= record.wait:
            _no_answer(scan, channel, record)
    due = min((r.wait for r in scan.durable.paths.values() if r.number), default=inf)
    if scan.now.trusted and scan.setup.people:
        due = min(due, _test_when_due(scan), _say_when_due(scan))
    due = scan.t if scan.durable is not before else due
    scan.set_paths_due(due)
    scan.due(due)


def _test_when_due(scan: Scan) -> float:
    """Test every path once it is time; the elapsed second at which that is."""
    wanted, lines, now = scan.setup.path_test, scan.durable.lines, scan.now.utc
    if wanted is None or not tested(scan.setup):
        return inf
    if lines.tested == 0.0:
        scan.keep(lines=replace(lines, tested=now))
        return scan.t
    at = scan.setup.next_time_of_day(max(lines.tested, now - LATE), wanted[1])
    while scan.setup.local(at).weekday() != wanted[0]:
        at = scan.setup.next_time_of_day(at, wanted[1])
    if now < at:
        return scan.t + at - now
    scan.keep(lines=replace(lines, tested=now))
    for channel in tested(scan.setup):
        _test(scan, channel)
    return scan.t


def _test(scan: Scan, channel: str) -> None:
    """One text by this channel alone, to the first on duty whom it reaches."""
    order = duty.order_at(scan.setup, scan.durable, scan.now.utc)
    people = (*order, *(name for name in scan.setup.person if name not in order))
    who = next(name for name in people if channel in scan.setup.person[name].channels)
    number = scan.take_event_number()
    record = scan.durable.paths.get(channel, PathRecord())
    record = replace(record, number=number, who=who, wait=scan.t + WAIT)
    scan.keep(paths={**scan.durable.paths, channel: record})
    body = wording_paths.test(scan, record)
    telling.say(scan, "path test", "notice", (who,), body, number, channel)


def _no_answer(scan: Scan, channel: str, record: PathRecord) -> None:
    """Nobody answered a test: the next on the list is told."""
    failed = replace(record, number=0, failed=scan.now.utc)
    scan.keep(paths={**scan.durable.paths, channel: failed})
    scan.journal("answer", str(record.number), "no answer", who=record.who, cause="path test")
    order = duty.order_at(scan.setup, scan.durable, scan.now.utc)
    others = [name for name in order if name != record.who]
    body = wording_paths.not_reached(scan, channel, record)
    telling.say(scan, "path not proven", "notice", others[:1] or order[:1], body)


def _say_when_due(scan: Scan) -> float:
    """The evening and the morning line once it is time; the elapsed second at which that is."""
    lines, now = scan.durable.lines, scan.now.utc
    if not scan.setup.day_lines:
        return inf
    if lines.said == 0.0:
        scan.keep(lines=replace(lines, said=now))
        return scan.t
    after = max(lines.said, now - LATE)
    evening = scan.setup.next_time_of_day(after, scan.setup.duty.evening)
    morning = scan.setup.next_time_of_day(after, scan.setup.quiet[1])
    if has_listener(scan.setup):
        evening = inf
    at = min(evening, morning)
    if now < at:
        return scan.t + at - now
    _say(scan, morning_line=morning < evening)
    return scan.t


def _say(scan: Scan, morning_line: bool) -> None:
    """To the first on duty; in the morning to whoever was told in the evening to expect it."""
    order = duty.order_at(scan.setup, scan.durable, scan.now.utc)
    expects = scan.durable.lines.to
    if morning_line:
        turn, who = "morning line", expects if expects in scan.setup.person else order[0]
        body = wording_paths.morning(scan)
    else:
        turn, who = "evening line", order[0]
        body = wording_paths.evening(scan, scan.setup.quiet[1] + LINE_WAIT)
    to = "" if morning_line else who
    scan.keep(lines=replace(scan.durable.lines, said=scan.now.utc, to=to))
    telling.say(scan, turn, "notice", (who,), body)


# Answers of people


def test_for(scan: Scan, said: Answer) -> str:
    """The channel whose test an OK is about, by its number; "" for none."""
    if said.kind != "take" or said.event is None:
        return ""
    found = (key for key, item in scan.durable.paths.items() if item.number == said.event)
    return next(found, "")


def settle(scan: Scan, channel: str, said: Answer) -> None:
    """The answer to a test. RefusedInput where it was put to somebody else."""
    record = scan.durable.paths[channel]
    if said.who != record.who:
        name = scan.setup.person[record.who].name if record.who in scan.setup.person else "?"
        raise RefusedInput(f"test {record.number} is put to {name}")
    _prove(scan, channel, said.who)
    scan.journal("answer", str(record.number), "path proven", who=said.who, cause=channel)


def heard(scan: Scan, said: Answer) -> None:
    """Any answer proves the way by which it came, where that is one channel and no other."""
    ways = [
        channel.id
        for channel in scan.setup.channels
        if said.way and TO_PEOPLE.get(channel.kind) == said.way and channel.id in tested(scan.setup)
    ]
    if len(ways) == 1 and ways[0] in scan.setup.person[said.who].channels:
        _prove(scan, ways[0], said.who)


def _prove(scan: Scan, channel: str, who: str) -> None:
    record = scan.durable.paths.get(channel, PathRecord())
    number = 0 if record.who == who else record.number
    proven = replace(record, proved=scan.now.utc, by=who, failed=0.0, number=number)
    scan.keep(paths={**scan.durable.paths, channel: proven})


# What is shown


def path_lines(scan: Scan) -> list[str]:
    """Each path with its last proof, and what stands as a warning."""
    setup = scan.setup
    names = tested(setup)
    lines = [_path_line(scan, name) for name in names]
    if len(names) == 1:
        lines.append(f"ONE PATH ONLY: nobody is reached if {names[0]} fails.")
    if setup.people and not has_listener(setup):
        lines.append("NOBODY WATCHES THIS WATCH: no sign of life leaves it. Look in by the clock.")
    return lines


def _path_line(scan: Scan, channel: str) -> str:
    record = scan.durable.paths.get(channel, PathRecord())
    if record.failed:
        sent = _day_and_time(scan, record.failed - WAIT)
        return f"Path {channel}: NOT PROVEN, test of {sent} not answered."
    if not record.proved:
        return f"Path {channel}: never proven by an answer."
    name = scan.setup.person[record.by].name if record.by in scan.setup.person else record.by
    days = int((scan.now.utc - record.proved) // DAY)
    age = f", {days} days ago" if days > 1 else ""
    return f"Path {channel}: last proven {_day_and_time(scan, record.proved)} by {name}{age}."


def _day_and_time(scan: Scan, utc: float) -> str:
    return f"{scan.setup.local(utc):%a %d %b %H:%M}"
