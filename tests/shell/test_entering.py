"""What people measure by hand: from the command to a reading that is judged."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monitor.clock import VirtualClock
from monitor.config import load_texts, snapshot
from monitor.control import Request
from monitor.desk import Desk
from monitor.entering import by_bucket, entered, moment_at
from monitor.errors import ControlError, RefusedInput, SetupError
from monitor.inputs import Answer, Moment, Reading
from monitor.logic.state import Durable, Running, State
from monitor.logic.step import resume, step
from monitor.loop import Snapshot
from monitor.parts import build
from monitor.setup import Setup
from monitor.units import L_PER_MIN
from shell.test_desk import PromptInbox

SAMPLE = Path(__file__).parents[2] / "sample_config" / "first-night"
HAND = """
[[source]]
id = "hand"
kind = "manual"
[[tag]]
id = "SAL"
measures = "salinity"
of = "LT1"
source = "hand"
unit = "g/kg"
sensor_range = [0, 60]
every_s = 3600
[[tag]]
id = "QB"
measures = "flow check"
of = "S1"
source = "hand"
unit = "L/min"
"""
NOON = 1_792_256_400.0
"""2026-10-17 12:00 in Chicago."""
NOW = Moment(3, 90_000.0, NOON)


def files(hand: str = HAND) -> dict[str, str]:
    """The first night's files, with more in rig.toml."""
    texts = dict(snapshot(SAMPLE))
    texts["rig.toml"] += hand
    return texts


@pytest.fixture(scope="module")
def setup() -> Setup:
    """The first night's rig with two tags that people enter."""
    return load_texts(files(), 1)


class Bench:
    """A desk at noon."""

    def __init__(self, setup: Setup) -> None:
        self.inbox = PromptInbox()
        state = State(Durable(), Running(started=NOW.elapsed))
        shot = Snapshot(setup, state, NOW)
        self.desk = Desk(self.inbox, VirtualClock(NOW), lambda: shot, lambda _setup: None)

    def enter(self, **data: Any) -> dict[str, Any]:
        person = {"as": next(iter(self.desk._snapshot().setup.person))}
        return self.desk.handlers["enter"](Request("root", {**person, **data}))

    def readings(self) -> list[Reading]:
        return self.inbox.drain()[0]


def test_value_with_person_and_reason(setup: Setup) -> None:
    """What is entered becomes a reading, and a note of who entered it, when and why."""
    bench = Bench(setup)
    response = bench.enter(tag="SAL", value=34.2, reason="refractometer", at="08:10")

    who = response["who"]
    told = "entered SAL 34.2 g/kg at 08:10: refractometer"
    assert [Answer(NOW, "note", who, text=told)] == [post.item for post in bench.inbox.posts]
    ago = (3 * 60 + 50) * 60.0
    assert [Reading("SAL", Moment(3, 90_000.0 - ago, NOON - ago), 34.2)] == bench.readings()


def test_bucket_is_a_flow(setup: Setup) -> None:
    """Ten litres in 100 seconds are 6 L/min."""
    bench = Bench(setup)
    bench.enter(tag="QB", bucket=[10, 100])
    assert [Reading("QB", NOW, 6.0)] == bench.readings()
    assert 6.0 * L_PER_MIN == pytest.approx(by_bucket(10, 100), rel=1e-12)


def test_another_unit(setup: Setup) -> None:
    """A value in another unit of the same quantity is converted into the unit of the tag."""
    assert Reading("QB", NOW, 6.0) == entered(setup, "QB", 360.0, "L/h", NOW)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"tag": "QS1", "value": 6.0}, "no tag that people enter; there are SAL, QB"),
        ({"tag": "SAL", "value": 342}, "lies outside 0.0 g/kg to 60.0 g/kg"),
        ({"tag": "SAL", "value": math.nan}, "is not a number"),
        ({"tag": "SAL", "value": 34, "unit": "ppm"}, "is entered in g/kg"),
        ({"tag": "SAL", "value": 34, "at": "25:00"}, "not a time of day"),
        ({"tag": "SAL", "value": 34, "at": "08"}, "not a time of day"),
        ({"tag": "QB", "bucket": [10, 0]}, "both above 0"),
    ],
)
def test_refused_and_nothing_kept(setup: Setup, data: dict[str, Any], said: str) -> None:
    """What cannot be meant is refused with a remedy, and neither noted nor read."""
    bench = Bench(setup)
    with pytest.raises(RefusedInput, match=said):
        bench.enter(**data)
    assert ([], []) == (bench.inbox.posts, bench.readings())


@pytest.mark.parametrize(
    "data",
    [
        {"value": "34"},
        {"value": True},
        {},
        {"value": 10**400},
        {"bucket": 10},
        {"bucket": [10]},
        {"bucket": [10, "x"]},
    ],
)
def test_hostile_requests(setup: Setup, data: dict[str, Any]) -> None:
    """What is no number is told, whatever it is."""
    bench = Bench(setup)
    with pytest.raises(ControlError):
        bench.enter(tag="SAL", **data)
    assert [] == bench.readings()


def test_refused_note_leaves_no_reading(setup: Setup) -> None:
    """A value whose note the watch refuses is not read either."""
    bench = Bench(setup)
    bench.inbox.refusal = "not now"
    with pytest.raises(RefusedInput, match="not now"):
        bench.enter(tag="SAL", value=34)
    assert [] == bench.readings()


def test_clock_time_without_a_trusted_clock() -> None:
    """A board that does not know the time takes no time of day."""
    with pytest.raises(RefusedInput, match="does not know the time"):
        moment_at("08:10", replace(NOW, trusted=False), "America/Chicago")


def test_yesterday_evening() -> None:
    """A time of day that is still to come today was yesterday."""
    assert NOON - 12.5 * 3600 == moment_at("23:30", NOW, "America/Chicago").utc


@pytest.mark.parametrize("measures", ["flow", "level", "float", "flow witness", "mains"])
def test_proof_of_water_is_not_entered(measures: str) -> None:
    """A quantity by which the watch sees water is refused, with the file it stands in."""
    wrong = HAND.replace('"flow check"', f'"{measures}"')
    if measures in ("float", "flow witness", "mains"):
        wrong = wrong.replace('unit = "L/min"', "")
    if measures == "level":
        wrong = wrong.replace('unit = "L/min"', 'unit = "cm"')
    where = {"level": "HD1", "float": "HD1", "mains": "B1"}.get(measures, "S1")
    wrong = wrong.replace('of = "S1"', f'of = "{where}"')
    with pytest.raises(SetupError, match="the tag measures"):
        build(replace(load_texts(files(wrong), 1), channels=()), {})


def test_silent_only_past_its_own_pace(setup: Setup) -> None:
    """A tag with an agreed hour is silent after it; one without is never so."""
    only = replace(setup, rig=replace(setup.rig, tags=setup.rig.tags[-2:]))
    state = resume(only, None, NOW).state
    silent = {}
    for hours in (0.9, 1.1, 24 * 40):
        later = replace(NOW, elapsed=NOW.elapsed + hours * 3600, utc=NOON + hours * 3600)
        state = step(only, state, (), later).state
        silent[hours] = [name for name in state.running.conditions if "sensor silent" in name]
    assert {0.9: [], 1.1: ["sensor silent/SAL"], 960: ["sensor silent/SAL"]} == silent
