"""Suppression by design: the consequence of a known cause is recorded, and not told.

A header that sinks in an outage is no second trouble. While its cause is active its alarm is
DSUPR: judged, recorded in the event of the cause, and silent. Half an hour after the cause has
ended, or flow was proven, what is still true is trouble of its own and is told. Where anything is
not known (no cause, no event, a record that was lost) the alarm is in force.
"""

from dataclasses import replace

from monitor.logic import alarms, events
from monitor.logic.aside import SuppressedRecord
from monitor.logic.derived import AT_BREAK
from monitor.logic.plan import Spec
from monitor.logic.scan import Scan
from monitor.logic.state import AlarmRecord, EventRecord

CAUSES: dict[str, tuple[str, ...]] = {
    "header low": ("supply lost", "siphon broken"),
    "sump high": ("supply lost", "siphon broken"),
    "sump low": ("tank high",),
    "flow low": ("siphon broken", "no flow", "hold overrun"),
    "flow far too low": ("siphon broken", "no flow", "hold overrun"),
    "no flow": ("siphon broken", "hold overrun"),
    "tank low": ("siphon broken", "no flow", "hold overrun"),
    "supply low": ("supply lost",),
}
"""Consequence -> causes: while a cause is active its consequence is recorded, not told."""

ON_BATTERY: dict[str, tuple[str, ...]] = {
    "air low": ("mains lost",),
    "watch battery low": ("mains lost",),
}
"""The same for notices only: a battery that runs low is expected, one that fails must be told."""

AFTER_CAUSE = 1800.0
"""Seconds after its cause in which a consequence may last: a header refills in a quarter of an
hour (demo rig), water and air come back sooner. Common practice, no source."""


def suppress(scan: Scan, spec: Spec, first_sign: float) -> bool:
    """Suppress an alarm whose condition has come true, if a known cause explains it."""
    found = _cause_of(scan, spec)
    if found is None:
        return False
    event, cause = found
    record = scan.durable.alarms.get(spec.id)
    if record is not None and record.state != "NORM" and record.event != event.number:
        return False  # somebody has been told of it and has not answered yet
    alarms.hide(scan, spec, "suppress", cause=cause)
    scan.set_suppressed(spec.id, SuppressedRecord(cause, scan.t))
    events.consequence_came(scan, event, spec, first_sign)
    return True


def follow(scan: Scan) -> None:
    """Bring back what no cause explains any more."""
    for alarm, record in scan.durable.suppressed.items():
        spec = scan.plan.spec(alarm)
        kept = scan.durable.alarms.get(alarm)
        if spec is None or kept is None or kept.state != "DSUPR":
            scan.set_suppressed(alarm, None)
        elif not alarms.is_true(scan, alarm):
            _bring_back(scan, spec)
        elif _still_explains(scan, record, kept):
            scan.set_suppressed(alarm, replace(record, over=None))
        else:
            since = record.over if record.over is not None else scan.t
            scan.set_suppressed(alarm, replace(record, over=since))
            scan.due(since + AFTER_CAUSE)
            if scan.t >= since + AFTER_CAUSE:
                _bring_back(scan, spec)


def _bring_back(scan: Scan, spec: Spec) -> None:
    """The alarm is in force again; what its dead sensor said in the outage does not count."""
    scan.set_suppressed(spec.id, None)
    if not events.is_seen(scan, spec):
        scan.set_condition(spec.id, None)
    events.alarm_shown(scan, spec, "not explained any more")


def _still_explains(scan: Scan, record: SuppressedRecord, kept: AlarmRecord) -> bool:
    """Whether the cause is active, or people are still called for the water it stopped."""
    cause, event = scan.durable.alarms.get(record.cause), scan.durable.events.get(kept.event)
    if cause is not None and cause.state in alarms.ACTIVE:
        return True
    return event is not None and events.calling(event) and event.no_flow_since is not None


def _cause_of(scan: Scan, spec: Spec) -> tuple[EventRecord, str] | None:
    """The open event and the active alarm that explain this one as a consequence."""
    if spec.grade == "record" or not scan.watch_set:
        return None
    expected = ON_BATTERY.get(spec.name, ()) if spec.grade == "notice" else ()
    shut = ("supply lost",) if _valve_is_shut(scan, spec) else ()
    for name in (*CAUSES.get(spec.name, ()), *expected, *shut):
        for alarm, record in scan.durable.alarms.items():
            event = scan.durable.events.get(record.event)
            if event is None or not events.is_open(event) or event.vessel != spec.vessel:
                continue
            if alarms.is_active(record, alarm, name):
                return event, alarm
    return None


def _valve_is_shut(scan: Scan, spec: Spec) -> bool:
    """Whether flow stopped in an outage with water left above the break: the prime is kept."""
    if spec.name not in ("no flow", "flow far too low", "flow low"):
        return False
    for water in scan.waters:
        end = water.chain.line.break_level
        if water.chain.line.id == spec.subject and water.level is not None and end is not None:
            return water.level > end + AT_BREAK and spec.subject not in scan.durable.siphons
    return False
