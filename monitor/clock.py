"""The clocks: the only module that reads the time or waits for it.

A `Moment` carries two times. `elapsed` is watch time: it runs with the board's boot-time clock,
never steps, and goes on over a restart from where the last one ended. `utc` is the wall clock,
which a board without a clock battery sets only some time after power has come back.
"""

import math
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from monitor.inputs import ClockNote, Moment

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
SYNCHRONISED = "/run/systemd/timesync/synchronized"
"""systemd-timesyncd makes this file when it has set the clock (systemd-timesyncd.service(8))."""

STEP = 1.0
"""Seconds by which the wall clock must leave watch time to count as a step: slewing by a time
service stays far below it (common practice, no source)."""

AFTER_RESTART = 1.0
"""Seconds of watch time between the last moment before a boot and the first after it, where the
wall clocks cannot tell how long the board was off."""

LONGEST_WAIT = 3600.0

PACE_SLACK = 0.25
"""Seconds of real time by which paced time may be behind and still catch up."""


class Clock(Protocol):
    """Where moments come from."""

    def now(self) -> Moment: ...

    def wait(self, wake: threading.Event, until: float) -> None:
        """Return when `wake` is set or at elapsed `until`; now and then earlier."""


def always_trusted() -> bool:
    """For a board whose wall clock is right from the start, such as one with a clock battery."""
    return True


def set_once_there(mark: str) -> Callable[[], bool]:
    """Whether a time service has set the wall clock since the boot: told by a file it makes then.

    mark: that file. It has to lie where a boot empties the folder, such as /run.
    """
    return lambda: os.path.exists(mark)


def boot_id() -> str:
    """The kernel's name of this boot."""
    return BOOT_ID.read_text("ascii").strip()


def boottime() -> float:
    """Seconds since the boot, sleep included; never set."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@dataclass(frozen=True, slots=True)
class EarlierBoot:
    """What is known of the last time the watch ran: name and base of its boot, last moment."""

    boot_id: str
    base: float
    last: Moment


def board_time(trusted: Callable[[], bool]) -> Moment:
    """What the board's clocks say before watch time is known: elapsed counts from the boot."""
    return Moment(0, boottime(), time.time(), trusted())


def base_for(this_boot: str, board: Moment, earlier: EarlierBoot | None) -> float:
    """What to add to the seconds since the boot to get watch time, so that it never goes back.

    board: see `board_time`. Within one boot the base stays, so watch time is continuous over a
    restart of the program. After a boot it goes on from the last moment by what the walls say, if
    both were trusted, else by AFTER_RESTART.
    """
    if earlier is None:
        return -board.elapsed
    if earlier.boot_id == this_boot:
        return earlier.base
    gap = board.utc - earlier.last.utc if gap_is_known(this_boot, board, earlier) else AFTER_RESTART
    return earlier.last.elapsed + gap - board.elapsed


def gap_is_known(this_boot: str, board: Moment, earlier: EarlierBoot | None) -> bool:
    """Whether it is known how long the watch was away: within one boot, or by two trusted walls."""
    if earlier is None or earlier.boot_id == this_boot:
        return True
    return board.trusted and earlier.last.trusted and board.utc > earlier.last.utc


class SystemClock:
    """The board's own clocks. boot: its number; base: see `base_for`."""

    def __init__(self, boot: int, base: float, trusted: Callable[[], bool]) -> None:
        self._boot = boot
        self._base = base
        self._trusted = trusted

    def now(self) -> Moment:
        return Moment(self._boot, boottime() + self._base, time.time(), self._trusted())

    def wait(self, wake: threading.Event, until: float) -> None:
        wake.wait(min(max(0.0, until - boottime() - self._base), LONGEST_WAIT))


class VirtualClock:
    """A clock that stands until it is moved on: for replay, drill and tests."""

    def __init__(self, start: Moment) -> None:
        self._now = start
        self._ahead = start.utc - start.elapsed

    def now(self) -> Moment:
        return self._now

    def advance_to(self, elapsed: float) -> None:
        """Move on to this elapsed time; a time that has passed changes nothing."""
        now = self._now
        if elapsed > now.elapsed:
            self._now = Moment(now.boot, elapsed, elapsed + self._ahead, now.trusted)

    def set_wall(self, utc: float) -> None:
        """The wall clock steps; elapsed time does not."""
        self._ahead = utc - self._now.elapsed
        self._now = replace(self._now, utc=utc)

    def wait(self, wake: threading.Event, until: float) -> None:
        """Nobody moves this clock while its owner waits, so the wait is over at once."""
        if not wake.is_set() and math.isfinite(until):
            self.advance_to(until)


class WallWatch:
    """Notices that the wall clock stepped against watch time, or became trusted."""

    def __init__(self, start: Moment) -> None:
        self._last = start

    def look(self, now: Moment) -> ClockNote | None:
        """What to tell the logic, if anything happened since the last telling."""
        step = now.utc - self._last.utc_at(now.elapsed)
        if abs(step) <= STEP and now.trusted == self._last.trusted:
            return None
        self._last = now
        return ClockNote(now, now.trusted, step if abs(step) > STEP else 0.0)


class Pace:
    """Lets virtual time pass at `speed` times real time; 0 lets it run free."""

    def __init__(self, speed: float) -> None:
        self.speed = speed
        self._virtual = math.inf
        self._real = 0.0

    def wait(self, wake: threading.Event, elapsed: float) -> None:
        """Return when virtual `elapsed` has come in real time, or `wake` is set.

        Time that was lost by more than PACE_SLACK is not made up for.
        """
        now = boottime()
        if self.speed > 0.0:
            due = self._real + max(0.0, elapsed - self._virtual) / self.speed
            wake.wait(max(0.0, due - now))
            now = max(due, now - PACE_SLACK)
        self._virtual, self._real = elapsed, now
