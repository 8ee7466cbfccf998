"""Small and slow shifts: the sum, the baseline, and when a change is told and over."""

import math
import random
from dataclasses import replace

import pytest

from logic_change.series import BLOCK, FLOW, SHAKE, WATER, noise, one, told
from monitor.logic import change

COLD = change.ENOUGH * BLOCK
NEW = change.WINDOW * BLOCK


def test_sum_of_one_tag_is_the_worked_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959, first alarm at point 14."""
    k, h = 0.3175, 4.1959
    given = [
        324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
        324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
    ]  # fmt: skip
    high = [3.0075, 4.9400, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    sums: tuple[float, ...] = (0.0,)
    found: list[float] = []
    for value in given:
        sums = change.add(sums, ((value - 325.0) * change.ALLOWANCE / k,))
        found.append(sums[0] * k / change.ALLOWANCE)
    assert high == pytest.approx(found[12:], abs=1e-9)
    assert 14 == next(n for n, height in enumerate(found, start=1) if abs(height) > h)
    assert [-0.5575, -0.715, -0.1725, -0.255, -0.3125, 0.0] == pytest.approx(found[6:12], abs=1e-9)


def test_run_length_of_two_tags() -> None:
    """Two independent tags, k 0.5, h 5.5: 200 blocks to a false alarm (Crosier 1988, from memory).

    The mean of 400 runs has a standard error of 10.
    """
    chance, scale = random.Random(7), change.ALLOWANCE / 0.5
    lengths = []
    for _ in range(400):
        sums: tuple[float, ...] = (0.0, 0.0)
        length = 0
        while math.hypot(*sums) <= 5.5 * scale:
            length += 1
            sums = change.add(sums, (chance.gauss(0.0, scale), chance.gauss(0.0, scale)))
        lengths.append(length)
    assert 200.0 == pytest.approx(sum(lengths) / 400, abs=30.0)


def test_steps_of_a_meter_do_not_make_a_small_spread() -> None:
    """A meter that says 32 or 33: level and spread are those of the mean, not of the steps."""
    chance = random.Random(3)
    values = [sum(chance.random() < 0.2 for _ in range(5)) / 5.0 + 32.0 for _ in range(180)]
    learnt = change.learn(SHAKE, list(enumerate(values)), 180)
    assert learnt is not None
    assert 32.2 == pytest.approx(learnt.level, abs=0.03)
    assert change.WIDER * 0.4 / math.sqrt(5.0) < 0.06 * 32.2 / 4.0
    assert 0.06 * learnt.level / 4.0 == pytest.approx(learnt.scale, rel=0.01)


def test_scale_grows_with_spread_and_with_dependence() -> None:
    """Beyond the smallest shift worth telling the scale is that of sums of what was seen."""

    def scale(phi: float) -> float:
        rest = noise(phi, 1.0, 11)
        learnt = change.learn(SHAKE, [(n, 10.0 + next(rest)) for n in range(180)], 180)
        assert learnt is not None
        return learnt.scale

    assert change.WIDER == pytest.approx(scale(0.0), rel=0.1)
    assert scale(0.0) < scale(0.6) < scale(0.9)
    proven = 0.6 - 3.0 / math.sqrt(180.0)
    wanted = math.sqrt((1.0 + proven) / (1.0 - proven))
    assert wanted == pytest.approx(scale(0.6), rel=0.15), "a share of the values is pulled in"


def test_nothing_is_told_before_there_is_a_baseline() -> None:
    """Cold start: a shift within the first 72 blocks is taken for what is usual."""
    assert [] == one(lambda second: 32.0 if second < COLD // 2 else 30.5, COLD + BLOCK, 0.2)


def test_small_step_is_told_and_its_end_too() -> None:
    """Flow 32 to 31 L/min for four minutes: told within half a minute, over soon after."""
    found = one(lambda second: 31.0 if 900 <= second < 1140 else 32.0, 1500, 0.4)
    (begin, end) = found
    assert 900 < begin <= 930
    assert 1140 < -end <= 1180


def test_slow_fall_is_told() -> None:
    """A flow that creeps down by 3 % in two minutes, and stays there, is told on the way."""
    (begin,) = one(lambda second: 32.0 - min(1.0, max(0.0, (second - 900) / 120.0)), 1400, 0.4)
    assert 900 < begin <= 1040


def test_new_state_is_accepted() -> None:
    """A flow that stays where it went is usual after the window, and its next step is told."""
    course = {0: 32.0, 1: 31.0, 2: 30.0}
    found = one(lambda second: course[(second >= 900) + (second >= 2400)], 2500, 0.4)
    begin, end, again = found
    assert -begin - NEW == pytest.approx(end, abs=BLOCK)
    assert 2400 < again <= 2430


def test_one_wild_block_is_no_change() -> None:
    """Five seconds of nonsense, ten times too high, are not told."""
    assert [] == one(lambda second: 320.0 if 899 <= second < 904 else 32.0, 1200, 0.4)


def test_long_gap_begins_anew() -> None:
    """After a gap longer than the window what was usual before no longer counts."""
    state = None
    rest = noise(0.0, 0.3, 5)
    for second in range(1200):
        state = change.take((SHAKE,), state, ((10.0 + next(rest), float(second)),), float(second))
    assert state is not None and state.learnt.judged
    later = 1200.0 + NEW + 2 * BLOCK
    state = change.take((SHAKE,), state, ((20.0, later),), later)
    assert not state.learnt.judged
    assert state.learnt.changed_at is None


def test_changed_calibration_begins_anew() -> None:
    """The baseline of a tag does not outlive its calibration."""
    state = change.take((FLOW,), None, ((1.0, 1.0),), 1.0)
    other = (replace(FLOW, gain=1.1),)
    assert other == change.take(other, state, ((1.0, 2.0),), 2.0).tags


def test_same_reading_is_counted_once() -> None:
    """A reading that is offered again, because another tag spoke, does not weigh twice."""
    state = change.take((FLOW,), None, ((1.0, 1.0),), 1.0)
    state = change.take((FLOW,), state, ((1.0, 1.0),), 2.0)
    assert (1,) == state.counts


def test_drift_of_temperature_is_followed_and_a_jump_told() -> None:
    """Water that cools by 0.07 C a minute is usual; 2 C more within a minute is not."""
    rest = noise(0.9, 0.01, 2)
    cooling = [(30.0 - 0.07 * second / 60.0 + next(rest),) for second in range(3600)]
    assert [] == told((WATER,), cooling)
    warmed = [(t + 2.0 * min(1.0, max(0, n - 2400) / 60.0),) for n, (t,) in enumerate(cooling)]
    assert 2400 < told((WATER,), warmed)[0] <= 2460


def test_two_tags_that_agree_are_told_sooner() -> None:
    """A shift that shows in two tags adds up: sooner than in either alone."""

    def rows(flow: float, shake: float) -> list[tuple[float, float]]:
        one, two = noise(0.0, 0.4, 8), noise(0.0, 0.05, 9)
        return [
            (32.0 - flow * (n >= 900) + next(one), 1.0 + shake * (n >= 900) + next(two))
            for n in range(1300)
        ]

    both = told((FLOW, SHAKE), rows(0.75, 0.06))[0]
    never = 1e9
    assert both < [*told((FLOW, SHAKE), rows(0.75, 0.0)), never][0]
    assert both < [*told((FLOW, SHAKE), rows(0.0, 0.06)), never][0]
    assert both < never


def test_missing_tag_does_not_stop_the_other() -> None:
    """A tag that says nothing at all leaves the rest judged."""
    rest = noise(0.0, 0.4, 6)
    rows = [((32.0 if n < 900 else 30.5) + next(rest), None) for n in range(1000)]
    assert 900 < told((FLOW, SHAKE), rows)[0] <= 925


@pytest.mark.parametrize("phi", [0.0, 0.3])
def test_quiet_day_is_quiet(phi: float) -> None:
    """A day of block means without any change, in steps, phi from block to block: nothing told."""
    rest, learnt, alarms = noise(phi, 1.0, 4), change.Learnt(), 0
    for number in range(17_280):
        block = (round((32.0 + next(rest)) * 5.0) / 5.0,)
        was = learnt.changed_at
        learnt = change.close((SHAKE,), learnt, block, 5.0 * number, float(NEW))
        alarms += was is None and learnt.changed_at is not None
    assert 0 == alarms
