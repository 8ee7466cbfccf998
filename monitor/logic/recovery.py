"""How an event goes on and ends: what is told, when flow is proven, when it is closed.

Where water stopped, only proven flow ends the calling. Power that returns opens the recovery and
closes nothing. Where flow never stopped, the event ends itself with one notice.
"""

from dataclasses import replace
from math import ceil

from monitor.logic import alarms, quiet, storm, telling
from monitor.logic.derived import Water, full_again
from monitor.logic.events import calling, close, graver, move
from monitor.logic.plan import RANK_NO_WATER, RANK_OF_GRADE, Spec
from monitor.logic.scan import Scan
from monitor.logic.state import AlarmRecord, EventRecord, FlowState

OWED_AFTER_NO_FLOW = ("dead count", "cause", "timers")
OWED_FROM = 1800.0
"""Without an outage, so many seconds without flow owe a dead count (common practice, no source)."""
CLEAR_FOR = 180.0
"""Seconds without an active alarm after which an event that needs no proof ends itself."""


def follow(scan: Scan, number: int) -> None:
    """Carry one open event on: tell what is due, prove, close."""
    water = water_of(scan, scan.durable.events[number])
    wet = scan.durable.events[number].group == "water" and water is not None
    if wet and water is not None:
        _note_supply(scan, number, water)
    _tell_held(scan, number)
    if wet and water is not None:
        _follow_water(scan, number, water)
    event = scan.durable.events[number]
    if calling(event) and event.no_flow_since is None and event.losses == 0:
        _end_when_clear(scan, event)


def water_of(scan: Scan, event: EventRecord) -> Water | None:
    """The water that serves the vessel of an event."""
    for water in scan.waters:
        if water.chain.tank is not None and water.chain.tank.id == event.vessel:
            return water
    return scan.waters[0] if scan.waters else None


def _tell_held(scan: Scan, number: int) -> None:
    """Tell alarms whose time has come, the worst first; drop those that went, as flickers."""
    held = [(alarm, scan.plan.spec(alarm)) for alarm in scan.durable.events[number].held]
    for alarm, spec in sorted(held, key=lambda item: -item[1].rank if item[1] is not None else 0):
        event = scan.durable.events[number]
        condition = scan.running.conditions.get(alarm)
        hidden = alarms.is_hidden(scan, alarm)
        if spec is None or hidden or condition is None or not condition.active:
            scan.set_event(_without(event, alarm))
            continue
        after = condition.first_sign + storm.tell_after(scan, spec)
        ready = max(after, quiet.waits_until(scan, spec))
        if scan.t < ready:
            scan.due(ready)
            continue
        grade = quiet.grade_by_night(scan, spec)
        if RANK_OF_GRADE[grade] > RANK_OF_GRADE[event.grade]:
            event = graver(event, grade)
        again = spec.name == "supply lost" and event.losses > 1 and event.rank < RANK_NO_WATER
        worse = spec.rank > event.rank or _another_sensor(scan, event, spec)
        scan.set_event(replace(_without(event, alarm), rank=max(event.rank, spec.rank)))
        if worse or again:
            turn = "supply lost again" if again and event.told else spec.name
            telling.tell(scan, number, turn, spec)


SAME_CAUSE = 300.0
"""Sensors that fail within five minutes are told as one: it is the bus, or its supply."""


def _another_sensor(scan: Scan, event: EventRecord, spec: Spec) -> bool:
    """Whether this is a sensor that failed some time after the last one was told."""
    told = event.told[-1].at if event.told else float("-inf")
    return spec.group == "sensor" and scan.t - told >= SAME_CAUSE


def _without(event: EventRecord, alarm: str) -> EventRecord:
    return replace(event, held=tuple(item for item in event.held if item != alarm))


# Water: losses, returns, proof


def _follow_water(scan: Scan, number: int, water: Water) -> None:
    event = scan.durable.events[number]
    if not calling(event):
        _close_dip(scan, event, water)
        return
    if event.no_flow_since is not None:
        if proof := _proof(scan, water):
            prove(scan, number, proof, "")
        else:
            _tell_return(scan, number, water)
    elif event.losses:
        _end_dip(scan, event, water)


def _note_supply(scan: Scan, number: int, water: Water) -> None:
    event = scan.durable.events[number]
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    if supply is not None and event.losses and supply.lost_since is None:
        event = replace(event, back_since=supply.back_since)
    siphon = scan.durable.siphons.get(water.chain.line.id)
    if siphon is not None and calling(event):
        event = replace(event, no_flow_since=siphon.since, no_flow_presumed=siphon.presumed)
    scan.set_event(event)


def _proof(scan: Scan, water: Water) -> float | None:
    """Since when flow runs, once that is proven: in band without a break, header not falling.

    It is looked at on each full minute of the wall clock, so that the texts of two people who
    compare watches agree.
    """
    flow = scan.running.flows.get(water.chain.line.id, FlowState())
    if flow.in_band_since is None or water.fall is not None:
        return None
    enough = flow.in_band_since + scan.setup.delays.flow_proven
    ready = ceil(scan.now.utc_at(enough) / 60.0) * 60.0 - scan.now.utc + scan.t
    if scan.t < ready:
        scan.due(ready)
        return None
    return flow.in_band_since


def prove(scan: Scan, number: int, since: float, who: str) -> None:
    """Flow is proven, by a witness or (who given) by a named person: the calling ends."""
    event = scan.durable.events[number]
    water = water_of(scan, event)
    if water is not None:
        scan.set_siphon(water.chain.line.id, None)
    by_hand = bool(who)
    event = replace(
        event,
        stage=move(event.stage, "proven"),
        proven=scan.t,
        proven_by=who,
        flow_since=since,
        next_call=None,
        asked=scan.t + scan.setup.delays.ask_again if by_hand else None,
        owed=_owed(event, since),
        nagged=False,
    )
    scan.set_event(event)
    scan.journal("event", str(number), "flow proven", who=who, grade=event.grade)
    telling.tell_everyone(scan, number, "flow proven by hand" if by_hand else "flow proven")
    if not event.owed and not by_hand:
        close(scan, number, "flow proven")


def _owed(event: EventRecord, since: float) -> tuple[str, ...]:
    """What must still be entered: after an outage, or a long time without flow."""
    long = event.no_flow_since is not None and since - event.no_flow_since >= OWED_FROM
    return OWED_AFTER_NO_FLOW if event.losses or long else ()


def _tell_return(scan: Scan, number: int, water: Water) -> None:
    """Power is back and the larvae get nothing: the trap. Told, and told again, until proven."""
    event = scan.durable.events[number]
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    gone_again = supply is not None and supply.lost_since is not None
    if event.back_since is None or event.losses == 0 or gone_again:
        return
    told = [item.at for item in event.told if item.turn in _RETURN_TURNS]
    told = [at for at in told if at >= event.back_since]
    delays = scan.setup.delays
    ready = told[-1] + delays.power_back_repeat if told else event.back_since + delays.supply_back
    if scan.t < ready:
        scan.due(ready)
        return
    telling.tell(scan, number, "still no flow" if told else "power back, no flow", None)


_RETURN_TURNS = ("power back, no flow", "still no flow")


def _end_dip(scan: Scan, event: EventRecord, water: Water) -> None:
    """Supply came back before the siphon broke: one notice when that is sure.

    After a second loss, and in a storm, it waits until the header has been full for a while: who
    has started to drive should not turn round for three minutes of power.
    """
    if event.back_since is None or water.mains is False:
        return
    ready = event.back_since + scan.setup.delays.dip_over
    if scan.t < ready:
        scan.due(ready)
        return
    if water.flow_none and not _in_hold(scan, water):
        return
    if water.level is not None and not (water.rising or water.at_lip):
        return
    if water.level is None and water.float_closed is False:
        return
    careful = event.losses > 1 or storm.is_on(scan)
    if careful and not _full_for_long(scan, event, water):
        return
    event = replace(
        scan.durable.events[event.number],
        stage=move(event.stage, "proven"),
        proven=scan.t,
        flow_since=event.first_sign,
        next_call=None,
    )
    scan.set_event(event)
    scan.journal("event", str(event.number), "flow never stopped", grade=event.grade)
    told = any(
        item.turn == "flow never stopped" and item.at >= (event.back_since or 0.0)
        for item in event.told
    )
    if event.told and not told:
        telling.tell_everyone(scan, event.number, "flow never stopped")


def _in_hold(scan: Scan, water: Water) -> bool:
    """Whether the flow is off by intent: a feeding hold that has not ended."""
    hold = scan.durable.holds.get(water.chain.line.id)
    return hold is not None and scan.t < hold.end


def _refilled(scan: Scan, water: Water) -> bool:
    """Whether the header must be full again, reckoned without a level."""
    at = full_again(scan, water)
    scan.due(at)
    return scan.t >= at


def _full_for_long(scan: Scan, event: EventRecord, water: Water) -> bool:
    """Whether the header has been at its lip, or reckoned full, for the closing time."""
    full = water.at_lip if water.level is not None else _refilled(scan, water)
    since = event.clear_since if full else None
    if full and since is None:
        since = scan.t
    if since != event.clear_since:
        scan.set_event(replace(event, clear_since=since))
    if since is None:
        return False
    ready = since + scan.setup.delays.dip_closed
    scan.due(ready)
    return scan.t >= ready


def _close_dip(scan: Scan, event: EventRecord, water: Water) -> None:
    """An event in which flow never stopped closes itself: header at its lip, flow in band."""
    if event.owed or event.no_flow_since is not None or event.stage != "flow proven":
        return
    if _full_for_long(scan, event, water) and water.in_band is not False:
        close(scan, event.number, "flow never stopped")


# Ends


def _end_when_clear(scan: Scan, event: EventRecord) -> None:
    """An event that needs no proof ends itself once none of its alarms is active."""
    active = [
        record
        for alarm in event.alarms
        if (record := scan.durable.alarms.get(alarm)) is not None and record.state in alarms.ACTIVE
    ]
    if event.held or active:
        _ease(scan, replace(event, clear_since=None), active)
        return
    if any(alarm in scan.durable.aside and alarms.is_true(scan, alarm) for alarm in event.alarms):
        close(scan, event.number, "put aside")
        return
    since = event.clear_since
    if since is None:
        since = scan.t
        event = replace(event, clear_since=since)
        scan.set_event(event)
    if event.told and scan.t < since + CLEAR_FOR:
        scan.due(since + CLEAR_FOR)
        return
    if event.called and RANK_OF_GRADE[event.grade] >= RANK_OF_GRADE["high"]:
        telling.tell_everyone(scan, event.number, "well again")
    close(scan, event.number, "all clear")


def _ease(scan: Scan, event: EventRecord, active: list[AlarmRecord]) -> None:
    """End the calling of an event once only notices are left of it: nobody need go for them."""
    calls = RANK_OF_GRADE["high"]
    grades = [record.grade for record in active]
    grades += [spec.grade for alarm in event.held if (spec := scan.plan.spec(alarm)) is not None]
    worst = max(grades, key=RANK_OF_GRADE.__getitem__, default="record")
    if RANK_OF_GRADE[event.grade] < calls or RANK_OF_GRADE[worst] >= calls:
        scan.set_event(replace(event, milder_since=None))
        return
    since = event.milder_since if event.milder_since is not None else scan.t
    event = replace(event, milder_since=since)
    scan.set_event(event)
    if scan.t < since + CLEAR_FOR:
        scan.due(since + CLEAR_FOR)
        return
    if event.told:
        telling.tell_everyone(scan, event.number, "eased")
    event = scan.durable.events[event.number]
    event = replace(event, grade=worst, rank=RANK_OF_GRADE[worst], milder_since=None)
    scan.set_event(replace(event, first_call=None, next_call=None, calls=0, promise=None))
    scan.journal("event", str(event.number), "eased", grade=worst)
