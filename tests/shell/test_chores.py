"""Chores by the calendar: only with a trusted clock, anew after a step, over changes of time."""

import logging
import shutil
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from freezegun import freeze_time

from monitor.chores import LEAST_FREE, Chore, Chores, DiskChore, disk_fault
from monitor.inputs import Fault, Moment

ZONE = ZoneInfo("America/Chicago")


def at(elapsed: float, wall: float = 0.0, trusted: bool = True) -> Moment:
    """A moment whose wall is off by `wall`."""
    return Moment(1, elapsed, 1_792_285_200.0 + elapsed + wall, trusted)


@pytest.fixture
def chores() -> Iterator[Chores]:
    """One chore at 07:00, not begun."""
    made = Chores(ZONE, [Chore("morning", "7", 0, lambda: None)], at(0.0, trusted=False))
    yield made
    made.stop()


def scheduler(chores: Chores) -> Any:
    """The scheduler inside."""
    return chores._scheduler


def test_nothing_begins_before_the_clock_is_trusted(chores: Chores) -> None:
    """A board that does not know the time does nothing by the calendar."""
    chores.look(at(1.0, trusted=False))

    assert scheduler(chores) is None


def test_chores_begin_once_when_the_clock_is_trusted(chores: Chores) -> None:
    """The first trusted look begins them, later ones leave them alone."""
    chores.look(at(1.0))
    first = scheduler(chores)
    chores.look(at(2.0))

    assert ["morning"] == [job.id for job in first.get_jobs()]
    assert first is scheduler(chores)


@pytest.mark.parametrize("step", [-840.0, 3600.0])
def test_step_of_the_wall_builds_the_scheduler_anew(chores: Chores, step: float) -> None:
    """A wall that jumped leaves no scheduler that waits for the time before."""
    chores.look(at(1.0))
    first = scheduler(chores)
    chores.look(at(2.0, wall=step))

    assert first is not scheduler(chores)
    assert (False, True) == (first.running, scheduler(chores).running)


def test_jobs_never_pile_up(chores: Chores) -> None:
    """A chore that is late runs once, however late, and never beside itself."""
    chores.look(at(1.0))
    (job,) = scheduler(chores).get_jobs()

    assert (None, True, 1) == (job.misfire_grace_time, job.coalesce, job.max_instances)


@pytest.mark.long
@pytest.mark.parametrize(
    ("now", "expected"),
    [
        ("2026-10-18 11:59:00", "2026-10-18T07:00:00-05:00"),
        ("2026-10-18 12:01:00", "2026-10-19T07:00:00-05:00"),
        ("2026-10-31 12:01:00", "2026-11-01T07:00:00-06:00"),
        ("2027-03-13 13:01:00", "2027-03-14T07:00:00-05:00"),
    ],
)
def test_time_of_day_is_that_of_the_site(chores: Chores, now: str, expected: str) -> None:
    """Seven o'clock is seven o'clock at the site, also on the days on which clocks change."""
    with freeze_time(now):
        chores.look(at(1.0))
        (job,) = scheduler(chores).get_jobs()
        due: datetime = job.next_run_time
        chores.stop()

    assert expected == due.isoformat()


def test_low_disk_is_told_once_and_its_end() -> None:
    """Too little room is told when it begins, enough room when it is back."""
    low, enough = LEAST_FREE - 1, LEAST_FREE

    assert Fault(at(0.0), "disk", "only 199 MB are free") == disk_fault(low, at(0.0), told=False)
    assert disk_fault(low, at(1.0), told=True) is None
    assert Fault(at(2.0), "disk", "", over=True) == disk_fault(enough, at(2.0), told=True)
    assert disk_fault(enough, at(3.0), told=False) is None


def test_disk_chore_looks_at_the_disk_of_the_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The chore measures the room where the record lies, logs it, and tells what is news."""
    told: list[Fault] = []
    room: Callable[[int], Any] = lambda free: lambda folder: _Usage(folder, free)  # noqa: E731
    chore = DiskChore(tmp_path, lambda: at(5.0), told.append)
    with caplog.at_level(logging.INFO):
        for free in (10_000_000, 5_000_000, 900_000_000):
            monkeypatch.setattr(shutil, "disk_usage", room(free))
            chore()

    assert [(False, "only 10 MB are free"), (True, "")] == [(f.over, f.wrong) for f in told]
    assert ["disk_free_mb=10", "disk_free_mb=5", "disk_free_mb=900"] == caplog.messages


class _Usage:
    """What the system says of a disk."""

    def __init__(self, folder: Path, free: int) -> None:
        assert folder.is_dir()
        self.free = free
