"""What the watch shows when asked: the state now, the open events, and why it called."""

from monitor.inputs import Moment
from monitor.logic import lately
from monitor.logic.derived import EARLY_SHARE, Water, break_forecast, endurance, observe
from monitor.logic.events import is_open
from monitor.logic.paths import path_lines
from monitor.logic.rota import duty_warnings
from monitor.logic.scan import Scan
from monitor.logic.standing import explained_lines, standing_lines
from monitor.logic.state import EventRecord, State
from monitor.logic.tale import Tale
from monitor.setup import Setup
from monitor.units import STATES


def observed(setup: Setup, state: State, now: Moment) -> Scan:
    """A scan to look at, with every water read off its tags."""
    scan = Scan(setup, state, now)
    scan.waters = [observe(scan, chain) for chain in scan.plan.chains]
    return scan


def now_lines(setup: Setup, state: State, now: Moment) -> list[str]:
    """The state in plain words: water, every tag with its age, what moves slowly, events."""
    scan = observed(setup, state, now)
    lines = [f"{setup.local(now.utc):%a %d %b %Y %H:%M:%S} {setup.rig.label}, {age_line(scan)}"]
    if not now.trusted:
        lines.append("The clock is not known to be right; intervals are.")
    lines += [water_line(scan, water) for water in scan.waters]
    lines += [_tag_line(scan, tag.id) for tag in setup.rig.tags]
    lines += [f"The watch itself: {part}: {wrong}" for part, wrong in scan.running.faults.items()]
    lines += duty_warnings(setup, state, now)
    lines += path_lines(scan)
    lines += lately.shown(scan)
    lines += [*standing_lines(setup, state, now), *explained_lines(state)]
    return lines + event_lines(setup, state, now)


def age_line(scan: Scan) -> str:
    """The run, its age, and whether the watch is in force."""
    run = scan.setup.run
    if run is None:
        return "no run"
    force = "watch set" if run.watch_set else "WATCH STOOD DOWN: nobody is called"
    return f"run {run.id}, dph {scan.dph}, {force}"


def water_line(scan: Scan, water: Water) -> str:
    """Whether the larvae get water, in one sentence, and what would follow a loss of supply."""
    name = water.chain.tank.id if water.chain.tank is not None else water.chain.line.id
    siphon = scan.durable.siphons.get(water.chain.line.id)
    if siphon is not None:
        since = f"{scan.setup.local(scan.now.utc_at(siphon.since)):%H:%M}"
        how = "PRESUMED broken" if siphon.presumed else "broken"
        return f"{name}: NO FLOW since {since}, siphon {how} ({siphon.how})."
    if water.flow_none:
        hold = scan.durable.holds.get(water.chain.line.id)
        why = f" (feeding hold till {_clock(scan, hold.end)})" if hold is not None else ""
        return f"{name}: NO FLOW{why}."
    if water.flow is not None and water.chain.flow is not None:
        return (
            f"{name}: water is flowing, {water.chain.flow.unit.show(water.flow)}.{_if(scan, water)}"
        )
    if water.witness:
        return f"{name}: the cup shows flow; litres are not measured.{_if(scan, water)}"
    due = scan.setup.flow_due.get(water.chain.line.id)
    known = f"; set by {due.known_by}" if due is not None else ""
    return f"{name}: flow is not measured{known}.{_if(scan, water)}"


def _if(scan: Scan, water: Water) -> str:
    """When the siphon breaks, or would break if the supply stopped now."""
    if not water.chain.drawn_by_siphon:
        return ""
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    lost = supply is not None and supply.lost_since is not None
    forecast = break_forecast(scan, water) if lost or water.level is not None else None
    lasts = endurance(water.chain, water.set_flow)
    if forecast is None and lasts is None:
        return ""
    at = forecast.told if forecast is not None else scan.t + (lasts or 0.0) * (1.0 - EARLY_SHARE)
    if lost:
        return f" SUPPLY LOST: the siphon breaks about {_clock(scan, at)}."
    return f" If supply stopped now the siphon would break about {_clock(scan, at)}."


def _clock(scan: Scan, elapsed: float) -> str:
    return f"{scan.setup.local(scan.now.utc_at(elapsed)):%H:%M}"


def _tag_line(scan: Scan, tag_id: str) -> str:
    tag = scan.setup.rig.tag[tag_id]
    state = scan.tag_state(tag_id)
    what = f"  {tag_id:8} {tag.measures} of {tag.of}:"
    if state.value is None:
        return f"{what} no reading"
    if tag.measures in STATES:
        value = STATES[tag.measures][int(state.value)]
    else:
        value = tag.unit.show(state.value)
    fault = f" FAULTY ({state.fault})" if state.fault else ""
    stale = "" if scan.usable(tag) is not None else " NOT TO BE USED"
    return f"{what} {value}, {scan.t - state.at:.0f} s old{fault}{stale}"


def event_lines(setup: Setup, state: State, now: Moment) -> list[str]:
    """One line an open event: number, grade, since, state of the water, who has it."""
    scan = observed(setup, state, now)
    unfinished = [event for event in state.durable.events.values() if is_open(event)]
    if not unfinished:
        return ["No open events."]
    return [event_line(scan, event) for event in unfinished]


def water_of(scan: Scan, event: EventRecord) -> Water | None:
    """The water of the tank an event is about; None where it is about something else."""
    tanks = {water.chain.tank.id: water for water in scan.waters if water.chain.tank is not None}
    return tanks.get(event.vessel)


def event_line(scan: Scan, event: EventRecord) -> str:
    """An event in one line: number, grade, since, state, who has it."""
    tale = Tale(scan, event, "", None, water_of(scan, event))
    parts = [
        f"Event {event.number} {event.grade} {event.vessel} since {tale.clock(event.first_sign)}"
    ]
    if event.stage == "flow proven":
        owed = f", owed: {', '.join(event.owed)}" if event.owed else ""
        return f"{parts[0]}: flow proven {tale.clock(event.proven)}{owed}"
    holder = {
        "taken": f"{tale.name(event.taken_by)} has it, due {tale.clock(event.promise)}",
        "on site": f"{tale.name(event.taken_by)} is on site",
    }.get(event.stage, f"goes with {event.led_by}" if event.led_by else "NOBODY HAS IT")
    return f"{parts[0]}: {tale.state()} {holder}."


def why_lines(setup: Setup, state: State, number: int, now: Moment) -> list[str]:
    """Why an event was called: first sign, its alarms with state, what was told and when."""
    event = state.durable.events.get(number)
    if event is None:
        return [f"There is no event {number} in memory; the record may have it."]
    scan = observed(setup, state, now)
    tale = Tale(scan, event, "", None, None)
    lines = [
        f"Event {number}: first sign {tale.clock(event.first_sign)}, first alarm {event.first_out},"
        f" stage {event.stage}."
    ]
    for alarm in event.alarms:
        record = state.durable.alarms.get(alarm)
        shown = record.state if record is not None else "no longer in the set-up"
        lines.append(f"  alarm {alarm}: {shown}")
    lines += [f"  told {tale.clock(item.at)}: {item.turn}" for item in event.told]
    lines += [f"  texted {tale.clock(item.at)}: {tale.name(item.turn)}" for item in event.called]
    return lines
