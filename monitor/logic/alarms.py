"""The life of an alarm: the nine states of ISA-18.2 / IEC 62682 as one table.

NORM normal, UNACK active and unacknowledged, ACKED active and acknowledged, RTNUN returned to
normal but unacknowledged, LATUN and LATAK the same two after clearing of a latching alarm, SHLVD
shelved by a person, DSUPR suppressed by design, OOSRV out of service. In the last three the
condition is still judged and recorded. No move leads from UNACK, LATUN or RTNUN to NORM without
an acknowledgement; a self-closing event acknowledges by stated policy and says so.
"""

from dataclasses import replace

from monitor.errors import IllegalTransition
from monitor.logic.plan import Spec
from monitor.logic.scan import Scan
from monitor.logic.state import AlarmRecord

STATES = ("NORM", "UNACK", "ACKED", "RTNUN", "LATUN", "LATAK", "SHLVD", "DSUPR", "OOSRV")
HIDDEN = ("SHLVD", "DSUPR", "OOSRV")
TRIGGERS = (
    "true",
    "false",
    "false latching",
    "acknowledge",
    "reset",
    "re-alarm",
    "shelve",
    "suppress",
    "withdraw",
    "show true",
    "show false",
)
"""What can happen to an alarm. "show true" and "show false" end a shelf, a suppression or an
out-of-service time with the condition true or false at that moment."""

TRANSITIONS: dict[tuple[str, str], str] = {
    ("NORM", "true"): "UNACK",
    ("UNACK", "acknowledge"): "ACKED",
    ("UNACK", "false"): "RTNUN",
    ("UNACK", "false latching"): "LATUN",
    ("UNACK", "re-alarm"): "UNACK",
    ("ACKED", "false"): "NORM",
    ("ACKED", "false latching"): "LATAK",
    ("ACKED", "re-alarm"): "UNACK",
    ("RTNUN", "acknowledge"): "NORM",
    ("RTNUN", "true"): "UNACK",
    ("LATUN", "acknowledge"): "LATAK",
    ("LATUN", "reset"): "RTNUN",
    ("LATUN", "true"): "UNACK",
    ("LATAK", "reset"): "NORM",
    ("LATAK", "true"): "UNACK",
    **{(state, "shelve"): "SHLVD" for state in STATES if state not in HIDDEN},
    **{(state, "suppress"): "DSUPR" for state in STATES if state not in HIDDEN},
    **{(state, "withdraw"): "OOSRV" for state in STATES if state not in HIDDEN},
    **{(state, "show true"): "UNACK" for state in HIDDEN},
    **{(state, "show false"): "NORM" for state in HIDDEN},
    **{(state, trigger): state for state in HIDDEN for trigger in ("true", "false")},
    **{(state, "false latching"): state for state in HIDDEN},
}
"""Every legal move: (state, trigger) -> state. What is not here is refused."""

ACTIVE = ("UNACK", "ACKED", "LATUN", "LATAK")
UNANSWERED = ("UNACK", "RTNUN", "LATUN")


def move(state: str, trigger: str) -> str:
    """The state after a trigger. IllegalTransition where the table has no such move."""
    try:
        return TRANSITIONS[state, trigger]
    except KeyError:
        raise IllegalTransition(f"an alarm in {state} cannot take {trigger!r}") from None


def is_active(record: AlarmRecord, alarm: str, name: str) -> bool:
    """Whether this alarm is active and belongs to a condition of this name."""
    return record.state in ACTIVE and alarm.split("/", 1)[0] == name


def is_hidden(scan: Scan, alarm: str) -> bool:
    """Whether an alarm is shelved, suppressed or out of service."""
    record = scan.durable.alarms.get(alarm)
    return record is not None and record.state in HIDDEN


def is_true(scan: Scan, alarm: str) -> bool:
    """Whether the condition of an alarm is true, past its delay."""
    condition = scan.running.conditions.get(alarm)
    return condition is not None and condition.active


def condition_changed(scan: Scan, spec: Spec, truth: bool) -> bool:
    """Move the alarm of a condition that passed its delay; whether people are to see it."""
    record = scan.durable.alarms.get(spec.id, AlarmRecord("NORM", scan.t))
    if truth and record.state in ("UNACK", "ACKED"):
        return True
    if not truth and record.state in ("NORM", "RTNUN", "LATUN", "LATAK"):
        return False
    away = "false latching" if spec.latching and record.state not in HIDDEN else "false"
    _apply(scan, spec, record, "true" if truth else away, new=truth, beneath=truth)
    return record.state not in HIDDEN


def acknowledge(scan: Scan, event: int, who: str) -> None:
    """Acknowledge every unanswered alarm of an event in the name of a person or a policy."""
    for alarm, record in scan.durable.alarms.items():
        if record.event == event and record.state in UNANSWERED:
            spec = scan.plan.spec(alarm)
            if spec is not None:
                _apply(scan, spec, record, "acknowledge", who=who)


def realarm(scan: Scan, event: int) -> None:
    """Bring every acknowledged active alarm of an event back to unacknowledged, as if new."""
    for alarm, record in scan.durable.alarms.items():
        spec = scan.plan.spec(alarm)
        if spec is not None and record.event == event and record.state == "ACKED":
            _apply(scan, spec, record, "re-alarm")


def reset(scan: Scan, event: int, named: str, who: str) -> bool:
    """Reset the latched alarms of an event, all or those of a name; whether there were any."""
    found = False
    for alarm, record in scan.durable.alarms.items():
        spec = scan.plan.spec(alarm)
        latched = record.event == event and record.state in ("LATUN", "LATAK")
        if spec is not None and latched and named in ("", spec.name, alarm.casefold()):
            _apply(scan, spec, record, "reset", who=who)
            found = True
    return found


def hide(scan: Scan, spec: Spec, trigger: str, *, who: str = "", cause: str = "") -> None:
    """Shelve, suppress or withdraw an alarm; `trigger` is one of those. It is judged on."""
    record = scan.durable.alarms.get(spec.id, AlarmRecord("NORM", scan.t))
    _apply(scan, spec, record, trigger, who=who, cause=cause, beneath=is_true(scan, spec.id))


def show(scan: Scan, spec: Spec, cause: str, who: str = "") -> bool:
    """Bring a hidden alarm back; whether its condition is true, so that it is active now."""
    record, true = scan.durable.alarms[spec.id], is_true(scan, spec.id)
    _apply(scan, spec, record, f"show {'true' if true else 'false'}", who=who, cause=cause)
    return true


def put_into(scan: Scan, spec: Spec, event: int) -> None:
    """Put an alarm that went active into its event."""
    scan.set_alarm(spec.id, replace(scan.durable.alarms[spec.id], event=event))


def _apply(
    scan: Scan,
    spec: Spec,
    record: AlarmRecord,
    trigger: str,
    *,
    who: str = "",
    cause: str = "",
    new: bool = False,
    beneath: bool = False,
) -> None:
    state = move(record.state, trigger)
    hidden = state in HIDDEN and beneath
    occurrence = record.occurrence + new
    after = AlarmRecord(state, scan.t, record.event, occurrence, spec.grade, hidden)
    scan.set_alarm(spec.id, after)
    why = f"{trigger}: {cause}" if cause else trigger
    scan.journal("alarm", spec.id, state, grade=spec.grade, cause=why, who=who)
