"""Calendar chores of the watch: what is done at a time of day, and is no part of calling people.

They run in threads of their own, by the wall clock of the site, and only once that clock is
trusted. Nothing that an alarm hangs on is timed here: a wall clock that steps back silently stops
a scheduler, so it is built anew after every step.
"""

import logging
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from monitor.clock import WallWatch
from monitor.inputs import Fault, Moment

if TYPE_CHECKING:
    from apscheduler.schedulers.background import BackgroundScheduler

log = logging.getLogger(__name__)

LEAST_FREE = 200_000_000
"""Bytes below which the disk is told as nearly full: a week of readings of 20 tags at 1 Hz (27 MB
a day at most), so that somebody can act at leisure."""


@dataclass(frozen=True, slots=True)
class Chore:
    """Something to do at a time of day; hour "*" is every hour."""

    name: str
    hour: str
    minute: int
    do: Callable[[], None]


def disk_fault(free: int, now: Moment, told: bool) -> Fault | None:
    """News about the room on the disk: too little, or enough again. free in bytes."""
    if free < LEAST_FREE and not told:
        return Fault(now, "disk", f"only {free // 1_000_000} MB are free")
    if free >= LEAST_FREE and told:
        return Fault(now, "disk", "", over=True)
    return None


class DiskChore:
    """Looks at the room on the disk that holds the record."""

    def __init__(
        self, folder: Path, now: Callable[[], Moment], tell: Callable[[Fault], None]
    ) -> None:
        self._folder = folder
        self._now = now
        self._tell = tell
        self._told = False

    def __call__(self) -> None:
        free = shutil.disk_usage(self._folder).free
        log.info("disk_free_mb=%d", free // 1_000_000)
        fault = disk_fault(free, self._now(), self._told)
        if fault is not None:
            self._told = not fault.over
            self._tell(fault)


class Chores:
    """Runs chores by the calendar. `look` is called by the owner of the loop at every scan."""

    def __init__(self, zone: ZoneInfo, chores: Sequence[Chore], start: Moment) -> None:
        self._zone = zone
        self._chores = tuple(chores)
        self._wall = WallWatch(start)
        self._scheduler: BackgroundScheduler | None = None

    def look(self, now: Moment) -> None:
        """Begin once the wall clock is trusted; begin anew after it has stepped."""
        note = self._wall.look(now)
        stepped = note is not None and note.step != 0.0
        if now.trusted and (self._scheduler is None or stepped):
            self.stop()
            self._begin()

    def stop(self) -> None:
        """End without waiting for a chore that is under way."""
        if self._scheduler is not None:
            self._scheduler.shutdown(wait=False)
            self._scheduler = None

    def _begin(self) -> None:
        from apscheduler.schedulers.background import BackgroundScheduler
        from apscheduler.triggers.cron import CronTrigger

        scheduler = BackgroundScheduler(timezone=self._zone, daemon=True)
        for chore in self._chores:
            scheduler.add_job(
                chore.do,
                CronTrigger(hour=chore.hour, minute=chore.minute, timezone=self._zone),
                id=chore.name,
                misfire_grace_time=None,
                coalesce=True,
                max_instances=1,
            )
        scheduler.start()
        self._scheduler = scheduler
        log.info("chores=%s", ",".join(chore.name for chore in self._chores))
