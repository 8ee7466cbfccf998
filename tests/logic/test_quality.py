"""Readings: which are believed. Vectors are those of QARTOD's reference library, ioos_qc 3.0.0.

Named differences, on purpose: a value that is no number is a failed reading here (4), the library
says missing (9); one fault of the flat line, suspect, is known here, and it is judged by strict
time, so a count of three equal readings 60 s apart is 'longer than 119 s'.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc import qartod

from monitor.effects import Flag
from monitor.inputs import Moment, Reading
from monitor.logic.quality import (
    FAIL,
    GOOD_AGAIN,
    MISSING,
    PASS,
    REAL_STEP,
    SUSPECT,
    flat_line,
    gross_range,
    spike,
    take,
    too_fast,
)
from monitor.logic.state import TagState
from monitor.rig import Tag
from monitor.units import unit_of

NAN = math.nan
LEVEL = Tag(
    "LH",
    "level",
    "HD1",
    unit_of("level"),
    "sim",
    every=5.0,
    sensor_range=(0.0, 0.46),
    max_step=0.010,
    max_rate=0.0005,
)
"""Header level, in cm as delivered."""
WATER = Tag(
    "TW1",
    "temperature",
    "LT1",
    unit_of("temperature"),
    "sim",
    every=15.0,
    sensor_range=(-55.0, 125.0),
    usual_range=(15.0, 35.0),
    start_up_values=(85.0, -127.0),
)
Value = float | None


def stream(
    tag: Tag,
    values: Sequence[Value],
    every: float | None = None,
    state: TagState | None = None,
    start: float = 0.0,
) -> tuple[TagState, list[Flag]]:
    """The state and the flags after readings at even intervals; none at all for a text "-"."""
    state = state or TagState()
    flags: list[Flag] = []
    for place, value in enumerate(values):
        at = start + place * (every or tag.every)
        state, new = take(tag, state, Reading(tag.id, Moment(1, at, at), value))
        flags.extend(new)
    return state, flags


def plain(**limits: object) -> Tag:
    """A tag without a unit that scales."""
    return replace(Tag("X", "number", "LT1", unit_of("number"), "sim"), **limits)  # type: ignore[arg-type]


GROSS = [
    ("G1", [1, 2, 3, 4, 8], (0, 5), (1, 4), [1, 1, 1, 1, 4]),
    (
        "G2",
        [24.9, 25, 26, 27.9, 28, 30, 30.1, 35, 35.1],
        (20, 35),
        (25, 30),
        [3, 1, 1, 1, 1, 1, 3, 3, 4],
    ),
    (
        "G3",
        [0, -0.001, 12, 12.001, 1, 0.999, 10, 10.001],
        (0, 12),
        (1, 10),
        [3, 4, 3, 4, 1, 3, 1, 3],
    ),
    ("G5", [math.inf, -math.inf, 3], (0, 5), (1, 4), [4, 4, 1]),
    ("D1", [28, 85, -127], (-5, 45), (26, 30), [1, 4, 4]),
]


@pytest.mark.parametrize(("name", "values", "fail", "suspect", "flags"), GROSS)
def test_gross_range_vectors(
    name: str,
    values: list[float],
    fail: tuple[float, float],
    suspect: tuple[float, float],
    flags: list[int],
) -> None:
    """Limits belong to the range: a value equal to one passes it."""
    assert flags == [gross_range(value, fail, suspect) for value in values], name


def test_gross_range_without_limits() -> None:
    """Without limits every number passes, and what is no number fails."""
    assert [PASS, FAIL, FAIL] == [gross_range(value, None, None) for value in (1e9, NAN, -math.inf)]


SPIKES = [
    (
        "S1",
        0.5,
        1.0,
        [3, 4.99, 5, 6, 8, 6, 6, 6.75, 6, 6, 5.3, 6, 6, 9, 5],
        [3, 1, 1, 4, 3, 1, 3, 1, 1, 3, 1, 4, 4],
    ),
    (
        "S3",
        1.0,
        2.0,
        [28, 28, 28.1, 28, 30.5, 28.1, 28, 28, 29, 30, 31, 31, 85, 31],
        [1, 1, 3, 4, 3, 1, 1, 1, 1, 1, 4, 4],
    ),
    ("S5", 1.0, 2.0, [28, 28, 31, 31, 28, 28], [3, 3, 3, 3]),
    ("S6", 1.0, 2.0, [0, 1, 0, 0, 2, 0], [1, 1, 1, 3]),
    ("S7", 0.15, 0.25, [1, 1.1, 1, 1.2, 1, 1.3, 1, 1.4, 1, 1.5, 1], [1, 1, 3, 3, 4, 4, 4, 4, 4]),
]
"""Without the first and the last of each series, which have no neighbours to judge them by."""


@pytest.mark.parametrize(("name", "low", "high", "values", "flags"), SPIKES)
def test_spike_vectors(
    name: str, low: float, high: float, values: list[float], flags: list[int]
) -> None:
    """Average form: the distance from the mean of both neighbours; equal to the limit passes."""
    triples = zip(values, values[1:], values[2:], strict=False)
    assert flags == [spike(*triple, low, high) for triple in triples], name


def test_rate_vectors() -> None:
    """R1 to R3 and L1: a change by exactly the rate passes, more does not."""
    r1 = [(28.05, 28, 1), (28.1, 28.05, 1), (28.5, 28.1, 3), (28.5, 28.5, 1), (27, 28.5, 4)]
    for value, last, flag in r1:
        assert (flag >= SUSPECT) == too_fast(value, last, 60.0, 0.0, 0.005)
        assert (flag == FAIL) == too_fast(value, last, 60.0, 0.0, 0.02)
    r2 = [6, 12.06, 12.06, 6]
    assert [False, True, False, True] == [
        too_fast(value, last, 60.0, 0.0, 0.1) for last, value in zip([0, *r2], r2, strict=False)
    ]
    assert not too_fast(30.0, 28.0, 3540.0, 0.0, 0.01)
    assert too_fast(30.5, 30.0, 30.0, 0.0, 0.01)


def test_falling_level_seen_by_its_rate() -> None:
    """L1: the rate sees a falling header three readings before the suspect range does."""
    levels = [0.60] * 6 + [0.58, 0.55, 0.51, 0.46, 0.40, 0.33, 0.25]
    assert [PASS] * 10 + [SUSPECT] * 3 == [gross_range(v, (0, 1), (0.45, 0.65)) for v in levels]
    fast = [too_fast(b, a, 10.0, 0.0, 0.003) for a, b in pairwise(levels)]
    assert [False] * 7 + [True] * 5 == fast


def test_flat_line_vectors() -> None:
    """F5, the manual's 'three equal' at 60 s: suspect from the third on; a change ends it."""
    tag = plain(flat_after=119.0)
    _, flags = stream(tag, [1, 2, 2, 2, 2, 2, 2, 3, 3, 3, 3], every=60.0)
    assert [3, 4, 5, 6, 9, 10] == [flag.elapsed / 60.0 for flag in flags]
    assert {(SUSPECT, "flat line")} == {(flag.flag, flag.test) for flag in flags}


def test_flat_line_is_strict() -> None:
    """F4: as long as allowed still passes."""
    assert PASS == flat_line(60.0, 60.0)
    assert SUSPECT == flat_line(60.001, 60.0)


def test_flat_line_silences_nothing() -> None:
    """Steady water is flat: the value stays in use and no fault is made."""
    state, flags = stream(plain(flat_after=60.0), [5.0] * 500)
    assert (5.0, "", 0) == (state.value, state.fault, state.bad_run)
    assert {SUSPECT} == {flag.flag for flag in flags}


def test_one_bad_reading_blames_no_neighbour() -> None:
    """D1: what fails the gross range never meets the spike test, so only the bad are flagged."""
    tag = plain(sensor_range=(-5.0, 45.0), usual_range=(26.0, 30.0), spike=(1.0, 2.0))
    values = [28, 28, 28, 85, 28, 28, 28, -127, -127, 28, 28]
    _, flags = stream(tag, values, every=1.0)
    assert [(3, FAIL), (7, FAIL), (8, FAIL)] == [(flag.elapsed, flag.flag) for flag in flags]


finite = st.floats(-60.0, 130.0)


@given(st.lists(finite, min_size=1, max_size=20))
def test_gross_range_as_the_reference_library(values: list[float]) -> None:
    """Any series of numbers gets the flags ioos_qc gives."""
    theirs = qartod.gross_range_test(np.array(values), (-55.0, 125.0), (15.0, 35.0))
    ours = [gross_range(value, (-55.0, 125.0), (15.0, 35.0)) for value in values]
    assert [int(flag) for flag in theirs] == ours


@given(st.lists(finite, min_size=3, max_size=20))
def test_spike_as_the_reference_library(values: list[float]) -> None:
    """Any series of numbers gets the flags of ioos_qc, ends apart, which it calls not evaluated."""
    theirs = qartod.spike_test(np.array(values), 1.0, 2.0, method="average")
    ours = [
        spike(*triple, 1.0, 2.0) for triple in zip(values, values[1:], values[2:], strict=False)
    ]
    assert [int(flag) for flag in theirs] == [2, *ours, 2]


# Streams through `take`


def test_level_echo_is_dropped() -> None:
    """An echo (383, 70, 383 mm) is suspect, never the value, and leaves no trace in the mean."""
    state, flags = stream(LEVEL, [38.3, 38.3, 7.0, 38.3, 38.3])
    assert [Flag("LH", 10.0, SUSPECT, "rate of change", 1)] == flags
    assert state.value == pytest.approx(0.383)
    assert all(bucket.value == pytest.approx(0.383) for bucket in state.trail)
    assert ("", 0) == (state.fault, state.bad_run)


def test_echo_is_not_the_value_while_it_lasts() -> None:
    """Just after the echo the last good value is still the value."""
    state, _ = stream(LEVEL, [38.3, 7.0])
    assert state.value == pytest.approx(0.383)
    assert (1, 5.0, 0.0) == (state.bad_run, state.heard, state.at)


def test_real_step_is_taken_after_four() -> None:
    """Four readings that agree with each other are believed, and the value jumps to them."""
    short, _ = stream(LEVEL, [38.3] * 3 + [30.0] * (REAL_STEP - 1))
    assert short.value == pytest.approx(0.383)
    state, flags = stream(LEVEL, [38.3] * 3 + [30.0] * REAL_STEP)
    assert state.value == pytest.approx(0.300)
    assert [15.0, 20.0, 25.0] == [flag.elapsed for flag in flags]
    after, more = stream(LEVEL, [30.0], state=state, start=35.0)
    assert after.value == pytest.approx(0.300)
    assert [] == more


def test_jumps_that_disagree_are_never_a_step() -> None:
    """Wild readings that do not agree among themselves are refused however many come."""
    state, flags = stream(LEVEL, [38.3] * 3 + [5.0, 30.0] * 10)
    assert state.value == pytest.approx(0.383)
    assert 20 == len(flags)
    assert "jumps" == state.fault


def test_true_fall_is_no_jump() -> None:
    """The fastest true fall, 0.31 mm/s, passes reading by reading and after ten silent minutes."""
    fall = [38.0 - 0.031 * 5.0 * place for place in range(100)]
    _, flags = stream(LEVEL, fall)
    assert [] == flags
    _, flags = stream(LEVEL, [38.0, 19.4], every=600.0)
    assert [] == flags


@pytest.mark.parametrize("value", [85.0, -127.0])
def test_power_on_values(value: float) -> None:
    """A value the sensor gives when it starts or has lost its wire fails, within range or not."""
    state, flags = stream(WATER, [26.5, value])
    assert [Flag("TW1", 15.0, FAIL, "power-on value", 1)] == flags
    assert 26.5 == state.value


def test_value_beside_a_power_on_value_is_a_value() -> None:
    """Only the exact code is refused: 84.9375 C is judged by range alone."""
    _, flags = stream(WATER, [26.5, 84.9375])
    assert [(SUSPECT, "gross range")] == [(flag.flag, flag.test) for flag in flags]


def test_incredible_but_possible_value_is_believed() -> None:
    """Outside the usual range is suspect and still used: the tank may really be too warm."""
    state, flags = stream(WATER, [36.0])
    assert [Flag("TW1", 0.0, SUSPECT, "gross range", 1)] == flags
    assert (36.0, 0) == (state.value, state.bad_run)


@pytest.mark.parametrize("value", [NAN, math.inf, -math.inf, 1e308])
@pytest.mark.parametrize("tag", [LEVEL, WATER, replace(LEVEL, gain=1e308)])
def test_what_is_no_number(tag: Tag, value: float) -> None:
    """NaN, infinities and what overflows in the scaling fail and never become the value."""
    state, flags = stream(tag, [value])
    assert [FAIL] == [flag.flag for flag in flags]
    assert state.value is None


@pytest.mark.parametrize("value", [NAN, math.inf])
def test_switch_that_says_no_number(value: float) -> None:
    """A mains or float reading that is no number is not taken for on."""
    mains = Tag("MP", "mains", "B1", unit_of("mains"), "sim", every=1.0)
    state, flags = stream(mains, [0.0, value])
    assert (0.0, [FAIL]) == (state.value, [flag.flag for flag in flags])


def test_missing_and_told_problem() -> None:
    """No value is missing (9); no value with the driver's word for it fails (4) with that word."""
    silent = Reading("TW1", Moment(1, 0.0, 0.0), None)
    broken = Reading("TW1", Moment(1, 15.0, 0.0), None, "bad checksum")
    state, first = take(WATER, TagState(), silent)
    _, second = take(WATER, state, broken)
    assert (Flag("TW1", 0.0, MISSING, "no answer", 1),) == first
    assert (Flag("TW1", 15.0, FAIL, "bad checksum", 1),) == second


def test_three_bad_in_a_row_make_a_fault() -> None:
    """Two bad readings are none yet; the third makes it, named and dated by the first."""
    two, _ = stream(WATER, [26.5, 85.0, None])
    assert "" == two.fault
    three, _ = stream(WATER, [26.5, 85.0, None, None])
    assert ("power-on value", 15.0) == (three.fault, three.fault_since)


def test_a_fifth_of_ten_minutes_makes_a_fault() -> None:
    """Over 20 % bad among the readings of ten minutes, spread so that never three follow."""
    good, bad = [26.5] * 4, [NAN]
    exactly, _ = stream(WATER, (good + bad) * 8)
    assert "" == exactly.fault
    more, _ = stream(WATER, (good[:3] + bad) * 10)
    assert "not a number" == more.fault


def test_few_bad_readings_of_a_slow_sensor_are_no_fault() -> None:
    """Four bad of eight within ten minutes are over a fifth, but fewer than five: no fault yet."""
    slow = replace(WATER, every=75.0)
    four, _ = stream(slow, [26.5, NAN] * 4)
    assert "" == four.fault


def test_bad_readings_of_long_ago_do_not_count() -> None:
    """Bad readings older than ten minutes are forgotten."""
    spread = ([NAN] + [26.5] * 11) * 20
    state, _ = stream(replace(WATER, every=15.0), spread)
    assert "" == state.fault


def test_fault_is_over_after_ten_good_minutes() -> None:
    """A fault stays until readings have been good without a break for ten minutes."""
    state, _ = stream(WATER, [26.5, NAN, NAN, NAN])
    count = int(GOOD_AGAIN / WATER.every)
    nearly, _ = stream(WATER, [26.5] * count, state=state, start=60.0)
    assert "not a number" == nearly.fault
    over, _ = stream(WATER, [26.5], state=nearly, start=60.0 + GOOD_AGAIN)
    assert "" == over.fault


def test_one_bad_reading_starts_the_ten_minutes_anew() -> None:
    """A single bad reading within the ten minutes keeps the fault in force."""
    state, _ = stream(WATER, [26.5, NAN, NAN, NAN])
    state, _ = stream(WATER, [26.5] * 30 + [NAN] + [26.5] * 30, state=state, start=60.0)
    assert "not a number" == state.fault


def test_spike_is_judged_when_the_next_comes() -> None:
    """The newest reading has no spike verdict; the next one gives it, for that reading's time.

    The good reading before it is suspect too: the average form blames neighbours (vector S5).
    """
    tag = plain(spike=(1.0, 2.0))
    _, newest = stream(tag, [28.0, 28.0, 31.0], every=5.0)
    assert [Flag("X", 5.0, SUSPECT, "spike", 1)] == newest
    _, flags = stream(tag, [28.0, 28.0, 31.0, 28.0], every=5.0)
    assert [Flag("X", 5.0, SUSPECT, "spike", 1), Flag("X", 10.0, FAIL, "spike", 1)] == flags


def test_late_reading_changes_nothing() -> None:
    """A reading older than one already taken leaves the state as it is, good or bad."""
    state, _ = stream(LEVEL, [38.3] * 10)
    for value in (20.0, None, NAN):
        late = Reading("LH", Moment(1, 30.0, 30.0), value)
        same, flags = take(LEVEL, state, late)
        assert same is state
        assert () == flags


def test_running_median_drops_a_light_switch_spike() -> None:
    """With a median of three a single reading of +0.5 C does not reach the value."""
    tag = replace(WATER, median=3)
    seen = []
    state = TagState()
    for place, value in enumerate([26.5, 26.5, 26.5, 27.0, 26.5, 26.5]):
        state, _ = stream(tag, [value], state=state, start=place * 15.0)
        seen.append(state.value)
    assert [26.5] * 6 == seen


@given(st.lists(st.one_of(st.none(), st.floats(allow_nan=True, allow_infinity=True)), max_size=60))
def test_no_input_breaks_the_judgement(values: list[Value]) -> None:
    """Whatever a sensor delivers, the value is a finite number within its range, or none."""
    state, flags = stream(LEVEL, values)
    assert state.value is None or 0.0 <= state.value <= 0.46
    assert {flag.flag for flag in flags} <= {SUSPECT, FAIL, MISSING}
    assert len(state.trail) <= 90
    assert len(state.bad_minutes) <= 10


FLOAT = Tag("FH", "float", "HD1", unit_of("float"), "pins", every=10.0)


def test_doubt_is_a_flag_and_the_value_is_used() -> None:
    """A value with a word of its driver is suspect by that word, and still the value."""
    for tag, value in ((FLOAT, 0.0), (WATER, 26.5)):
        state, flags = take(
            tag, TagState(), Reading(tag.id, Moment(1, 5.0, 5.0), value, "chatters")
        )
        assert [(SUSPECT, "chatters")] == [(flag.flag, flag.test) for flag in flags]
        assert (value, 0, "") == (state.value, state.bad_run, state.fault)


def test_doubt_that_comes_often_is_the_fault_of_the_sensor() -> None:
    """Five doubted readings make the fault, named by the word; ten quiet minutes end it."""
    state, faults = TagState(), []
    for turn in range(5):
        moment = Moment(1, turn * 10.0, turn * 10.0)
        state, _ = take(FLOAT, state, Reading("FH", moment, turn % 2, "chatters"))
        faults.append(state.fault)
    assert ["", "", "", "", "chatters"] == faults
    assert 40.0 == state.fault_since
    gone = None
    for turn in range(5, 70):
        moment = Moment(1, turn * 10.0, turn * 10.0)
        state, _ = take(FLOAT, state, Reading("FH", moment, 1.0))
        gone = turn * 10.0 if gone is None and not state.fault else gone
    assert 40.0 + GOOD_AGAIN == gone


def test_doubt_now_and_then_is_none() -> None:
    """One doubted reading in six is flagged, and no fault."""
    state = TagState()
    for turn in range(300):
        moment = Moment(1, turn * 10.0, turn * 10.0)
        word = "chatters" if turn % 6 == 0 else ""
        state, _ = take(FLOAT, state, Reading("FH", moment, 1.0, word))
        assert "" == state.fault
