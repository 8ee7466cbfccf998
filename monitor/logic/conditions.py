"""What is true of each tag: limits passed, mains off, sensors bad; and how a condition settles.

Each condition has a name in trade words and an evidence. A reading that is missing or bad never
makes a condition false: its last truth is held and the sensor's own fault is told instead.
"""

from collections.abc import Callable
from functools import partial

from monitor.effects import Evidence
from monitor.logic import alarms, events, floods, suppression
from monitor.logic.plan import WATCH, LimitPlan, SensorPlan, Spec, watch_spec
from monitor.logic.scan import Scan
from monitor.logic.state import (
    ConditionState,
)
from monitor.rig import Tag
from monitor.units import STATES

AFTER_HOLD = 600.0
"""Seconds after the planned end of a hold before missing flow counts again (time to bleed)."""


def settle(
    scan: Scan,
    spec: Spec,
    truth: bool | None,
    evidence: Callable[[], Evidence],
    first_sign: float | None = None,
) -> None:
    """Carry a condition through its delays; on a change tell the journal and its alarm.

    truth None (nothing usable says so) holds what was. first_sign: when the cause began, if that
    is earlier than the moment the condition itself became true.
    """
    was = scan.running.conditions.get(spec.id)
    if truth is None or (was is None and not truth):
        return
    if was is None or was.truth != truth:
        sign = first_sign if first_sign is not None else scan.t
        active = was is not None and was.active
        if truth and active:
            floods.count(scan, spec, again=True)
        if was is not None and (active or not truth):
            sign = was.first_sign
        was = ConditionState(truth, scan.t, active, sign)
        scan.set_condition(spec.id, was)
    delay = spec.on_delay if truth else max(spec.off_delay, floods.calm_for(scan, spec))
    start = min(was.since, was.first_sign) if truth else was.since
    if was.active == truth:
        if not truth:
            scan.set_condition(spec.id, None)
        return
    if scan.t < start + delay:
        scan.due(start + delay)
        return
    kept = ConditionState(truth, was.since, truth, was.first_sign) if truth else None
    scan.set_condition(spec.id, kept)
    scan.journal(
        "condition",
        spec.id,
        "true" if truth else "false",
        grade=spec.grade,
        evidence=evidence(),
    )
    hidden = alarms.is_hidden(scan, spec.id)
    if truth and not hidden and suppression.suppress(scan, spec, was.first_sign):
        return
    if alarms.condition_changed(scan, spec, truth) and truth:
        floods.count(scan, spec)
        events.alarm_came(scan, spec, was.first_sign)


def holds_quiet(scan: Scan, line: str | None) -> bool:
    """Whether a feeding hold on this line keeps missing flow from counting now."""
    hold = scan.durable.holds.get(line) if line is not None else None
    if hold is None:
        return False
    scan.due(hold.end + AFTER_HOLD)
    return scan.t < hold.end + AFTER_HOLD


def judge_limits(scan: Scan, limits: tuple[LimitPlan, ...], touched: bool) -> None:
    """Judge the limits of one tag: those on their way, and all when it had a reading."""
    standing = scan.running.conditions
    value = scan.value(limits[0].tag)
    if value is None:
        return
    for plan in limits:
        was = standing.get(plan.spec.id)
        if was is None and not touched:
            continue
        limit = plan.limit
        border = limit.value.at(scan.dph, scan.clock)
        past = value - border if limit.side == "high" else border - value
        truth = past > -limit.deadband if was is not None and was.truth else past > 0.0
        if truth and plan.hold_line is not None and holds_quiet(scan, plan.hold_line):
            truth = False
        if was is not None or truth:
            settle(scan, plan.spec, truth, partial(shown, plan.tag, value, border))


def judge_watch(scan: Scan) -> None:
    """Judge the parts of the watch itself, by the faults they report."""
    faults = scan.running.faults
    known = [alarm for alarm in scan.running.conditions if alarm.startswith(WATCH)]
    for part in dict.fromkeys((*faults, *(alarm.partition("/")[2] for alarm in known))):
        spec = watch_spec(part, scan.plan.watch_delay)
        settle(scan, spec, part in faults, partial(_fault, part, faults.get(part, "over")))


def _fault(part: str, wrong: str) -> Evidence:
    return ((part, wrong),)


def shown(tag: Tag, value: float, border: float | None = None) -> Evidence:
    """A value, and its limit, as evidence in the tag's own unit."""
    if tag.measures in STATES:
        return ((tag.id, STATES[tag.measures][int(value)]),)
    pairs = [(tag.id, tag.unit.show(value))]
    if border is not None:
        pairs.append(("limit", tag.unit.show(border)))
    return tuple(pairs)


def judge_sensor(scan: Scan, plan: SensorPlan) -> None:
    """Judge a sensor: faulty (what it says), silent (it says nothing), and whether mains is off."""
    tag, standing = plan.tag, scan.running.conditions
    state = scan.tag_state(tag.id)
    if state.fault or plan.faulty.id in standing:
        word = state.fault or "good again"
        settle(scan, plan.faulty, bool(state.fault), lambda: ((tag.id, word),))
    heard = max(state.heard, scan.running.started)
    silent = tag.is_owed and scan.t - heard > tag.stale
    if not silent:
        scan.due(heard + tag.stale + 0.001)
    if silent or plan.silent.id in standing:
        settle(
            scan, plan.silent, silent, lambda: ((tag.id, f"last heard {scan.t - heard:.0f} s ago"),)
        )
    if plan.mains_lost is not None and scan.usable(tag) is not None:
        value = state.value or 0.0
        settle(scan, plan.mains_lost, value == 0.0, partial(shown, tag, value), state.changed)
