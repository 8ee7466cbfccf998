"""Stories, scripted people, recordings, and the simulated rig as a source."""

import csv
import json
import math
import random
import threading
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from monitor.clock import VirtualClock
from monitor.errors import RefusedInput, SetupError
from monitor.inputs import Answer, Moment, Reading
from monitor.setup import SourceSetup
from monitor.simulator import (
    STORIES,
    Action,
    Rule,
    Say,
    ScriptedPeople,
    SimulatedRig,
    Story,
    write_recording,
)
from monitor.simulator.hands import VERBS
from monitor.simulator.nights import hold_overrun, night_outage, thermometer_fault
from monitor.simulator.sensors import FAULTS
from monitor.simulator.source import SimulatedSource
from monitor.units import L_PER_MIN
from simulator.rigs import demo, first_night, lone_loop

FLOW = 6.0 * L_PER_MIN
PLAIN = Story("plain", "2026-10-27T12:00:00", 3600.0, FLOW)
START = Moment(3, 1000.0, 1_790_000_000.0)


@pytest.mark.parametrize(
    ("action", "says"),
    [
        (Action(math.nan, "mains off"), "nan s is no time"),
        (Action(-1.0, "mains off"), "-1.0 s is no time"),
        (Action(1.0, "failed priming", value=1e-5, seconds=math.inf), "inf s is no time"),
        (Action(1.0, "explode"), "unknown action 'explode'; there are: add fresh water"),
        (Action(1.0, "mains off", "B9"), "no circuit 'B9' in this rig; there are: B1, B2, B3, B4"),
        (Action(1.0, "valve", "S9", 1e-4), "no siphon 'S9' in this rig; there are: S1"),
        (Action(1.0, "valve"), "value None will not do"),
        (Action(1.0, "valve", value=-1.0), "value -1.0 will not do"),
        (Action(1.0, "valve", value=math.nan), "value nan will not do"),
        (Action(1.0, "supply", value=math.inf), "value inf will not do"),
        (Action(1.0, "outlet", "XX", 0.0), "no vessel 'XX'"),
        (Action(1.0, "pump stop", "XX"), "no pump 'XX'"),
    ],
)
def test_actions_that_cannot_be_are_refused_before_play(action: Action, says: str) -> None:
    """The refusal names the story, the time, what is wrong and what there is."""
    with pytest.raises(RefusedInput, match=says) as refused:
        SimulatedRig(demo(), replace(PLAIN, actions=(action,)), 1)
    assert "story 'plain', action at" in str(refused.value)


@pytest.mark.parametrize(
    ("story", "says"),
    [
        (replace(PLAIN, start="yesterday"), "start 'yesterday' is no time"),
        (replace(PLAIN, set_flow=-1.0), "no usable set flow for siphon S1"),
        (replace(PLAIN, set_flow=math.nan), "no usable set flow for siphon S1"),
        (replace(PLAIN, levels=(("HD1", 0.5),)), "level 0.5 m of 'HD1' cannot be"),
        (replace(PLAIN, levels=(("HD9", 0.1),)), "level 0.1 m of 'HD9' cannot be"),
        (replace(PLAIN, says=(Say(1.0, "tavrin", "shout"),)), "scripted answer 'shout'"),
    ],
)
def test_stories_that_cannot_be_are_refused(story: Story, says: str) -> None:
    """A story with a wrong start, flow, level or answer does not begin."""
    with pytest.raises(RefusedInput, match=says):
        SimulatedRig(demo(), story, 1)


def test_a_siphon_story_does_not_play_on_a_lone_loop() -> None:
    """What the rig lacks is refused by name, before play."""
    with pytest.raises(RefusedInput, match="failed priming: no siphon"):
        SimulatedRig(lone_loop(), night_outage(), 1)


def test_the_set_flow_comes_from_the_set_up_where_the_story_has_none() -> None:
    """On day 4 the set-up says 3.0 L/min, on day 21 6.0."""
    for start, flow in (("2026-10-10T12:00:00", 3.0), ("2026-10-27T12:00:00", 6.0)):
        rig = SimulatedRig(demo(()), replace(PLAIN, start=start, set_flow=None), 1)
        assert flow == pytest.approx(rig.world.flow("S1") / L_PER_MIN, abs=0.02)


def test_levels_at_the_start_can_be_given() -> None:
    """A header that starts half full does so, and refills."""
    rig = SimulatedRig(demo(()), replace(PLAIN, levels=(("HD1", 0.25),)), 1)
    assert 0.25 == rig.world.level("HD1")
    assert not list(rig.until(3600.0))
    assert rig.world.level("HD1") > 0.38


def test_hands_set_the_valve_a_little_off() -> None:
    """Each setting is off by the next draw of the seeded scatter; off stays off."""
    actions = tuple(
        Action(10.0 * place, "valve", value=value)
        for place, value in enumerate((FLOW, 0.0, FLOW), start=1)
    )
    rig = SimulatedRig(demo(()), replace(PLAIN, actions=actions, scatter=0.06), 1)
    draw = random.Random(7)
    settings = []
    for end in (11.0, 21.0, 31.0):
        assert not list(rig.until(end))
        settings.append(rig.world.water.siphons["S1"].setting)
    off = [draw.uniform(-0.06, 0.06) for _ in range(2)]
    assert [FLOW * (1.0 + off[0]), 0.0, FLOW * (1.0 + off[1])] == settings


def test_leaving_the_play_half_way_loses_nothing() -> None:
    """Taken one by one with breaks or in one go, the readings are the same."""
    whole = list(SimulatedRig(demo(), PLAIN, 1).until(60.0))
    rig, pieces = SimulatedRig(demo(), PLAIN, 1), list[Reading | Answer]()
    while len(pieces) < len(whole):
        pieces.append(next(rig.until(60.0)))
    assert whole == pieces
    assert not list(rig.until(60.0))


def test_readings_count_on_from_the_given_origin() -> None:
    """Moments carry boot, elapsed and wall time of the origin."""
    rig = SimulatedRig(demo(), PLAIN, 1, origin=START)
    items = list(rig.until(1010.0))
    assert START == items[0].moment
    assert Moment(3, 1010.0, 1_790_000_010.0) == items[-1].moment


def test_people_answer_at_their_times() -> None:
    """Answers come when due, in order, with the moment at which they were given."""
    people = ScriptedPeople(
        START, (Say(60.0, "oskel", "here", 41), Say(30.0, "oskel", "take", 41, 30.0))
    )
    assert 1030.0 == people.next_due()
    assert [] == people.due(1029.9)
    moment = Moment(3, 1030.0, 1_790_000_030.0)
    assert [Answer(moment, "take", "oskel", 41, 30.0, "", "script")] == people.due(1030.0)
    assert ["here"] == [answer.kind for answer in people.due(2000.0)]
    assert people.next_due() is None


def test_people_answer_after_they_were_texted() -> None:
    """A rule answers the text it fits, with its event, as often as it says."""
    people = ScriptedPeople(
        START,
        rules=(
            Rule("tavrin", 180.0, "take", "supply lost", 30.0),
            Rule("oskel", 60.0, "take", times=2),
        ),
    )
    at = Moment(3, 1100.0, 1_790_000_100.0)
    people.texted("tavrin", 41, "reminder", at)
    assert people.next_due() is None
    people.texted("tavrin", 41, "supply lost", at)
    people.texted("tavrin", 41, "supply lost", at)
    for _ in range(3):
        people.texted("oskel", 42, "second call", at)
    said = [(answer.moment.elapsed, answer.who, answer.event) for answer in people.due(9999.0)]
    assert [(1160.0, "oskel", 42), (1160.0, "oskel", 42), (1280.0, "tavrin", 41)] == said


@pytest.mark.long
def test_a_recording_holds_every_reading(tmp_path: Path) -> None:
    """The table has a row a moment and a cell a reading; what people said stands beside it."""
    story = replace(hold_overrun(), start="2026-11-01T00:30:00")  # through the change of clocks
    setup, table, said = demo(), tmp_path / "r.csv", tmp_path / "r.jsonl"
    rows = write_recording(setup, story, 5, story.length, table, said)
    items = list(SimulatedRig(setup, story, 5).until(story.length))
    expected = [
        (item.moment.utc, item.tag, item.value) for item in items if isinstance(item, Reading)
    ]
    found = []
    with table.open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    for line in lines:
        utc = _utc(line.pop("time"))
        found += [(utc, name, float(cell)) for name, cell in line.items() if cell]
    assert rows == len(lines)
    assert sorted(expected) == sorted(found)
    answers = [json.loads(line) for line in said.read_text("utf-8").splitlines()]
    assert {"kind": "hold", "who": "tavrin", "minutes": 40.0} == _without_time(answers[0])
    assert {"kind": "take", "who": "tavrin", "event": 17} == _without_time(answers[1])
    assert "2026-11-01T01:00:00-05:00" == answers[0]["time"]


def _utc(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def _without_time(answer: dict[str, object]) -> dict[str, object]:
    return {key: value for key, value in answer.items() if key != "time"}


def test_a_failed_reading_stays_apart_from_none(tmp_path: Path) -> None:
    """A reading that came without a value leaves its word in the cell; silence leaves nothing."""
    table = tmp_path / "r.csv"
    write_recording(demo(), thermometer_fault(), 1, 1800.0, table, tmp_path / "r.jsonl")
    with table.open(encoding="utf-8", newline="") as file:
        cells = {line["time"][11:19]: line["TW1"] for line in csv.DictReader(file)}
    assert ("85", "no answer", "") == (cells["10:17:30"], cells["10:17:45"], cells["10:17:46"])


def source(**options: object) -> SimulatedSource:
    """The demo rig as a source named "sim"."""
    return SimulatedSource(SourceSetup("sim", "simulated", tuple(options.items())), demo().rig, {})


@pytest.mark.parametrize(("speed", "seconds"), [(1.0, 60.0), (10.0, 6.0)])
def test_the_source_delivers_in_real_time_or_faster(speed: float, seconds: float) -> None:
    """A minute of the story takes its time divided by the speed, on the clock it is given."""
    clock, stop, got = VirtualClock(START), threading.Event(), list[Reading]()

    def put(reading: Reading) -> None:
        got.append(reading)
        if reading.tag == "BAT" and reading.moment.elapsed > START.elapsed:
            stop.set()

    source(speed=speed).run(put, clock, stop)
    assert START.elapsed + seconds == pytest.approx(got[-1].moment.elapsed)
    assert {tag.id for tag in demo().rig.tags} == {reading.tag for reading in got}


def test_the_source_stops_when_told() -> None:
    """With the stop signal set beforehand nothing is delivered."""
    stop = threading.Event()
    stop.set()
    source().run(lambda reading: pytest.fail("delivered"), VirtualClock(START), stop)


def test_the_source_names_every_wrong_option() -> None:
    """Unknown options, wrong kinds and unknown stories are told together, with a remedy."""
    with pytest.raises(SetupError) as refused:
        source(speed=0.0, sed=3, seed="x")
    assert {"speed", "sed", "seed"} == {problem.key for problem in refused.value.problems}
    with pytest.raises(SetupError, match=r"no story 'nothing'.*steady"):
        source(story="nothing")
    with pytest.raises(SetupError, match="no tag names this source"):
        SimulatedSource(SourceSetup("other", "simulated"), demo().rig, {})


def test_the_source_refuses_a_story_its_rig_cannot_play() -> None:
    """A fault of a thermometer that the rig lacks is refused when it is set up."""
    rig = demo(tuple(tag for tag in first_night().rig.tags if tag.id != "TW1")).rig
    with pytest.raises(RefusedInput, match="no sensor 'TW1'"):
        SimulatedSource(SourceSetup("sim", "simulated", (("story", "thermometer fault"),)), rig, {})


def test_every_story_is_known_by_its_name() -> None:
    """The name in the table is the name in the story."""
    assert list(STORIES) == [make().name for make in STORIES.values()]


def test_every_word_of_a_story_is_documented() -> None:
    """docs/explanation/simulator.md explains each action and each sensor fault."""
    page = (Path(__file__).parents[2] / "docs" / "explanation" / "simulator.md").read_text("utf-8")
    assert [] == [word for word in (*VERBS, *FAULTS) if f"`{word}`" not in page]
