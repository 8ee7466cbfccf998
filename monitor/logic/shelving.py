"""One alarm put aside by a person: shelved for hours, or out of service for days, always to an end.

What is put aside is judged and recorded all the same. A shelf has a reason and at most 8 hours, an
urgent alarm one. An alarm out of service has a check by hand that is asked for. Nothing is put
aside silently over a night: those on duty are told before it. A shelf that is not known after a
restart is none. Figures: common practice, no source, where no other is named.
"""

from dataclasses import replace
from math import isfinite

from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic import alarms, events, quiet, telling, wording_care
from monitor.logic.aside import AsideRecord
from monitor.logic.plan import Spec
from monitor.logic.scan import Scan

MINUTE, HOUR, DAY = 60.0, 3600.0, 86_400.0
SHELF = {"urgent": 1.0 * HOUR}
SHELF_ELSE = 8.0 * HOUR
"""Longest shelf by grade, from its beginning: lengthening a shelf does not go round it."""
SERVICE = 14.0 * DAY
"""Longest time out of service: a spare part by post."""
CHECK_EVERY = {"urgent": 4.0 * HOUR, "high": 12.0 * HOUR}
CHECK_ELSE = 24.0 * HOUR
"""How often a check by hand is asked for where its `every` is not given."""
ASK_AGAIN = 1.0 * HOUR
"""Seconds after which a check that was not done is asked for again, and of one person more."""
TRIGGERS = {"SHLVD": "shelve", "OOSRV": "withdraw"}


# What people say


def shelve(scan: Scan, said: Answer) -> None:
    """Shelve one named alarm. RefusedInput without a reason, or an end within its bound."""
    spec = _named(scan, said)
    longest = SHELF.get(spec.grade, SHELF_ELSE)
    if said.minutes is None or not 0.0 < said.minutes * MINUTE <= longest:
        why = f"{spec.grade} alarms at most" if spec.grade in SHELF else "at most"
        raise RefusedInput(f"a shelf has an end: {why} {longest / HOUR:g} h")
    was = _of_kind(scan, spec, "SHLVD")
    since = was.since if was is not None else scan.t
    end = scan.t + said.minutes * MINUTE
    if end - since > longest:
        raise RefusedInput(f"shelved since {scan.site_clock(since)}: at most {longest / HOUR:g} h")
    _put_aside(scan, spec, said, AsideRecord("SHLVD", said.who, _reason(said), since, end))


def withdraw(scan: Scan, said: Answer) -> None:
    """Take one named alarm out of service, with what is looked at by hand meanwhile."""
    spec, check = _named(scan, said), said.detail("check")
    if said.minutes is None or not 0.0 < said.minutes * MINUTE <= SERVICE:
        raise RefusedInput(f"out of service has an end: at most {SERVICE / DAY:g} days")
    if not check:
        raise RefusedInput("out of service needs a check by hand: say what is looked at meanwhile")
    every = _every(said.detail("every")) or CHECK_EVERY.get(spec.grade, CHECK_ELSE)
    end = scan.t + said.minutes * MINUTE
    record = AsideRecord(
        "OOSRV", said.who, _reason(said), scan.t, end, check, every, scan.t + every
    )
    _put_aside(scan, spec, said, record)


def restore(scan: Scan, said: Answer) -> None:
    """Put one alarm in force again; if its condition is true it calls at once."""
    spec = _named(scan, said)
    if spec.id not in scan.durable.aside:
        raise RefusedInput(f"{spec.id} is not put aside")
    _end(scan, spec, "by a person", said.who)


def checked(scan: Scan, said: Answer) -> None:
    """The check by hand of an alarm out of service is done; what was found is in the record."""
    alarm = check_named(scan, said) or _named(scan, said).id
    record = scan.durable.aside.get(alarm)
    if record is None or not record.check:
        raise RefusedInput(f"{alarm} is not out of service: no check is asked for")
    scan.set_aside(alarm, replace(record, ask_at=scan.t + record.every, asks=0))
    scan.journal("answer", alarm, "checked", who=said.who, cause=said.way, text=said.text)


def check_named(scan: Scan, said: Answer) -> str:
    """The alarm out of service with whose name the words of an answer begin, "" for none."""
    words = said.text.casefold()
    asked = [alarm for alarm, record in scan.durable.aside.items() if record.check]
    return next((alarm for alarm in asked if words.startswith(alarm.casefold())), "")


def _put_aside(scan: Scan, spec: Spec, said: Answer, record: AsideRecord) -> None:
    _refuse_stopped_water(scan, spec)
    kept = scan.durable.alarms.get(spec.id)
    if kept is not None and kept.state in alarms.HIDDEN and kept.state != record.how:
        alarms.show(scan, spec, "put aside otherwise", said.who)
        scan.set_suppressed(spec.id, None)
    if kept is None or kept.state != record.how:
        alarms.hide(scan, spec, TRIGGERS[record.how], who=said.who, cause=record.reason)
    if quiet.is_quiet(scan) and said.who in telling.order(scan)[:1]:
        record = replace(record, said=scan.t)
    scan.set_aside(spec.id, record)
    scan.journal(
        "answer",
        spec.id,
        wording_care.HOW[record.how],
        grade=spec.grade,
        who=said.who,
        cause=said.way,
        evidence=(("till", scan.site_time(record.end)), ("check", record.check)),
        text=record.reason,
    )


def _refuse_stopped_water(scan: Scan, spec: Spec) -> None:
    """Nothing of an event that waits for water is put aside: only proven flow ends that."""
    record = scan.durable.alarms.get(spec.id)
    event = scan.durable.events.get(record.event) if record is not None else None
    if event is None or not events.calling(event) or spec.id not in event.alarms:
        return
    if event.no_flow_since is not None or event.losses:
        raise RefusedInput(f"event {event.number} waits for water: take it; its alarms stay")


def _named(scan: Scan, said: Answer) -> Spec:
    """The one alarm that is meant: its full name, or as many of its words as single it out."""
    name = said.detail("alarm")
    if not name:
        raise RefusedInput("name the alarm, such as: sump low")
    known = scan.plan.spec(name)
    if known is not None:
        return known
    words = [word.strip().casefold() for word in name.split("/")]
    found = [spec for spec in scan.plan.specs.values() if _fits(spec, words)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise RefusedInput(f"there is no alarm {name[:40]!r} here")
    raise RefusedInput(f"which of these: {', '.join(spec.id for spec in found[:8])}")


def _fits(spec: Spec, words: list[str]) -> bool:
    name, *rest = spec.id.casefold().split("/")
    return words[0] == name and set(words[1:]) <= set(rest)


def _of_kind(scan: Scan, spec: Spec, how: str) -> AsideRecord | None:
    record = scan.durable.aside.get(spec.id)
    return record if record is not None and record.how == how else None


def _reason(said: Answer) -> str:
    if not said.text.strip():
        raise RefusedInput("say why: the reason is kept with it")
    return said.text.strip()


def _every(minutes: str) -> float | None:
    """Seconds between two checks, None where nothing is said."""
    if not minutes:
        return None
    try:
        seconds = float(minutes) * MINUTE
    except ValueError:
        seconds = float("nan")
    if not isfinite(seconds) or not 15.0 * MINUTE <= seconds <= 2.0 * DAY:
        raise RefusedInput("a check is asked for every 15 to 2880 minutes")
    return seconds


# What follows by itself


def follow(scan: Scan) -> None:
    """End what is over, ask for checks, and tell those on duty before a night."""
    for alarm, record in scan.durable.aside.items():
        spec, kept = scan.plan.spec(alarm), scan.durable.alarms.get(alarm)
        if spec is None or kept is None or kept.state != record.how:
            scan.set_aside(alarm, None)
        elif scan.t >= record.end:
            _end(scan, spec, "its end has come")
        else:
            scan.due(record.end)
            if record.check and scan.watch_set:
                _ask_for_check(scan, spec, record)
    if scan.watch_set:
        _tell_for_the_night(scan)


def begin(scan: Scan, known: bool) -> None:
    """After a restart: what is hidden and not known to be, with its end, is in force again.

    known: whether it is known how long the watch was away.
    """
    for alarm, kept in tuple(scan.durable.alarms.items()):
        spec = scan.plan.spec(alarm)
        if spec is None or kept.state not in alarms.HIDDEN:
            continue
        if kept.state == "DSUPR":
            sure = alarm in scan.durable.suppressed
        else:
            sure = known and _is_bounded(spec, kept.state, scan.durable.aside.get(alarm))
        if not sure:
            scan.set_aside(alarm, None)
            events.alarm_shown(scan, spec, "not known after a restart")


def _is_bounded(spec: Spec, state: str, record: AsideRecord | None) -> bool:
    """Whether what was kept is of this state and has an end as near as it may be."""
    bound = SERVICE if state == "OOSRV" else SHELF.get(spec.grade, SHELF_ELSE)
    return record is not None and record.how == state and record.end - record.since <= bound


def _end(scan: Scan, spec: Spec, why: str, who: str = "") -> None:
    scan.set_aside(spec.id, None)
    events.alarm_shown(scan, spec, why, who)


def _ask_for_check(scan: Scan, spec: Spec, record: AsideRecord) -> None:
    """Ask the first on duty for the check that is due; each hour again, and one person more."""
    due = max(record.ask_at, quiet.waits_until(scan, spec))
    if scan.t < due:
        scan.due(due)
        return
    if record.asks:
        scan.journal("alarm", spec.id, "check missed", grade=spec.grade, cause=record.check)
    people = telling.order(scan)[: record.asks + 1]
    telling.say(scan, "check", spec.grade, people, wording_care.check(scan, spec, record))
    again = scan.t + ASK_AGAIN
    scan.set_aside(spec.id, replace(record, asks=record.asks + 1, ask_at=again))
    scan.due(again)


def _tell_for_the_night(scan: Scan) -> None:
    """Tell the first on duty, once a night, what stays put aside in it."""
    standing = {
        alarm: record
        for alarm, record in scan.durable.aside.items()
        if telling.night_to_tell(scan, record.end, record.said)
    }
    if not standing:
        return
    text = wording_care.tonight(scan, standing)
    telling.say(scan, "put aside tonight", "notice", telling.order(scan)[:1], text)
    for alarm, record in standing.items():
        scan.set_aside(alarm, replace(record, said=scan.t))
