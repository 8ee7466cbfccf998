"""Small and slow shifts: the sum, the baseline, and when a change is told and over."""

from dataclasses import replace

import pytest

from logic_change.series import BLOCK, FLOW, SHAKE, WATER, noise, one, told
from monitor.logic import change
from monitor.logic.usual import ENOUGH

COLD = ENOUGH * BLOCK
NEW = change.WINDOW * BLOCK


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
    assert 1 == state.filling[0].count


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

    both = told((FLOW, SHAKE), rows(0.45, 0.05))[0]
    never = 1e9
    assert both < [*told((FLOW, SHAKE), rows(0.45, 0.0)), never][0]
    assert both < [*told((FLOW, SHAKE), rows(0.0, 0.05)), never][0]
    assert both < never


def test_missing_tag_does_not_stop_the_other() -> None:
    """A tag that says nothing at all leaves the rest judged."""
    rest = noise(0.0, 0.4, 6)
    rows = [((32.0 if n < 900 else 30.5) + next(rest), None) for n in range(1000)]
    assert 900 < told((FLOW, SHAKE), rows)[0] <= 925


def test_scatter_alone_is_told() -> None:
    """Three times the scatter around the same mean is told; so is a meter that stands still."""
    rest = noise(0.0, 0.4, 12)
    course = [next(rest) for _ in range(1400)]
    more = [(32.0 + value * (3.0 if n >= 900 else 1.0),) for n, value in enumerate(course)]
    assert 900 < told((FLOW,), more)[0] <= 980
    still = [(32.0 + value if n < 900 else 32.0,) for n, value in enumerate(course)]
    assert 900 < told((FLOW,), still)[0] <= 960


def test_coarse_meter_that_wakes_up_is_no_scatter() -> None:
    """A meter on one step that begins to go to and fro between two has not changed."""
    rest = noise(0.0, 0.15, 13)
    rows = [(float(round(32.0 + 0.25 * (n >= 1200) + next(rest))),) for n in range(2400)]
    assert [] == told((FLOW,), rows)


def test_most_of_a_change_gone_is_its_end() -> None:
    """A fall of 15 % that comes back but for 3 % is over; the rest is learnt as usual."""
    found = one(lambda n: 32.0 - 4.8 * (900 <= n < 1200) - 1.0 * (n >= 1200), 1700, 0.3)
    (begun, over) = found
    assert 900 < begun <= 920
    assert 1200 < -over <= 1260


def test_a_state_that_still_moves_is_not_accepted() -> None:
    """A leak that goes on and on stands until it settles, or for an hour."""
    found = one(lambda n: 32.0 - max(0, n - 900) * 0.004, 3000, 0.3)
    assert 1 == len(found), found
    assert 900 < found[0] <= 1300


@pytest.mark.long
def test_bumps_are_believed_less_each_time() -> None:
    """Of seven equal bumps in hours that go away by themselves, the first few are told."""
    bumps = range(1500, 15_000, 2000)
    found = one(
        lambda n: 32.0 * (1.03 if any(b <= n < b + 90 for b in bumps) else 1.0), 15_500, 0.2
    )
    begun = [at for at in found if at > 0]
    assert 1 <= len(begun) <= 3, found


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9, 0.97])
def test_quiet_hours_are_quiet(phi: float) -> None:
    """Three hours of readings with no change, phi from one to the next: nothing is told."""
    rest = noise(phi, 1.0, 4)
    rows = [(round((32.0 + next(rest)) * 10.0) / 10.0,) for _ in range(10_800)]
    assert [] == told((SHAKE,), rows)
