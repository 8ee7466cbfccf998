"""The demo rig and two smaller ones, written by hand for the simulator's tests."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from monitor.rig import Line, Rig, Tag, Vessel
from monitor.setup import LineFlow, Person, Profile, Run, Setup
from monitor.simulator.extras import DEMO
from monitor.simulator.hands import act
from monitor.simulator.physics import World
from monitor.simulator.story import Action
from monitor.units import L_PER_MIN, LITRE, unit_of

ZONE = "America/Chicago"
VESSELS = (
    Vessel("LT1", "larval tank", area=0.866, lip=0.83, rim=0.90, volume=720.0 * LITRE),
    Vessel("HD1", "header", area=0.490, lip=0.38, rim=0.46),
    Vessel("SU1", "sump", area=0.550, rim=0.62),
    Vessel("RM", "room"),
    Vessel("OUT", "other"),
)
LINES = (
    Line("S1", "siphon", "HD1", "LT1", bore=0.013, head=1.05, break_level=0.12),
    Line("P1", "pump", "SU1", "HD1", pump_flow=9.0 * L_PER_MIN, circuit="B1"),
    Line("O1", "overflow", "LT1", "SU1", bore=0.050),
    Line("A1", "air"),
)
CIRCUITS = ("B1", "B2", "B3", "B4")


def tag(
    name: str,
    measures: str,
    of: str,
    every: float,
    unit: str | None = None,
    height: float | None = None,
) -> Tag:
    """A tag of the source "sim" with the default unit of its quantity."""
    return Tag(name, measures, of, unit_of(measures, unit), "sim", every=every, height=height)


FULL_TAGS = (
    tag("MP", "mains", "B1", 1.0),
    tag("MA", "mains", "B2", 1.0),
    tag("MC", "current", "B3", 10.0),
    tag("QS", "flow", "P1", 5.0),
    tag("QL", "flow", "S1", 5.0),
    tag("LH", "level", "HD1", 5.0),
    tag("LHf", "float", "HD1", 1.0, height=0.28),
    tag("LT", "level", "LT1", 5.0, "mm"),
    tag("LS", "level", "SU1", 5.0),
    tag("TW1", "temperature", "LT1", 15.0),
    tag("TW2", "temperature", "SU1", 15.0),
    tag("TR", "temperature", "RM", 30.0),
    tag("TO", "temperature", "OUT", 60.0),
    tag("PA", "pressure", "A1", 10.0),
    tag("LX", "light", "LT1", 30.0),
    tag("FL", "wet", "RM", 1.0),
    tag("BAT", "voltage", "B2", 60.0),
)
FIRST_NIGHT_TAGS = (
    tag("MP", "mains", "B1", 1.0),
    tag("LHf", "float", "HD1", 1.0, height=0.293),
    tag("QW", "flow witness", "S1", 1.0),
    tag("TW1", "temperature", "LT1", 15.0),
    tag("TR", "temperature", "RM", 30.0),
    tag("FL", "wet", "RM", 1.0),
)
SET_FLOW = Profile(((-3, 3.0 * L_PER_MIN), (5, 4.5 * L_PER_MIN), (10, 6.0 * L_PER_MIN)))


def setup(rig: Rig) -> Setup:
    """A set-up around a rig: set flow by age, the run, two people."""
    return Setup(
        1,
        rig,
        flows=(LineFlow("S1", SET_FLOW),),
        people=(Person("tavrin", "M. Tavrin"), Person("oskel", "J. Oskel", night=2100.0)),
        run=Run("OH-07", "LT1", date(2026, 10, 6)),
    )


def demo(tags: tuple[Tag, ...] = FULL_TAGS) -> Setup:
    """The demo rig of Ostrel Hill with these tags."""
    return setup(Rig("ostrel-a", "LT1", "Ostrel", ZONE, VESSELS, LINES, CIRCUITS, tags))


def first_night(with_witness: bool = True) -> Setup:
    """The same rig with the first-night set of sensors."""
    kept = tuple(item for item in FIRST_NIGHT_TAGS if with_witness or item.id != "QW")
    return demo(kept)


def lone_loop() -> Setup:
    """A culture vessel with a pumped loop, no header and no sump."""
    return setup(
        Rig(
            "bench",
            "C1",
            "Bench",
            ZONE,
            (Vessel("C1", "culture", area=0.2, rim=0.5),),
            (Line("L1", "loop", "C1", "C1", pump_flow=4.0 * L_PER_MIN, circuit="B1"),),
            ("B1",),
            (tag("QC", "flow", "L1", 5.0), tag("LC", "level", "C1", 5.0)),
        )
    )


def world(flow: float, step: float = 0.1, evaporation: bool = False, **levels: float) -> World:
    """The demo rig without sensors, steady at a set flow in L/min.

    Evaporation is off by default: the worked tables leave it out. levels: m above the floor.
    """
    extras = DEMO if evaporation else replace(DEMO, evaporation=0.0)
    made = World(demo(()).rig, {"S1": flow * L_PER_MIN}, step=step, extras=extras)
    for vessel, level in levels.items():
        made.water.basins[vessel].level = level
    return made


def do(made: World, verb: str, what: str = "", value: float | None = None) -> None:
    """One action, now."""
    act(made, Action(0.0, verb, what, value))


def run_until(made: World, reached: Callable[[World], bool], at_most: float) -> float:
    """Seconds until something is reached, in steps of 0.1 s; fails after `at_most`."""
    start = made.elapsed
    while not reached(made):
        made.advance(0.1)
        assert made.elapsed - start < at_most, "not reached in time"
    return made.elapsed - start
