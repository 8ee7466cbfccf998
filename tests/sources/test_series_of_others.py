"""Long series recorded by others: through import, quality and archive, nothing lost or invented.

An outside count, made with nothing but the csv module, is held against what comes out at the other
end. Run with -s to see the row counts.
"""

import csv
import sys
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pytest

from monitor.archive import Reader
from monitor.archive.disk import Disk
from monitor.archive.gathering import Gathering
from monitor.archive.records import Boot, Offset
from monitor.archive.timeline import OffsetWatch
from monitor.archive.work import Batch
from monitor.inputs import Reading
from monitor.logic.quality import take
from monitor.logic.state import TagState
from monitor.recording import read_rows
from monitor.rig import Rig, Tag
from monitor.units import unit_of

pytestmark = pytest.mark.long

NO_VALUE, LOGGER_LIMIT = -9999.0, 7999.0
"""Sentinels of the river's loggers (its README): no value, and out of the logger's range."""
HOUR_BACK = "2014-01-07 02:55:00"
"""The last row before the machine's clock is set back by an hour (its file)."""
ROWS_A_WRITE = 500
"""The rows are minutes apart: written one by one, as a watch would, they take a disk minutes."""
WATER = {"TW": "temp", "CO": "cond", "PH": "ph", "DO": "do", "TU": "turb", "ST": "stage"}


@dataclass
class Outcome:
    """What came in, what was judged, and what the archive gives back."""

    rows: int = 0
    steps: list[tuple[int, float]] = field(default_factory=list)
    came: dict[str, list[Reading]] = field(default_factory=dict)
    flags: dict[str, Counter[str]] = field(default_factory=dict)
    kept: dict[str, list[Reading]] = field(default_factory=dict)

    def show(self, name: str, rows_in: int) -> None:
        """Row counts in and out, one line a tag."""
        sys.stdout.write(f"\n{name}: {rows_in} rows in the file, {self.rows} read\n")
        for tag, kept in self.kept.items():
            values = sum(item.value is not None for item in kept)
            sys.stdout.write(
                f"  {tag}: {len(self.came[tag])} readings in, {len(kept)} kept, {values} with a "
                f"value, flags {dict(self.flags[tag])}\n"
            )


def through(recording: Path, tags: tuple[Tag, ...], archive: Path) -> Outcome:
    """Read the recording, judge every reading, keep all of them, and read the archive again."""
    rig = Rig("b-1", "R", "Ostrel", "UTC", tags=tags)
    outcome = Outcome(came={tag.id: [] for tag in tags}, flags={tag.id: Counter() for tag in tags})
    disk, gathering = Disk(archive, "b-1", "R"), Gathering()
    disk.open(0.0)
    boot = Boot(1, "b-1", "recorded", 0.0)
    states = {tag.id: TagState() for tag in tags}
    walls = OffsetWatch()
    offsets: tuple[Offset, ...] = ()
    for row in read_rows(recording, rig, 0.0):
        outcome.rows += 1
        if row.step:
            outcome.steps.append((row.line, row.step))
        offset = walls.see(row.moment)
        for reading in row.readings:
            tag = rig.tag[reading.tag]
            states[tag.id], flags = take(tag, states[tag.id], reading)
            outcome.came[tag.id].append(reading)
            outcome.flags[tag.id].update(flag.test for flag in flags)
            gathering.add(reading, 1, "")
            gathering.flag(flags)
        offsets += (offset,) if offset else ()
        if outcome.rows % ROWS_A_WRITE == 0:
            disk.write(Batch((), gathering.take(False), offsets, boot))
            offsets = ()
    disk.write(Batch((), gathering.take(True), offsets, boot))
    disk.close()
    with Reader(archive) as reader:
        outcome.kept = {tag.id: reader.readings(tag.id) for tag in tags}
    return outcome


def imported(
    source: Path, target: Path, columns: dict[str, str], time: str
) -> list[dict[str, str]]:
    """The file as a recording: its columns by tag, its times, which name no zone, as UTC."""
    with source.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    with target.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("time", *columns))
        for row in rows:
            writer.writerow((f"{row[time]}Z", *(row[name] for name in columns.values())))
    return rows


def number(cell: str) -> float | None:
    """The number in a cell, None where it holds none."""
    try:
        return float(cell)
    except ValueError:
        return None


def test_machine_with_gaps_and_a_repeated_hour(recordings: Path, tmp_path: Path) -> None:
    """Every row comes out as it went in, the hour that was written twice as two hours."""
    source = recordings / "nab" / "machine_temperature_system_failure.csv"
    rows = imported(source, tmp_path / "in.csv", {"MT": "value"}, "timestamp")
    tag = Tag("MT", "number", "R", unit_of("number"), "file", every=300.0)
    outcome = through(tmp_path / "in.csv", (tag,), tmp_path / "record.db")
    outcome.show("machine temperature", len(rows))

    assert len(rows) == outcome.rows == len(outcome.kept["MT"])
    assert [number(row["value"]) for row in rows] == [item.value for item in outcome.kept["MT"]]
    wall = [datetime.fromisoformat(f"{row['timestamp']}+00:00").timestamp() for row in rows]
    assert wall == [round(item.moment.utc, 3) for item in outcome.kept["MT"]]
    back = [i for i, row in enumerate(rows) if i and wall[i] < wall[i - 1]]
    assert [HOUR_BACK] == [rows[i - 1]["timestamp"] for i in back]
    assert [i + 2 for i in back] == [line for line, _ in outcome.steps]
    watch_time = [item.moment.elapsed for item in outcome.kept["MT"]]
    assert watch_time == sorted(watch_time)


def test_river_with_sentinels(recordings: Path, tmp_path: Path) -> None:
    """Every cell of the loggers is kept; their sentinels are flagged, and good water is not."""
    source = recordings / "lro" / "BlackSmithFork2015.csv"
    rows = imported(source, tmp_path / "in.csv", WATER, "datetime")
    tags = tuple(
        Tag(name, "number", "R", unit_of("number"), "file", every=900.0, sensor_range=(-50.0, 5e3))
        for name in WATER
    )
    outcome = through(tmp_path / "in.csv", tags, tmp_path / "record.db")
    outcome.show("river", len(rows))

    assert len(rows) == outcome.rows
    for name, column in WATER.items():
        cells = [number(row[column]) for row in rows if row[column] != ""]
        assert cells == [item.value for item in outcome.kept[name]]
        sentinels = sum(value in (NO_VALUE, LOGGER_LIMIT) for value in cells)
        beyond = sum(value is not None and not -50.0 <= value <= 5e3 for value in cells)
        assert beyond == outcome.flags[name]["gross range"]
        assert sentinels <= beyond
        assert cells.count(None) == outcome.flags[name]["not a number"]
