"""A backup that runs is not the end: an hourly reminder, and a clock of the fuel that is left.

What runs on battery or generator is told hourly while it does: while a circuit has no mains and
water is supplied all the same, and while a person says that a backup runs. People have gone home
from a running generator before. Hourly: common practice, no source.
"""

from dataclasses import replace
from functools import partial

from monitor.effects import Evidence
from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic import alarms, quiet, telling, wording_care
from monitor.logic.aside import FuelRecord
from monitor.logic.conditions import settle
from monitor.logic.events import calling, is_open
from monitor.logic.plan import fuel_spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord

HOURLY = 3600.0
FUEL_LOW = 3600.0
"""Seconds before the fuel ends at which people are called: a night arrival (31 to 51 min on the
demo rig) and the time to let it cool before it is filled."""
LONGEST_FUEL = 14.0 * 86_400.0
LONGEST_NAME = 20


def fuel(scan: Scan, said: Answer) -> None:
    """A backup runs, with fuel for so many minutes (None: not known); text "over" ends it."""
    running = scan.durable.fuel
    if said.text.strip().casefold() == "over":
        if running is None:
            raise RefusedInput("no backup is known to run")
        scan.set_fuel(None)
        scan.journal("answer", f"backup {running.of}", "over", who=said.who, cause=said.way)
        return
    if said.minutes is not None and not 0.0 < said.minutes * 60.0 <= LONGEST_FUEL:
        raise RefusedInput("fuel lasts more than nothing and at most 14 days")
    of = said.detail("of") or (running.of if running is not None else "generator")
    if len(of) > LONGEST_NAME or "/" in of:
        raise RefusedInput(f"name the backup in at most {LONGEST_NAME} letters")
    since = running.since if running is not None and running.of == of else scan.t
    end = None if said.minutes is None else scan.t + said.minutes * 60.0
    scan.set_fuel(FuelRecord(of, said.who, since, end, scan.t))
    till = scan.site_time(end) if end is not None else ""
    scan.journal(
        "answer",
        f"backup {of}",
        "runs",
        who=said.who,
        cause=said.way,
        evidence=(("fuel till", till),) if till else (),
    )


def judge_fuel(scan: Scan) -> None:
    """Judge whether the fuel of a backup nears its end."""
    running = scan.durable.fuel
    known = [alarm for alarm in scan.running.conditions if alarm.startswith("fuel low/")]
    names = {alarm.partition("/")[2] for alarm in known}
    if running is not None:
        names.add(running.of)
    for of in sorted(names):
        low = False
        evidence: Evidence = ()
        if running is not None and running.of == of and running.end is not None:
            low = scan.t >= running.end - FUEL_LOW
            evidence = (("fuel till", scan.site_time(running.end)),)
            scan.due(running.end - FUEL_LOW)
        settle(scan, fuel_spec(of, scan.plan.tank), low, partial(_same, evidence))


def _same(evidence: Evidence) -> Evidence:
    return evidence


def follow(scan: Scan) -> None:
    """Remind people of what runs on battery or generator, each hour."""
    if not scan.watch_set:
        return
    running = scan.durable.fuel
    if running is not None:
        _remind_of_fuel(scan, running)
    for event in scan.durable.events.values():
        if is_open(event) and _on_backup(scan, event):
            _remind(scan, event)


def _remind_of_fuel(scan: Scan, running: FuelRecord) -> None:
    if scan.t < running.reminded + HOURLY:
        scan.due(running.reminded + HOURLY)
        return
    holders = [
        telling.holder(event)
        for event in scan.durable.events.values()
        if calling(event) and telling.holder(event)
    ]
    people = holders or [running.who, *telling.order(scan)[:1]]
    body = wording_care.backup_runs(scan, running)
    telling.say(scan, "backup runs", "high", dict.fromkeys(people), body)
    scan.set_fuel(replace(running, reminded=scan.t))
    scan.due(scan.t + HOURLY)


def _on_backup(scan: Scan, event: EventRecord) -> bool:
    """Whether a circuit of this event has no mains, and water is supplied all the same.

    While supply is lost people are called for that, and nothing runs that could run out.
    """
    active = {
        alarm.partition("/")[0]
        for alarm in event.alarms
        if alarm in scan.durable.alarms and scan.durable.alarms[alarm].state in alarms.ACTIVE
    }
    return "mains lost" in active and "supply lost" not in active


def _remind(scan: Scan, event: EventRecord) -> None:
    """Remind whoever has the event, else by day the first on duty."""
    told = [item.at for item in event.told]
    if not told:
        return
    person = telling.holder(event)
    due = max(told) + HOURLY
    if not person:
        due = max(due, quiet.grade_waits_until(scan, event.grade))
    if scan.t < due:
        scan.due(due)
        return
    people = [person] if person else telling.order(scan)[:1]
    telling.send(scan, event.number, "still on backup", people, None)
    scan.due(scan.t + HOURLY)
