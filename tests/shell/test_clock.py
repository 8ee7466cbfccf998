"""The clocks: watch time never goes back, and steps of the wall clock are noticed."""

import threading
from pathlib import Path

import pytest

from monitor.clock import (
    EarlierBoot,
    SystemClock,
    VirtualClock,
    WallWatch,
    always_trusted,
    base_for,
    board_time,
    boot_id,
    boottime,
    set_once_there,
)
from monitor.inputs import ClockNote, Moment

EARLIER = EarlierBoot("boot-a", base=1000.0, last=Moment(1, 5000.0, 900_000.0))


def board(since_boot: float, utc: float, trusted: bool = True) -> Moment:
    """What the board's clocks say."""
    return Moment(0, since_boot, utc, trusted)


def test_first_start_begins_at_zero() -> None:
    """Without an earlier boot watch time begins at nought."""
    assert 0.0 == 77.0 + base_for("boot-a", board(77.0, 1.0), None)


def test_restart_within_a_boot_is_continuous() -> None:
    """A restart of the program within one boot keeps the base, however long it was away."""
    assert 1000.0 == base_for("boot-a", board(9000.0, 0.0, trusted=False), EARLIER)


def test_new_boot_goes_on_by_the_wall_gap() -> None:
    """After a boot with trusted walls watch time goes on by the time the board was off."""
    assert 5000.0 + 600.0 == 20.0 + base_for("boot-b", board(20.0, 900_600.0), EARLIER)


@pytest.mark.parametrize(
    ("now", "earlier_trusted"),
    [
        (board(20.0, 900_600.0, trusted=False), True),
        (board(20.0, 900_600.0), False),
        (board(20.0, 899_000.0), True),
        (board(20.0, 900_000.0), True),
    ],
)
def test_new_boot_with_an_unknown_gap_goes_on_by_a_second(
    now: Moment, earlier_trusted: bool
) -> None:
    """A wall that is not trusted or went back says nothing about how long the board was off."""
    last = Moment(1, 5000.0, 900_000.0, earlier_trusted)
    earlier = EarlierBoot("boot-a", 1000.0, last)

    assert 5001.0 == 20.0 + base_for("boot-b", now, earlier)


def test_board_time_is_seconds_since_the_boot() -> None:
    """Before watch time is known the board's own clocks are read."""
    before = boottime()

    assert before <= board_time(always_trusted).elapsed <= boottime()


def test_system_clock_runs_with_the_boot_time_clock() -> None:
    """Elapsed is the kernel's uptime plus the base."""
    before = float(Path("/proc/uptime").read_text().split()[0])
    moment = SystemClock(3, 500.0, always_trusted).now()
    after = boottime()

    assert 3 == moment.boot
    # /proc/uptime is cut to hundredths of a second
    assert before - 0.01 <= moment.elapsed - 500.0 <= after


def test_system_clock_reads_the_wall(tmp_path: Path) -> None:
    """UTC is what the file system stamps on a file made between two readings."""
    clock = SystemClock(1, 0.0, always_trusted)
    before = clock.now().utc
    (tmp_path / "file").touch()
    stamp = (tmp_path / "file").stat().st_mtime
    after = clock.now().utc

    # the kernel stamps files with the time of its last tick, at most 10 ms old
    assert before - 0.011 <= stamp <= after


def test_system_clock_asks_for_trust_each_time() -> None:
    """Trust may come later than the start."""
    answers = iter([False, True])
    clock = SystemClock(1, 0.0, lambda: next(answers))

    assert [False, True] == [clock.now().trusted, clock.now().trusted]


def test_wait_ends_at_once_when_the_time_has_passed() -> None:
    """Waiting for the past is no wait and no error."""
    clock = SystemClock(1, 0.0, always_trusted)
    clock.wait(threading.Event(), clock.now().elapsed - 5.0)


def test_wait_ends_when_woken() -> None:
    """A wake ends a wait that has no end of its own."""
    wake = threading.Event()
    wake.set()
    SystemClock(1, 0.0, always_trusted).wait(wake, float("inf"))


def test_virtual_clock_moves_wall_and_watch_time_together() -> None:
    """Moving on a virtual clock moves its wall by the same."""
    clock = VirtualClock(Moment(1, 10.0, 1000.0))
    clock.advance_to(13.5)

    assert Moment(1, 13.5, 1003.5) == clock.now()


def test_virtual_clock_never_goes_back() -> None:
    """Asking for a time that has passed changes nothing."""
    clock = VirtualClock(Moment(1, 10.0, 1000.0))
    clock.advance_to(4.0)

    assert Moment(1, 10.0, 1000.0) == clock.now()


def test_virtual_wall_steps_alone() -> None:
    """A step of the virtual wall leaves watch time where it is, and stays."""
    clock = VirtualClock(Moment(1, 10.0, 1000.0))
    clock.set_wall(400.0)
    clock.advance_to(11.0)

    assert Moment(1, 11.0, 401.0) == clock.now()


def test_virtual_wall_does_not_drift() -> None:
    """A hundred thousand small moves leave the wall where one large one would."""
    start = Moment(1, 0.0, 1_792_285_200.0)
    clock = VirtualClock(start)
    for tenth in range(1, 100_001):
        clock.advance_to(tenth / 10.0)

    assert start.utc + 10_000.0 == clock.now().utc


def test_steady_wall_is_no_news() -> None:
    """A wall that runs with watch time, or is slewed a little, is not worth a word."""
    watch = WallWatch(Moment(1, 0.0, 1000.0))

    assert watch.look(Moment(1, 60.0, 1060.9)) is None


@pytest.mark.parametrize("step", [-840.0, 3600.0, -1.5])
def test_step_of_the_wall_is_told_once(step: float) -> None:
    """A step beyond a second is told with its size, and then it is the new normal."""
    watch = WallWatch(Moment(1, 0.0, 1000.0))
    now = Moment(1, 60.0, 1060.0 + step)

    assert ClockNote(now, True, step) == watch.look(now)
    assert watch.look(Moment(1, 61.0, 1061.0 + step)) is None


def test_slow_departures_add_up_to_a_step() -> None:
    """A wall that leaves watch time slowly is told once it is more than a second off."""
    watch = WallWatch(Moment(1, 0.0, 1000.0))
    looks = [watch.look(Moment(1, 10.0 * turn, 1000.0 + 10.25 * turn)) for turn in range(1, 6)]

    assert [None, None, None, None, 1.25] == [look and look.step for look in looks]


def test_trust_that_comes_is_told() -> None:
    """The first look at which the wall is trusted says so, with the step if there was one."""
    watch = WallWatch(Moment(1, 0.0, 1000.0, trusted=False))
    now = Moment(1, 5.0, 1005.0)

    assert ClockNote(now, True, 0.0) == watch.look(now)


def test_boot_id_is_that_of_the_kernel() -> None:
    """The kernel's boot id is read whole."""
    assert 36 == len(boot_id())


def test_clock_is_trusted_once_its_mark_is_there(tmp_path: Path) -> None:
    """A clock counts as set from when the file of its time service appears, and not before."""
    trusted = set_once_there(str(tmp_path / "clock-is-set"))
    assert not trusted()
    (tmp_path / "clock-is-set").touch()
    assert trusted()
