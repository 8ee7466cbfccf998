"""Every text of a set-up before it is needed: worded, counted, also with the longest names. Pure.

Each turn is worded in every stage of an event and every state of the water that it can meet, and
the longest is shown: what fits there fits always.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import product
from math import isfinite
from typing import Any

from monitor.inputs import Moment, Reading
from monitor.logic import wording_paths
from monitor.logic.derived import observe
from monitor.logic.gsm import places
from monitor.logic.path_records import PathRecord
from monitor.logic.paths import tested
from monitor.logic.plan import Spec, fuel_spec, watch_spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord, HoldRecord, State, fresh
from monitor.logic.step import resume, step
from monitor.logic.wording import TEMPLATES, compose
from monitor.logic.wording_duty import duty_texts
from monitor.rig import Tag
from monitor.setup import Setup
from monitor.units import STATES

NUMBER = 9990
"""The event of the preview: a number of four digits is the longest that a rig will see."""
NAME, PERSON = 8, 16
"""Letters that the configuration allows for what stands in texts."""
AGO = 3600.0
"""Seconds that the event of the preview is under way."""

_STAGES: tuple[dict[str, Any], ...] = (
    {"stage": "open"},
    {"stage": "open", "promise": AGO, "reminded": AGO},
    {"stage": "taken", "promise": AGO},
    {"stage": "on site", "on_site": 3000.0},
)
_AWAY: dict[str, Any] = {"losses": 2, "lost_since": 600.0}
_BACK: dict[str, Any] = {"losses": 3, "lost_since": 600.0, "back_since": 1200.0}
_STOPPED: dict[str, Any] = {"no_flow_since": 900.0}
_PRESUMED: dict[str, Any] = {"no_flow_since": 900.0, "no_flow_presumed": True}
_EVERY: tuple[dict[str, Any], ...] = (
    {}, _AWAY, _BACK, _STOPPED, _AWAY | _STOPPED, _AWAY | _PRESUMED, _BACK | _PRESUMED,
)  # fmt: skip
_WATERS: dict[str, tuple[dict[str, Any], ...]] = {
    "supply lost": (_AWAY,),
    "supply lost again": (_AWAY,),
    "siphon broken": (_AWAY | _STOPPED, _AWAY | _PRESUMED, _STOPPED),
    "power back, no flow": (_BACK | _STOPPED, _BACK | _PRESUMED),
    "still no flow": (_BACK | _STOPPED, _BACK | _PRESUMED),
    "flow proven": (_BACK | _STOPPED, _BACK | _PRESUMED, _STOPPED),
    "flow proven by hand": (_BACK | _STOPPED, _BACK | _PRESUMED, _STOPPED),
    "flow never stopped": (_BACK,),
}
"""How the water can stand when a turn is told; any turn not named, in every way."""
_HELD_BY = {
    "still there": "on site",
    "reminder": "taken",
    "somebody has it": "on site",
    "next call": "open",
    "call to all": "open",
}
"""Turns that there are in one stage only."""


@dataclass(frozen=True, slots=True)
class Specimen:
    """One text as it would go out. subject: the condition it is about, "" for none."""

    turn: str
    subject: str
    grade: str
    body: str

    @property
    def places(self) -> int:
        """Places of the GSM 7-bit alphabet that it takes; 0 if a letter is none of it."""
        return places(self.body) or 0


def specimens(setup: Setup, now: Moment) -> list[Specimen]:
    """The longest form of every text that this set-up can send, in the order of a night."""
    if not setup.people:
        return []
    scan = _an_hour_on(setup, now)
    duty = (Specimen(turn, "", "notice", body) for turn, body in duty_texts(scan, NUMBER))
    return [*(_longest(scan, turn, spec) for turn, spec in _turns(scan)), *_of_paths(scan), *duty]


def _of_paths(scan: Scan) -> Iterator[Specimen]:
    """The texts about the ways to people, which belong to no event."""
    setup = scan.setup
    for channel in tested(setup) if setup.path_test is not None else ():
        test = PathRecord(number=NUMBER, who=setup.people[0].id, wait=scan.t)
        yield Specimen("path test", channel, "notice", wording_paths.test(scan, test))
        silent = wording_paths.not_reached(scan, channel, test)
        yield Specimen("path not proven", channel, "notice", silent)
    if setup.day_lines:
        evening = wording_paths.evening(scan, setup.quiet[1])
        yield Specimen("evening line", "", "notice", evening)
        yield Specimen("morning line", "", "notice", wording_paths.morning(scan))


def with_longest_names(setup: Setup) -> Setup:
    """The same set-up in which every name that texts use is as long as it may be."""
    rig = setup.rig
    names = {rig.label: rig.label.ljust(NAME, "M")}
    for part in (*(vessel.id for vessel in rig.vessels), *rig.circuits):
        names[part] = part.ljust(NAME, "M")
    people = tuple(replace(person, name=person.name.ljust(PERSON, "m")) for person in setup.people)
    return replace(
        setup,
        rig=_renamed(rig, names),
        run=_renamed(setup.run, names),
        limits=_renamed(setup.limits, names),
        people=people,
        worked_out={},
    )


def _renamed(value: Any, names: dict[str, str]) -> Any:
    """A frozen value in which names stand for others wherever they occur whole."""
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, tuple):
        return tuple(_renamed(item, names) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        changed = {item.name: _renamed(getattr(value, item.name), names) for item in fields(value)}
        return replace(value, **changed)
    return value


def _an_hour_on(setup: Setup, now: Moment) -> Scan:
    """The rig after an hour in which every tag has said something credible."""
    start = Moment(now.boot, 0.0, now.utc)
    state: State = resume(setup, fresh(NUMBER), start).state
    for second in (AGO - 30.0, AGO):
        moment = Moment(start.boot, second, start.utc_at(second))
        said = [Reading(tag.id, moment, _credible(tag)) for tag in setup.rig.tags]
        state = step(setup, state, said, moment).state
    scan = Scan(setup, state, moment)
    for chain in scan.plan.chains:
        scan.set_hold(chain.line.id, HoldRecord(chain.line.id, setup.people[0].id, 600.0, AGO))
    scan.waters = [observe(scan, chain) for chain in scan.plan.chains]
    return scan


def _credible(tag: Tag) -> float:
    """A value in the unit of the tag that its own ranges allow; water runs and mains is on."""
    if tag.measures in STATES:
        return 1.0
    span = tag.usual_range or tag.sensor_range
    middle = (span[0] + span[1]) / 2.0 if span is not None else tag.unit.to_si(10.0)
    shown = tag.unit.from_si(middle)
    return (shown - tag.zero) / tag.gain if tag.gain else shown


def _turns(scan: Scan) -> Iterator[tuple[str, Spec | None]]:
    """Every turn with the condition it tells of: the templates, then the limits in force."""
    specs = {spec.name: spec for spec in reversed(scan.plan.specs.values())}
    for turn in TEMPLATES:
        if turn in ("record not kept", "watch faulty"):
            part = "record" if turn == "record not kept" else "channel mail"
            yield turn, watch_spec(part, scan.plan.watch_delay)
        elif turn == "fuel low":
            yield turn, fuel_spec("generator", scan.plan.tank)
        elif turn in specs or turn not in _CONDITIONS:
            yield turn, specs.get(turn)
    for plans in scan.plan.limits.values():
        for plan in plans:
            if isfinite(plan.limit.value.at(scan.dph, scan.clock)):
                yield plan.spec.name, plan.spec


_CONDITIONS = frozenset(
    ("supply lost", "siphon broken", "hold overrun", "sensor faulty", "sensor silent",
     "flow not seen", "mains lost")
)  # fmt: skip
"""Turns that are told of a condition: a rig that does not have it never sends them."""


def _longest(scan: Scan, turn: str, spec: Spec | None) -> Specimen:
    grade = spec.grade if spec is not None else "urgent"
    person = scan.setup.people[0].id
    bodies: Sequence[str] = [
        compose(scan, event, turn, person, spec) for event in _events(scan, turn, spec, grade)
    ]
    subject = spec.id if spec is not None else ""
    return Specimen(turn, subject, grade, max(bodies, key=len))


def _events(scan: Scan, turn: str, spec: Spec | None, grade: str) -> Iterator[EventRecord]:
    """Events in every stage and state of the water in which this turn can be told."""
    people = [person.id for person in scan.setup.people]
    tank = spec.vessel if spec is not None else scan.plan.tank
    group = spec.group if spec is not None else "water"
    first_out = spec.id if spec is not None else "supply lost"
    bare = EventRecord(NUMBER, group, tank, first_out, 600.0, 660.0, grade)
    for stage, water in product(_STAGES, _WATERS.get(turn, _EVERY)):
        if _HELD_BY.get(turn, stage["stage"]) != stage["stage"]:
            continue
        taken_by = "" if stage == _STAGES[0] else people[0]
        yield replace(
            bare,
            **stage,
            **water,
            taken_by=taken_by,
            proven=3500.0,
            proven_by=people[-1],
            flow_since=3400.0,
            clear_since=3500.0,
            milder_since=3500.0,
            asked=5400.0,
            owed=("dead count", "cause", "timers"),
        )
