"""Whatever power and pump do: the true state of the simulated siphon against what people know."""

import random

import pytest

from logic.play import Watch, sample, unhurried, watch, with_tags, without
from monitor.logic.events import calling, is_open
from monitor.setup import Setup
from monitor.simulator import SimulatedRig, Story
from monitor.simulator.story import Action
from monitor.units import L_PER_MIN

HILL = unhurried(sample("ostrel-hill"), 20.0)
FIRST = unhurried(sample("first-night"), 20.0)
pytestmark = pytest.mark.long

RIGS = {
    "all": with_tags(HILL, "MP", "QS", "QL", "LH"),
    "mains, flow": with_tags(HILL, "MP", "QL"),
    "mains, supply": with_tags(HILL, "MP", "QS"),
    "mains, level": with_tags(HILL, "MP", "LH"),
    "supply, level": with_tags(HILL, "QS", "LH"),
    "level": with_tags(HILL, "LH"),
    "float": with_tags(HILL, "LHf"),
    "mains": with_tags(HILL, "MP"),
    "first night": FIRST,
    "first night, no witness": without(FIRST, "QW"),
}
SPANS = (20.0, 60.0, 120.0, 300.0, 600.0, 1000.0, 1300.0, 1500.0, 1800.0, 3000.0)
REFILL = 4800.0
"""Seconds after the last return until the header is full (127 L at a surplus of 3 L/min) and the
event has closed itself."""
PAUSES = (120.0, 300.0, 900.0, 1800.0, 4000.0)


def troubles(draw: random.Random, pump_too: bool) -> list[Action]:
    """Outages, and stops of the pump with the mains on, of random length for an hour and a half."""
    actions, at = [], 900.0
    while at < 5400.0:
        what = draw.choice(("mains", "mains", "pump")) if pump_too else "mains"
        length = draw.choice(SPANS)
        words = ("mains off", "mains on") if what == "mains" else ("pump stop", "pump start")
        actions += [Action(at, words[0]), Action(at + length, words[1])]
        at += length + draw.choice(PAUSES)
    return actions


def play(setup: Setup, seed: int, pump_too: bool) -> tuple[Watch, float | None]:
    """A night of troubles without any answer; and when the siphon lost its prime, if it did."""
    actions = troubles(random.Random(seed), pump_too)
    end = actions[-1].at + REFILL
    story = Story("any", "2026-10-18T00:45:00", end, 6.0 * L_PER_MIN, actions=tuple(actions))
    rig = SimulatedRig(setup, story, seed)
    inputs, broke, at = [], None, 0.0
    while at < end:
        at = min(end, at + 20.0)
        inputs += list(rig.until(at))
        if broke is None and not rig.world.primed("S1"):
            broke = at
    return watch(setup, rig.origin).feed(inputs, end), broke


@pytest.mark.parametrize("name", RIGS)
@pytest.mark.parametrize("seed", [4, 23, 104, 115])
def test_what_people_know_of_the_siphon(name: str, seed: int) -> None:
    """A siphon that lost its prime is told to be broken and never after that to be well, and
    people are still being called at the end; one that kept it leaves nobody called.

    On mains alone a pump that stops with the power on is not seen, so there it never does.
    """
    played, broke = play(RIGS[name], seed, pump_too=name != "mains")
    open_ = [
        event
        for event in played.state.durable.events.values()
        if is_open(event) and calling(event) and event.group == "water"
    ]
    if broke is None:
        assert all(event.no_flow_presumed for event in open_)
        return
    assert any(event.no_flow_since is not None for event in open_)
    worse = ("siphon broken", "no flow")
    assert [text for text in played.texts if text.turn in worse]
    comfort = ("flow never stopped", "well again", "flow proven")
    assert not [t for t in played.texts if t.turn in comfort and t.moment.elapsed > broke]
