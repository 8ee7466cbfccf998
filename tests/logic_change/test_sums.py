"""The sums against published tables and worked examples; the course that they start from."""

import math
import random
from collections.abc import Callable
from itertools import pairwise

import pytest

from logic_change.series import noise
from monitor.logic import sums, usual


def test_a_sum_is_the_worked_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959, first alarm at point 14."""
    k, h = 0.3175, 4.1959
    given = [
        324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
        324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
    ]  # fmt: skip
    up = down = 0.0
    found = []
    for value in given:
        up, down = sums.step(up, down, value - 325.0, 2.0 * k)
        found.append((up / (2.0 * k), down / (2.0 * k)))
    high = [3.0075, 4.9400, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    low = [0.5575, 0.715, 0.1725, 0.255, 0.3125, 0.0]
    assert high == pytest.approx([one for one, _ in found[12:]], abs=1e-9)
    assert low == pytest.approx([two for _, two in found[6:12]], abs=1e-9)
    assert 14 == next(n for n, pair in enumerate(found, start=1) if max(pair) > h)


def run_length(over: Callable[[random.Random], Callable[[], bool]], runs: int) -> float:
    """Mean number of values until something is over its limit, of so many runs."""
    chance, total = random.Random(20), 0
    for _ in range(runs):
        is_over, length = over(chance), 1
        while not is_over():
            length += 1
        total += length
    return total / runs


@pytest.mark.parametrize(
    ("shift", "h", "one_sided", "runs"),
    [
        (0.0, 4.0, 335.37, 900),
        (0.5, 4.0, 26.68, 4000),
        (1.0, 5.0, 10.38, 6000),
        (2.0, 4.0, 3.34, 8000),
    ],
)
def test_run_lengths_of_a_sum(shift: float, h: float, one_sided: float, runs: int) -> None:
    """Mean run lengths for k 0.5 (Montgomery's tables, computed again by integral equation).

    Limits are four standard errors of so many runs, 13 % at no shift and 5 % elsewhere.
    """

    def over(chance: random.Random) -> Callable[[], bool]:
        pair = [0.0, 0.0]

        def is_over() -> bool:
            pair[:] = sums.step(pair[0], pair[1], chance.gauss(shift, 1.0), 1.0)
            return pair[0] > h

        return is_over

    limit = 0.13 if shift == 0.0 else 0.05
    assert one_sided == pytest.approx(run_length(over, runs), rel=limit)


def test_moving_average_is_the_worked_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4: weight 0.3, start 50; 20 values, all within the limits."""
    given = [
        52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5,
        49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
    ]  # fmt: skip
    wanted = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
        50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    found, at = [], 50.0
    for value in given:
        at = usual.ewma(at, value, 0.3)
        found.append(at)
    assert wanted == pytest.approx(found, abs=0.005)
    assert all(47.4115 < value < 52.5884 for value in found)


@pytest.mark.parametrize(("shift", "length"), [(0.5, 48.3), (1.0, 11.1), (2.0, 3.61)])
def test_run_lengths_of_a_moving_average(shift: float, length: float) -> None:
    """Mean run lengths for weight 0.25 and limit 2.998 (Lucas and Saccucci 1990)."""

    def over(chance: random.Random) -> Callable[[], bool]:
        at, limit = [0.0], 2.998 * math.sqrt(0.25 / 1.75)

        def is_over() -> bool:
            at[0] = usual.ewma(at[0], chance.gauss(shift, 1.0), 0.25)
            return abs(at[0]) > limit

        return is_over

    assert length == pytest.approx(run_length(over, 3000), rel=0.08)


def test_shift_not_worth_telling_is_never_summed_up() -> None:
    """Half of the smallest shift worth telling adds nothing, however long it lasts."""
    for worth in (3.0, 10.0, 100.0):
        at = sums.none()
        for _ in range(1000):
            at = sums.add(at, worth / 2.0, worth)
        assert 0.0 == pytest.approx(max(at), abs=1e-9)


def test_small_signs_add_up_and_many_tags_are_not_told_more_often() -> None:
    """Two sums that are too small alone are enough together; nil sums beside them take away."""
    one = (0.0, 9.0, 0.0, 0.0)
    assert sums.height([one, sums.none()]) < sums.LIMIT < sums.height([one, one, one])
    assert sums.height([one, *[sums.none()] * 15]) < sums.height([one])
    assert 0.0 == sums.height([])
    assert -9.0 == sums.direction(one)


def learnt(phi: float, sigma: float = 1.0, worth: float = 1e-6) -> usual.Usual:
    """What is learnt from 180 values that hang together like this."""
    rest = noise(phi, sigma, 11)
    found = usual.learn([(n, 10.0 + next(rest)) for n in range(180)], 180, worth)
    assert found is not None
    return found


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.6, 0.9])
def test_surprises_do_not_hang_together(phi: float) -> None:
    """What is new in the values of such a course has about spread 1 and no correlation."""
    course = learnt(phi)
    assert phi == pytest.approx(course.link, abs=0.15)
    rest, before = noise(phi, 1.0, 12), None
    found = []
    for _ in range(4000):
        value = next(rest)
        found.append(course.surprise(value, before))
        before = value
    squares = sum(item * item for item in found)
    together = sum(a * b for a, b in pairwise(found)) / squares
    assert abs(together) < 0.15
    assert 0.6 < (squares / 4000.0) ** 0.5 < 1.15


def test_slow_wander_under_quick_noise_widens_the_scale() -> None:
    """Where means wander more than neighbours tell, the scale is that of the means."""
    quick, slow = noise(0.0, 1.0, 1), noise(0.98, 1.0, 2)
    course = [(n, next(quick) + next(slow)) for n in range(180)]
    found = usual.learn(course, 180, 1e-6)
    assert found is not None
    assert found.wander > 2.0


def test_one_missing_neighbour_is_no_neighbour() -> None:
    """A value after a gap is judged by the whole spread, not by what hangs on."""
    course = learnt(0.9)
    whole = course.scale / (1.0 - course.link**2) ** 0.5
    assert 2.0 / whole == pytest.approx(course.surprise(2.0, None))


def test_nothing_is_learnt_of_what_has_no_worth() -> None:
    """A tag that always reads exactly 0 has no share of itself: it is not judged."""
    assert usual.learn([(n, 0.0) for n in range(180)], 180, 0.0) is None


def test_drift_is_found() -> None:
    """Water that warms by 0.01 C a block: the drift, and the level ahead of it."""
    rest = noise(0.0, 0.02, 3)
    course = [(n, 20.0 + 0.01 * n + next(rest)) for n in range(180)]
    found = usual.learn(course, 200, 1.0, drifts=True)
    assert found is not None
    assert 0.01 == pytest.approx(found.drift, abs=0.0005)
    assert 22.0 == pytest.approx(found.expected(200), abs=0.05)


def test_wander_is_averaged_slowly_and_one_miss_counts_little() -> None:
    """A mean that is off by ten times the wander moves it by at most 13 %."""
    assert 1.0 == pytest.approx(usual.wandered(1.0, 0.25, 16))
    assert usual.wandered(1.0, 10.0, 16) == usual.wandered(1.0, 0.75, 16) < 1.13
