"""What stands too long is told again: re-alarm (OPC UA Part 9: ReAlarmTime).

Somebody is on site and the alarm goes on for hours: are they still there? People have gone home
from a tank that was not well. A notice nobody has mended is told again the next day.
"""

from dataclasses import replace

from monitor.logic import alarms, quiet, telling
from monitor.logic.events import calling, move
from monitor.logic.plan import RANK_OF_GRADE, Spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord

ON_SITE = 14_400.0
"""Seconds on site, or since the last sign of whoever is, after which the question comes. Rarer, so
that nobody is called while mending (common practice, no source)."""
ANSWER = 600.0
"""Seconds to answer it with wet hands, before the five minutes of a missed promise."""
STANDING = 86_400.0
"""Seconds after which a standing notice is told again (a stale alarm, ISA-18.2 from memory)."""


def follow(scan: Scan, number: int) -> None:
    """Tell one event again if its alarm stands too long."""
    event = scan.durable.events[number]
    worst = _worst_active(scan, event)
    if worst is None or not calling(event) or event.led_by:
        return
    notice = RANK_OF_GRADE[event.grade] < RANK_OF_GRADE["high"]
    if not event.told or not (notice or event.stage == "on site"):
        return
    last = max(event.told[-1].at, event.taken_at, event.on_site or 0.0)
    due = max(last + (STANDING if notice else ON_SITE), quiet.grade_waits_until(scan, event.grade))
    if scan.t < due:
        scan.due(due)
        return
    alarms.realarm(scan, number)
    if notice:
        telling.tell(scan, number, worst.name, worst)
        return
    stage = move(event.stage, "re-alarm")
    answer_by = scan.t + ANSWER
    scan.set_event(replace(event, stage=stage, promise=answer_by, reminded=answer_by))
    telling.send(scan, number, "still there", [event.taken_by], None)
    scan.due(answer_by)


def _worst_active(scan: Scan, event: EventRecord) -> Spec | None:
    active = [
        spec
        for alarm in event.alarms
        if (record := scan.durable.alarms.get(alarm)) is not None
        if record.state in alarms.ACTIVE and (spec := scan.plan.spec(alarm)) is not None
    ]
    return max(active, key=lambda spec: spec.rank, default=None)
