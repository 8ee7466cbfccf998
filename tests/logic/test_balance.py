"""Where the water is: what the balance of the levels names, and what it leaves alone."""

import pytest

from logic.play import Watch, play, sample, unhurried, with_tags, without
from monitor.logic.slopes import Course
from monitor.logic.state import Bucket, TagState
from monitor.setup import Setup
from monitor.simulator import Story
from monitor.simulator.story import Action
from monitor.units import L_PER_MIN, LITRE

HILL = unhurried(sample("ostrel-hill"), 10.0)
FULL = 6.0 * L_PER_MIN
AT = 1200.0


def day(setup: Setup, length: float, *actions: Action) -> Watch:
    """An afternoon with these actions."""
    return play(setup, Story("test", "2026-10-20T13:00:00", AT + length, FULL, actions=actions))


def came_true(played: Watch, name: str) -> list[tuple[float, dict[str, str]]]:
    """Seconds after the fault and evidence of each time that a condition came true."""
    return [
        (row.moment.elapsed - AT, dict(row.evidence))
        for row in played.rows
        if row.what == "condition" and row.state == "true" and row.subject.startswith(name)
    ]


def test_blocked_screen_is_named_with_its_rim() -> None:
    """The screen passes 4.3 of 6.0 L/min: recorded within two minutes, the sump agrees, and the
    text of the limit names the cause and a rim time not after the true one (36 min)."""
    played = day(HILL, 900.0, Action(AT, "outlet", value=4.3 * L_PER_MIN))
    (seconds, evidence), *more = came_true(played, "outlet blocked")
    assert [] == more
    assert 0.0 < seconds <= 150.0
    assert "outlet screen" in evidence["because"]
    (text,) = [text.body for text in played.texts if text.turn == "tank high"]
    assert "Sump down the same: outlet screen. Rim about 13:5" in text


def test_tank_sensor_that_rises_alone() -> None:
    """A tank level that drifts up while the sump stays names the sensor as well."""
    played = day(HILL, 1500.0, Action(AT, "sensor drift", "LT", 100.0))
    told = [evidence["because"] for _, evidence in came_true(played, "outlet blocked")]
    texts = [text.body for text in played.texts if text.turn == "tank high"]
    assert told
    assert any("tank sensor" in body for body in texts)


@pytest.mark.long
def test_feeding_holds_block_nothing() -> None:
    """Flow down to a third and up again moves header, tank and sump, and is no fault."""
    steps = [Action(AT, "valve", value=FULL / 3.0), Action(AT + 1800.0, "valve", value=FULL)]
    for setup in (HILL, without(HILL, "QL"), with_tags(HILL, "LT", "LS"), with_tags(HILL, "LS")):
        played = day(setup, 3600.0, *steps)
        for name in ("outlet", "overflow", "leak", "sump", "header sinking", "meter"):
            assert [] == came_true(played, name)


@pytest.mark.long
def test_leak_and_evaporation() -> None:
    """15 L/h is a leak within ten minutes; evaporation alone (0.19 L/h) is none in three hours."""
    setup = without(HILL, "FL")
    played = day(setup, 1800.0, Action(AT, "leak", "SU1", 15.0 * LITRE / 3600.0))
    (seconds, evidence), *_ = came_true(played, "leak/SU1/fast")
    assert seconds <= 1200.0
    assert evidence["loses"].endswith("L/h")
    assert [] == came_true(day(setup, 9600.0), "leak")


@pytest.mark.long
def test_buckets_taken_out_are_no_leak() -> None:
    """Eight litres taken out at once, twice, and poured back later: nothing goes on being lost."""
    setup = sample("ostrel-hill")
    buckets = [
        Action(AT + after, "add water", "SU1", litres * LITRE)
        for after, litres in ((0.0, -8.0), (400.0, -8.0), (900.0, 8.0), (1300.0, 8.0))
    ]
    played = day(setup, 3600.0, *buckets)
    assert [] == came_true(played, "leak")
    assert [] == came_true(played, "sump filling")


def test_leak_without_a_tank_level_says_both() -> None:
    """Where the larval tank is not measured, a falling sump is a leak or a blocked screen."""
    setup = with_tags(HILL, "MP", "QL", "LS")
    played = day(setup, 900.0, Action(AT, "outlet", value=0.0))
    (_, evidence), *_ = came_true(played, "sump falling")
    assert "leak, or outlet screen blocked" in evidence["where"]
    (text,) = [text.body for text in played.texts if text.turn == "sump falling"]
    assert "Pump dry about 13:4" in text


def test_drain_back_brings_the_break_forward() -> None:
    """A check valve that stays open halves the endurance, and the first text says the sooner time:
    not after the true break and at most two minutes before it."""
    actions = (Action(AT, "backflow", value=6.0 * L_PER_MIN), Action(AT, "mains off"))
    played = day(HILL, 900.0, *actions)
    assert came_true(played, "header drains back")
    (text,) = [text.body for text in played.texts if text.turn == "supply lost"]
    (broke, _), *_ = came_true(played, "siphon broken")
    assert 600.0 < broke < 800.0
    assert "Siphon breaks about 13:3" in text


@pytest.mark.parametrize("meter", ["QL", "QS"])
def test_dead_meter(meter: str) -> None:
    """A meter that shows nothing while the levels stand as they do with flow is doubtful."""
    played = day(HILL, 900.0, Action(AT, "sensor gain", meter, 0.0))
    (seconds, _), *_ = came_true(played, f"meter doubtful/{meter}")
    assert seconds <= 240.0


def test_stop_behind_a_meter_that_hangs() -> None:
    """The meter hangs at its last value and the prime is lost: the levels tell, PRESUMED."""
    actions = (Action(AT - 30.0, "sensor stuck", "QL"), Action(AT, "air lock"))
    played = day(HILL, 1500.0, *actions)
    assert came_true(played, "flow doubtful")
    assert any("PRESUMED" in text.body for text in played.texts if text.turn == "flow doubtful")


@pytest.mark.long
def test_sinking_header_names_its_cause() -> None:
    """Less supply is the strainer or the pump; a valve too far open is the valve."""
    weak = day(HILL, 1800.0, Action(AT, "supply", value=4.5 * L_PER_MIN))
    wide = day(HILL, 2400.0, Action(AT, "valve", value=10.5 * L_PER_MIN))
    ((_, less), *_), ((_, more), *_) = (came_true(w, "header sinking") for w in (weak, wide))
    assert "strainer" in less["because"]
    assert "valve open too far" in more["because"]


def test_slope_and_step() -> None:
    """A straight line has the slope it has; a step two minutes ago is none."""

    def course(values: list[float]) -> Course:
        trail = tuple(Bucket(i, 2, 2.0 * v, 20.0 * i) for i, v in enumerate(values))
        return Course(TagState(trail=trail))

    line = course([0.38 - 0.0002 * 10.0 * i for i in range(90)])
    found = line.sure()
    assert found is not None
    assert found.rate == pytest.approx(-0.0002)
    assert course([0.38] * 40 + [0.36] * 20).sure() is None
