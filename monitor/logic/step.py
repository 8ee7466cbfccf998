"""One step of the watch: everything that came in since the last one, and what is due now.

step(setup, state, inputs, now) -> (state', effects, next due). It is pure: no clock, no I/O, the
same arguments give the same result. Nothing depends on being called often: every delay that can
run out is announced in `next_due`, so skipping idle seconds changes no effect.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from monitor.effects import Effect, Refusal
from monitor.errors import RefusedInput
from monitor.inputs import (
    Answer,
    ClockNote,
    DeliveryReport,
    Fault,
    Input,
    Moment,
    Reading,
    SetupChange,
)
from monitor.logic import (
    asking,
    backup,
    balance,
    callout,
    conditions,
    events,
    floods,
    following,
    lately,
    morning,
    paths,
    quality,
    realarm,
    recovery,
    shelving,
    suppression,
    waterways,
    works,
)
from monitor.logic.alarms import ACTIVE
from monitor.logic.derived import observe
from monitor.logic.scan import Scan
from monitor.logic.state import (
    ConditionState,
    Durable,
    EventRecord,
    Running,
    State,
    TagState,
    fresh,
)
from monitor.setup import Setup

SETTLE = 0.001
"""After a change of what lasts, look again at once: one thing may follow from another."""


@dataclass(frozen=True, slots=True)
class Step:
    """Result of a step; next_due in elapsed seconds (inf: nothing is due)."""

    state: State
    effects: tuple[Effect, ...]
    next_due: float


def step(setup: Setup, state: State, inputs: Sequence[Input], now: Moment) -> Step:
    """Take the inputs in their order, judge the rig as of `now`, and say what is to be done."""
    scan = Scan(setup, state, now)
    lately.take_minute(scan)
    touched = _take_readings(scan, inputs)
    said: list[Input] = []
    for item in inputs:
        if isinstance(item, SetupChange):
            scan = _change_setup(scan, item)
        elif not isinstance(item, Reading):
            said.append(item)
    _judge(scan, touched)
    for item in said:
        _take(scan, item)
    asking.follow(scan, anew=bool(said) or scan.durable is not state.durable)
    paths.follow(scan, anew=bool(said) or scan.durable is not state.durable)
    shelving.follow(scan)
    suppression.follow(scan)
    works.follow(scan)
    floods.follow(scan)
    backup.follow(scan)
    if scan.watch_set:
        morning.follow(scan)
    for number in tuple(scan.durable.events) if scan.watch_set else ():
        if events.is_open(scan.durable.events[number]):
            recovery.follow(scan, number)
        if events.is_open(scan.durable.events[number]):
            callout.follow(scan, number)
        if events.is_open(scan.durable.events[number]):
            realarm.follow(scan, number)
    if scan.durable is not state.durable:
        scan.due(scan.t + SETTLE)
    return Step(scan.state, tuple(scan.effects), scan.next_due)


def resume(setup: Setup, durable: Durable | None, now: Moment, time_lost: bool = False) -> Step:
    """Start the watch, or go on after a restart with what had been kept.

    Alarms that were active count as still true until a reading says otherwise. time_lost: nobody
    knows how long the watch was away; then every promise and call that was running counts as due,
    since calling once too often costs less than calling too late.
    """
    durable = durable if durable is not None else fresh()
    if time_lost:
        durable = replace(
            durable,
            events={key: _all_due(event, now) for key, event in durable.events.items()},
            questions={
                key: replace(item, wait=min(item.wait, now.elapsed))
                for key, item in durable.questions.items()
            },
        )
    standing = {
        alarm: ConditionState(True, record.since, True, record.since)
        for alarm, record in durable.alarms.items()
        if record.state in ACTIVE or record.beneath
    }
    scan = Scan(setup, State(durable, Running(now.elapsed, conditions=standing)), now)
    _forget_unknown(scan)
    shelving.begin(scan, known=not time_lost)
    first = step(setup, scan.state, (), now)
    return Step(first.state, (*scan.effects, *first.effects), first.next_due)


def _all_due(event: EventRecord, now: Moment) -> EventRecord:
    """An event with every deadline that was running set to now."""
    running = {name: getattr(event, name) for name in ("promise", "next_call", "asked")}
    due = {name: min(at, now.elapsed) for name, at in running.items() if at is not None}
    return replace(event, **due) if due else event


def _take_readings(scan: Scan, inputs: Sequence[Input]) -> frozenset[str]:
    tags: dict[str, TagState] | None = None
    touched = set()
    for item in inputs:
        if not isinstance(item, Reading):
            continue
        tag = scan.setup.rig.tag.get(item.tag)
        if tag is None:
            continue
        if tags is None:
            tags = dict(scan.running.tags)
        tags[tag.id], flags = quality.take(tag, tags.get(tag.id, _NOTHING), item)
        scan.effects.extend(flags)
        touched.add(tag.id)
    if tags is not None:
        scan.set_tags(tags)
    return frozenset(touched)


_NOTHING = TagState()


def _judge(scan: Scan, touched: frozenset[str]) -> None:
    scan.waters = [observe(scan, chain) for chain in scan.plan.chains]
    for tag, limits in scan.plan.limits.items():
        conditions.judge_limits(scan, limits, tag in touched)
    for sensor in scan.plan.sensors:
        conditions.judge_sensor(scan, sensor)
    conditions.judge_watch(scan)
    backup.judge_fuel(scan)
    for place in scan.plan.followed:
        following.judge_followed(scan, place, touched)
    for water in scan.waters:
        waterways.judge_water(scan, water)
        balance.judge_balance(scan, water)
    lately.watch_lines(scan)


def _take(scan: Scan, item: Input) -> None:
    if isinstance(item, Answer):
        _take_answer(scan, item)
    elif isinstance(item, DeliveryReport):
        scan.journal("delivery", str(item.text), item.outcome, cause=item.channel, text=item.detail)
    elif isinstance(item, ClockNote):
        state = "trusted" if item.trusted else "not trusted"
        scan.journal("clock", "wall clock", state, evidence=(("step", f"{item.step:.1f} s"),))
    elif isinstance(item, Fault):
        scan.set_fault(item.part, "" if item.over else item.wrong)
        scan.due(scan.t + SETTLE)
        scan.journal("fault", item.part, "over" if item.over else "began", text=item.wrong)


def _take_answer(scan: Scan, said: Answer) -> None:
    """An answer is taken whole or not at all."""
    before = scan.durable, scan.running, len(scan.effects)
    try:
        callout.answer(scan, said)
    except RefusedInput as refused:
        scan.durable, scan.running = before[:2]
        del scan.effects[before[2] :]
        scan.effects.append(Refusal(scan.now, said.who, said.way, str(refused)))
        scan.journal(
            "answer",
            str(said.event or ""),
            "refused",
            who=said.who,
            cause=said.way,
            text=f"{said.kind}: {refused}",
        )


def _change_setup(scan: Scan, change: SetupChange) -> Scan:
    """Go on under another set-up; alarms of conditions it no longer has are put to rest.

    Where it sets the watch, everything that is wrong counts as beginning now.
    """
    changed = Scan(change.setup, scan.state, scan.now)
    changed.effects = scan.effects
    _forget_unknown(changed)
    if changed.watch_set and not scan.watch_set:
        for condition in tuple(changed.running.conditions):
            changed.set_condition(condition, None)
    changed.journal(
        "set-up", str(change.setup.version), "in force", who=change.who, text=change.reason
    )
    return changed


def _forget_unknown(scan: Scan) -> None:
    """Put to rest the conditions and alarms that this set-up does not have."""
    for condition in tuple(scan.running.conditions):
        if scan.plan.spec(condition) is None:
            scan.set_condition(condition, None)
    for alarm, record in scan.durable.alarms.items():
        if scan.plan.spec(alarm) is None and record.state != "NORM":
            scan.retire_alarm(alarm)
