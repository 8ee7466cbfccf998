"""The state as a drawing and a page need it: plain data, every text ready, SI for heights.

What is measured, what is inferred and what is missing stay apart; nothing is drawn from memory.
"""

from typing import Any

from monitor.inputs import Moment
from monitor.logic import duty
from monitor.logic.alarms import ACTIVE
from monitor.logic.derived import Water
from monitor.logic.events import calling, is_open
from monitor.logic.scan import Scan
from monitor.logic.screen import age_line, event_line, observed, water_line
from monitor.logic.standing import explained_lines, standing_lines
from monitor.logic.state import EventRecord, State
from monitor.logic.wording_care import person_name
from monitor.rig import Tag, Vessel
from monitor.setup import Setup
from monitor.units import STATES

Scene = dict[str, Any]
"""Objects, lists, texts, numbers, booleans and None only, as they travel in JSON."""


def scene(setup: Setup, state: State, now: Moment) -> Scene:
    """Everything the front page shows, in its order of importance."""
    scan = observed(setup, state, now)
    storm = state.durable.storm
    return {
        "place": setup.rig.label,
        "at": f"{setup.local(now.utc):%a %d %b %H:%M:%S}",
        "utc": now.utc,
        "clock_trusted": now.trusted,
        "run": age_line(scan),
        "watch_set": scan.watch_set,
        "waters": [_water(scan, water) for water in scan.waters],
        "vessels": [_vessel(scan, vessel) for vessel in setup.rig.vessels],
        "tags": [_tag(scan, tag) for tag in setup.rig.tags],
        "events": [_event(scan, event) for event in _worst_first(state)],
        "holds": [
            {
                "line": hold.line,
                "who": person_name(scan, hold.who),
                "end": scan.site_clock(hold.end),
            }
            for hold in state.durable.holds.values()
        ],
        "duty": [
            person_name(scan, person) for person in duty.order_at(setup, state.durable, now.utc)
        ],
        "storm": "" if storm is None else f"{setup.local(storm.until):%a %H:%M}",
        "sleeps": ""
        if state.durable.sleeper is None
        else person_name(scan, state.durable.sleeper.who),
        "standing": standing_lines(setup, state, now),
        "explained": explained_lines(state),
        "alarms": _alarms(scan),
        "aside": list(state.durable.aside),
        "works": list(state.durable.works),
        "faults": [f"{part}: {wrong}" for part, wrong in scan.running.faults.items()],
        "people": {person.id: person.name for person in setup.people},
    }


def _alarms(scan: Scan) -> list[str]:
    """Every alarm that can be shelved: those that are active first."""
    held = [alarm for alarm, record in scan.durable.alarms.items() if record.state in ACTIVE]
    return list(dict.fromkeys([*held, *scan.plan.specs]))


def _worst_first(state: State) -> list[EventRecord]:
    unfinished = [event for event in state.durable.events.values() if is_open(event)]
    grades = ("record", "notice", "high", "urgent")
    return sorted(unfinished, key=lambda e: (not calling(e), -grades.index(e.grade), e.number))


def _event(scan: Scan, event: EventRecord) -> Scene:
    return {
        "number": event.number,
        "grade": event.grade,
        "stage": event.stage,
        "calling": calling(event),
        "owed": list(event.owed),
        "line": event_line(scan, event),
        "conditions": _conditions(scan, event),
    }


def _conditions(scan: Scan, event: EventRecord) -> list[str]:
    """Names of the conditions of an event that still hold, the worst first."""
    held = [
        spec
        for alarm in event.alarms
        if alarm in scan.durable.alarms and scan.durable.alarms[alarm].state in ACTIVE
        if (spec := scan.plan.spec(alarm)) is not None
    ]
    return list(dict.fromkeys(spec.name for spec in sorted(held, key=lambda spec: -spec.rank)))


def _water(scan: Scan, water: Water) -> Scene:
    chain = water.chain
    siphon = scan.durable.siphons.get(chain.line.id)
    hold = scan.durable.holds.get(chain.line.id)
    if siphon is not None:
        flows = "presumed none" if siphon.presumed else "none"
    elif water.flow_none is None:
        flows = "not seen"
    else:
        flows = "none" if water.flow_none else "yes"
    flow = chain.flow
    return {
        "line": chain.line.id,
        "header": chain.header.id if chain.header is not None else None,
        "tank": chain.tank.id if chain.tank is not None else None,
        "sump": chain.pump.source if chain.pump is not None else None,
        "sentence": water_line(scan, water),
        "flows": flows,
        "held": hold is not None,
        "well": flows in ("yes", "not seen") and water.mains is not False,
        "flow": flow.unit.show(water.flow) if flow and water.flow is not None else "",
        "supply": chain.supply.unit.show(water.supply)
        if chain.supply is not None and water.supply is not None
        else "",
        "mains": {None: "", True: "on", False: "OFF"}[water.mains],
        "float": {None: "", True: "closed", False: "OPEN"}[water.float_closed],
        "break_level": chain.line.break_level,
        "head": chain.line.head,
    }


def _vessel(scan: Scan, vessel: Vessel) -> Scene:
    """level: measured, m above the floor, None where nothing usable says so.

    A level sensor that can read below zero counts from the lip.
    """
    tag = scan.setup.rig.tag_for("level", vessel.id)
    warm = scan.setup.rig.tag_for("temperature", vessel.id)
    temperature = scan.value(warm)
    return {
        "id": vessel.id,
        "kind": vessel.kind,
        "area": vessel.area,
        "lip": vessel.lip,
        "rim": vessel.rim,
        "level": _above_floor(tag, scan.value(tag), vessel),
        "level_shown": _shown(tag, scan.value(tag)),
        "temperature": _shown(warm, temperature),
    }


def _above_floor(tag: Tag | None, value: float | None, vessel: Vessel) -> float | None:
    if tag is None or value is None:
        return None
    from_lip = tag.sensor_range is not None and tag.sensor_range[0] < 0.0
    if not from_lip:
        return value
    return value + vessel.lip if vessel.lip is not None else None


def _shown(tag: Tag | None, value: float | None) -> str:
    return "" if tag is None or value is None else tag.unit.show(value)


def _tag(scan: Scan, tag: Tag) -> Scene:
    state = scan.tag_state(tag.id)
    value = ""
    if state.value is not None:
        states = STATES.get(tag.measures)
        value = states[int(state.value)] if states else tag.unit.show(state.value)
    return {
        "id": tag.id,
        "what": f"{tag.measures} of {tag.of}",
        "value": value,
        "age": max(0.0, scan.t - state.at) if state.value is not None else None,
        "fault": state.fault,
        "usable": scan.usable(tag) is not None,
    }
