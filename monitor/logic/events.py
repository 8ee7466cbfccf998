"""What happened, from its first sign to its proven end: one event for the alarms of one cause.

An event carries the number people answer to. Its stages are open, taken, on site, flow proven,
closed. Alarms of one group join the open event of that group; one that makes it worse is told.
Where water stopped, only proven flow ends the calling: power or a full header never do.
"""

from dataclasses import replace

from monitor.errors import IllegalTransition
from monitor.logic import alarms
from monitor.logic.plan import RANK_NO_WATER, RANK_OF_GRADE, Spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord

STAGES = ("open", "taken", "on site", "flow proven", "closed")
TRANSITIONS: dict[tuple[str, str], str] = {
    ("open", "take"): "taken",
    ("open", "here"): "on site",
    ("open", "cannot"): "open",
    ("open", "proven"): "flow proven",
    ("open", "close"): "closed",
    ("taken", "take"): "taken",
    ("taken", "here"): "on site",
    ("taken", "cannot"): "open",
    ("taken", "missed"): "open",
    ("taken", "proven"): "flow proven",
    ("taken", "close"): "closed",
    ("on site", "take"): "on site",
    ("on site", "here"): "on site",
    ("on site", "cannot"): "open",
    ("on site", "re-alarm"): "taken",
    ("on site", "proven"): "flow proven",
    ("on site", "close"): "closed",
    ("flow proven", "take"): "flow proven",
    ("flow proven", "here"): "flow proven",
    ("flow proven", "again"): "open",
    ("flow proven", "close"): "closed",
}
"""Every legal move of an event: (stage, trigger) -> stage. What is not here is refused."""


def move(stage: str, trigger: str) -> str:
    """The stage after a trigger. IllegalTransition where the table has no such move."""
    try:
        return TRANSITIONS[stage, trigger]
    except KeyError:
        raise IllegalTransition(f"an event that is {stage} cannot take {trigger!r}") from None


def is_open(event: EventRecord) -> bool:
    """Whether an event still asks something of people."""
    return event.stage != "closed"


def calling(event: EventRecord) -> bool:
    """Whether people are still needed for the water itself."""
    return event.stage in ("open", "taken", "on site")


def alarm_came(scan: Scan, spec: Spec, first_sign: float) -> None:
    """An alarm went active: join it to its event, or begin one."""
    if spec.grade == "record" or not scan.watch_set:
        return
    event = _event_for(scan, spec) or _begin(scan, spec, first_sign)
    if event.stage == "flow proven":
        event = _again(event, first_sign)
        scan.journal("event", str(event.number), "open", grade=event.grade, cause=spec.id)
    if spec.id not in event.held:
        event = replace(event, held=(*event.held, spec.id))
    _join(scan, event, spec, first_sign)


def consequence_came(scan: Scan, event: EventRecord, spec: Spec, first_sign: float) -> None:
    """An alarm that a cause explains is recorded in the event of the cause, and not told."""
    _join(scan, event, spec, first_sign)


def alarm_shown(scan: Scan, spec: Spec, cause: str, who: str = "") -> None:
    """An alarm that was hidden is in force again; if its condition is true, it comes now."""
    if alarms.show(scan, spec, cause, who):
        condition = scan.running.conditions.get(spec.id)
        alarm_came(scan, spec, condition.first_sign if condition is not None else scan.t)


def _join(scan: Scan, event: EventRecord, spec: Spec, first_sign: float) -> None:
    """Put an alarm into an event, with what it says of water, supply and grade."""
    if spec.id not in (event.first_out, *event.alarms):
        scan.journal("event", str(event.number), "joined", grade=spec.grade, cause=spec.id)
    event = replace(
        event,
        first_sign=min(event.first_sign, first_sign),
        first_out=spec.id if first_sign < event.first_sign else event.first_out,
        alarms=event.alarms if spec.id in event.alarms else (*event.alarms, spec.id),
        clear_since=None,
    )
    if spec.name == "supply lost":
        event = replace(event, losses=event.losses + 1, lost_since=first_sign, back_since=None)
    if _water_stopped(scan, spec) and event.no_flow_since is None:
        event = replace(event, no_flow_since=first_sign)
    if RANK_OF_GRADE[spec.grade] > RANK_OF_GRADE[event.grade]:
        event = graver(event, spec.grade)
    scan.set_event(event)
    alarms.put_into(scan, spec, event.number)


def graver(event: EventRecord, grade: str) -> EventRecord:
    """An event that turns out graver. Who took a notice promised no time: people are called."""
    graver = replace(event, grade=grade)
    calls = RANK_OF_GRADE["high"]
    if RANK_OF_GRADE[event.grade] >= calls or RANK_OF_GRADE[grade] < calls:
        return graver
    if event.stage not in ("taken", "on site"):
        return graver
    stage = move(event.stage, "cannot")
    return replace(
        graver, stage=stage, taken_by="", promise=None, on_site=None, first_call=None, calls=0
    )


def _water_stopped(scan: Scan, spec: Spec) -> bool:
    """Whether this alarm says that no water reaches the larvae, so that flow must be proven."""
    if spec.name != "hold overrun":
        return spec.rank == RANK_NO_WATER
    return any(water.flow_none for water in scan.waters if water.chain.line.id == spec.subject)


def _event_for(scan: Scan, spec: Spec) -> EventRecord | None:
    """The open event this alarm belongs to; a proven one takes new trouble for two hours."""
    for event in reversed(scan.durable.events.values()):
        if event.group != spec.group or event.vessel != spec.vessel or not is_open(event):
            continue
        ended = event.back_since or event.proven
        if event.proven is None or scan.t - (ended or 0.0) <= scan.setup.delays.same_event:
            return event
    return None


def _begin(scan: Scan, spec: Spec, first_sign: float) -> EventRecord:
    number = scan.take_event_number()
    event = EventRecord(number, spec.group, spec.vessel, spec.id, first_sign, scan.t, spec.grade)
    scan.journal("event", str(number), "open", grade=spec.grade, cause=spec.id)
    return event


def _again(event: EventRecord, first_sign: float) -> EventRecord:
    """A proven event that has new trouble: everybody's part in it begins anew."""
    return replace(
        event,
        stage=move(event.stage, "again"),
        first_sign=first_sign,
        rank=0,
        taken_by="",
        promise=None,
        reminded=None,
        on_site=None,
        proven=None,
        proven_by="",
        asked=None,
        flow_since=None,
        no_flow_since=None,
        no_flow_presumed=False,
        first_call=None,
        next_call=None,
        calls=0,
    )


def close(scan: Scan, number: int, why: str, who: str = "") -> None:
    """Close an event; its unanswered alarms are acknowledged by the closing, and so recorded.

    What is still wrong then, such as a circuit that stayed off, begins an event of its own. Where
    its sensor says nothing now, that waits until it does.
    """
    event = scan.durable.events[number]
    scan.set_event(
        replace(
            event,
            stage=move(event.stage, "close"),
            closed=scan.t,
            next_call=None,
            held=(),
            led_by=0,
        )
    )
    alarms.acknowledge(scan, number, who or "closing")
    alarms.reset(scan, number, "", who or "closing")
    scan.journal("event", str(number), "closed", cause=why, who=who)
    for alarm in event.alarms:
        spec, condition = scan.plan.spec(alarm), scan.running.conditions.get(alarm)
        if spec is None or condition is None or not (condition.truth and condition.active):
            continue
        if alarms.is_hidden(scan, alarm):
            continue
        if is_seen(scan, spec):
            alarm_came(scan, spec, condition.first_sign)
        else:
            scan.set_condition(alarm, None)


def is_seen(scan: Scan, spec: Spec) -> bool:
    """Whether the sensor of a limit can be used now; what has no sensor of its own is seen."""
    plans = (plan for on_tag in scan.plan.limits.values() for plan in on_tag)
    return all(scan.usable(plan.tag) is not None for plan in plans if plan.spec is spec)
