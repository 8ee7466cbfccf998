"""How large the archive grows, how much it writes and how quickly it is read.

Run: python tests/benchmarks/archive_size.py. One synthetic day of 20 tags at 1 Hz goes
into the archive and, in the same run, into plain rows `WITHOUT ROWID PRIMARY KEY (tag, t)`; lines
with a ratio compare the two. `--season` also fills 60 days at one reading a minute and times the
long views (about two minutes).

The day: six temperatures in steps of 0.0625 C, three flow meters of 7.5 pulses a litre, three
levels in steps of 0.1 mm, four contacts, and air temperature, mains and battery voltage and the
board's own temperature; noise as in common parts (from memory). Times are processor time, so that
other work on the machine does not count; waiting for the disk does not count either.
"""

import argparse
import math
import random
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from pathlib import Path
from time import process_time

from monitor.archive import Reader, gathering
from monitor.archive.disk import Disk
from monitor.archive.gathering import Gathering
from monitor.archive.records import Boot, Offset
from monitor.archive.work import Batch
from monitor.inputs import Moment, Reading

DAY = 86_400
SUNRISE = 1_790_000_000.0
Signal = Callable[[int], float]


def signals(chance: random.Random) -> dict[str, Signal]:
    """Value of each tag at a second of the day."""

    def swing(t: int, hours: float) -> float:
        return math.sin(2.0 * math.pi * t / (3600.0 * hours))

    def temperature(mean: float) -> Signal:
        return lambda t: (
            round((mean + 0.4 * swing(t, 24) + t * 2e-6 + chance.gauss(0, 0.03)) * 16) / 16
        )

    def flow(mean: float) -> Signal:
        left = 0.0

        def pulses(t: int) -> float:
            nonlocal left
            left += (mean + 0.1 * swing(t, 12) + chance.gauss(0, 0.08)) * 7.5
            whole = math.floor(left)
            left -= whole
            return whole / 7.5

        return pulses

    def level(mean: float) -> Signal:
        return lambda t: round((mean + 3.0 * swing(t, 9) + chance.gauss(0, 0.8)) * 10) / 100

    found: dict[str, Signal] = {f"T{i}": temperature(24.0 + 0.3 * i) for i in range(6)}
    found |= {f"Q{i}": flow(9.5 + 0.3 * i) for i in range(3)}
    found |= {f"L{i}": level(310.0 + 20.0 * i) for i in range(3)}
    found |= {f"C{i}": lambda t: float(chance.random() > 1e-5) for i in range(4)}
    found["air"] = lambda t: round(22.0 + 2.0 * swing(t, 24) + chance.gauss(0, 0.05), 1)
    found["mains"] = lambda t: round(230.0 + chance.gauss(0, 0.6), 1)
    found["battery"] = lambda t: float(round(12_600.0 + chance.gauss(0, 6.0)))
    found["board"] = lambda t: round((48.0 + chance.gauss(0, 0.7)) * 2) / 2
    return found


def written() -> int:
    """Bytes this process has handed to write calls so far."""
    lines = Path("/proc/self/io").read_text("ascii").splitlines()
    return int(next(line for line in lines if line.startswith("wchar")).split()[1])


class Filling:
    """The writer's path without its thread, so that each interval is one transaction."""

    def __init__(self, path: Path) -> None:
        self._gathering = Gathering()
        self._disk = Disk(path, "board", "rig")
        self._disk.open(SUNRISE)
        self._boot = Boot(1, "board", "measured", 0.0)
        self._offsets: tuple[Offset, ...] = (Offset(1, 0.0, SUNRISE, True),)

    def add(self, readings: Sequence[Reading]) -> None:
        for reading in readings:
            self._gathering.add(reading, 1, "run")
        if self._gathering.due:
            self._write(everything=False)

    def close(self) -> None:
        self._write(everything=True)
        self._disk.close()

    def _write(self, everything: bool) -> None:
        load = self._gathering.take(everything)
        self._disk.write(Batch((), load, self._offsets, self._boot))
        self._offsets = ()


def scans(day: dict[str, list[float]], jitter: Callable[[], float]) -> Iterator[list[Reading]]:
    """The day scan by scan; jitter: seconds by which each reading is late."""
    for t in range(DAY):
        scan = []
        for tag, values in day.items():
            elapsed = t + jitter()
            moment = Moment(1, elapsed, SUNRISE + elapsed)
            scan.append(Reading(tag, moment, values[t]))
        yield scan


def say(name: str, figure: float, unit: str, against: float | None = None) -> None:
    """One line: what was measured, and its ratio to the plain rows."""
    ratio = "" if against is None else f"   ratio {figure / against:.4f}"
    sys.stdout.write(f"{name:<58}{figure:>10.3f} {unit}{ratio}\n")


def plain_rows(folder: Path, day: dict[str, list[float]]) -> tuple[float, float]:
    """Bytes and microseconds a reading of plain rows, one transaction each five minutes."""
    before = written()
    path = folder / "plain.db"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("CREATE TABLE r (tag INT, t INT, v REAL, PRIMARY KEY (tag, t)) WITHOUT ROWID")
        spent = 0.0
        for start in range(0, DAY, 300):
            rows = [
                (number, t, values[t])
                for t in range(start, start + 300)
                for number, values in enumerate(day.values())
            ]
            begun = process_time()
            db.execute("BEGIN")
            db.executemany("INSERT INTO r VALUES (?, ?, ?)", rows)
            db.execute("COMMIT")
            spent += process_time() - begun
    readings = DAY * len(day)
    size, time = path.stat().st_size / readings, 1e6 * spent / readings
    say("plain rows: file, bytes a reading", size, "B", size)
    say("plain rows: written a day", (written() - before) / 1e6, "MB")
    say("plain rows: stored, a reading", time, "us", time)
    return size, time


def one_day(
    folder: Path, day: dict[str, list[float]], name: str, plain: tuple[float, float]
) -> Path:
    """Fill one day into an archive and say what it took."""
    chance = random.Random(7)
    path = folder / f"{name}.db"
    filling = Filling(path)
    spent = 0.0
    before = written()
    late = (lambda: abs(chance.gauss(0, 0.003))) if "jitter" in name else (lambda: 0.0)
    for scan in scans(day, late):
        begun = process_time()
        filling.add(scan)
        spent += process_time() - begun
    filling.close()
    readings = DAY * len(day)
    say(f"{name}: file, bytes a reading", path.stat().st_size / readings, "B", plain[0])
    say(f"{name}: written a day", (written() - before) / 1e6, "MB")
    say(f"{name}: gathered, packed, stored, a reading", 1e6 * spent / readings, "us", plain[1])
    return path


def best_of(times: int, call: Callable[[], object]) -> float:
    """Milliseconds of the quickest of some calls."""
    best = math.inf
    for _ in range(times):
        begun = process_time()
        call()
        best = min(best, process_time() - begun)
    return 1e3 * best


def time_day(path: Path) -> None:
    """How long it takes to read one day of one tag."""
    with Reader(path) as reader:
        say("one day by minutes", best_of(5, lambda: reader.rollup("L0", 0, DAY, 60.0)), "ms")
        utc = SUNRISE, SUNRISE + DAY
        by_utc = best_of(5, lambda: reader.rollup("L0", *utc, 60.0, "utc"))
        say("one day by minutes of UTC", by_utc, "ms")
        say("one day of readings", best_of(3, lambda: reader.readings("L0", 0, DAY)), "ms")
        say("one day as columns", best_of(3, lambda: list(reader.series("L0", 0, DAY))), "ms")


def season(folder: Path) -> None:
    """Sixty days of 20 tags at one reading a minute: as many rows as at 1 Hz."""
    chance = random.Random(5)
    path = folder / "season.db"
    filling = Filling(path)
    tags = signals(chance)
    for t in range(0, 60 * DAY, 60):
        moment = Moment(1, float(t), SUNRISE + t)
        filling.add([Reading(tag, moment, signal(t)) for tag, signal in tags.items()])
    filling.close()
    with Reader(path) as reader:
        say("60 days by hours", best_of(20, lambda: reader.hours("L0")), "ms")
        utc = SUNRISE, SUNRISE + 60 * DAY
        by_utc = best_of(3, lambda: reader.rollup("L0", *utc, 3600.0, "utc"))
        say("60 days by hours of UTC, from the rows", by_utc, "ms")
        say("whole check of the file", best_of(1, reader.problems), "ms")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--season", action="store_true", help="also fill and read 60 days")
    wanted = parser.parse_args()
    chance = random.Random(1)
    day = {tag: [signal(t) for t in range(DAY)] for tag, signal in signals(chance).items()}
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        plain = plain_rows(folder, day)
        path = one_day(folder, day, "archive", plain)
        time_day(path)
        one_day(folder, day, "archive, 3 ms jitter", plain)
        gathering.INTERVAL_MS = 60_000
        one_day(folder, day, "archive, rows of one minute", plain)
        gathering.INTERVAL_MS = 300_000
        if wanted.season:
            season(folder)


if __name__ == "__main__":
    main()
