"""How long the day table of a whole season takes, and a curve of it.

Run: python tests/benchmarks/season.py [--days 55] [--keep FOLDER]. Fills an archive with the rig of
the scenario and three more thermometers, 20 tags at 1 Hz with 3 ms of jitter, 95 million readings.
One day is packed by the archive's own code and stored again for each day, so that filling takes a
minute. Then it prints time and memory of the day table, of the same with every row unpacked (one
day, times the days), and of a curve of one tag over all days at 800 points.
"""

import argparse
import random
import re
import resource
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from time import perf_counter, process_time

from monitor.archive import Reader, SetupVersion
from monitor.archive.disk import Disk
from monitor.archive.gathering import Load, Row
from monitor.archive.packing import Packed, pack
from monitor.archive.records import Boot, Offset
from monitor.archive.work import Batch, Work
from monitor.config import load_texts, snapshot
from monitor.inputs import Moment
from monitor.record import Wish, day_table, loader
from monitor.rig import Tag

SAMPLE = Path(__file__).parents[2] / "sample_config" / "ostrel-hill"
BEGIN = 1_790_985_600.0  # Sat 3 Oct 2026, 00:00 UTC
DAY_MS, ROW_MS = 86_400_000, 300_000
MIDDLE = {"flow": 6.0, "temperature": 26.5, "mains": 1.0, "float": 0.0, "wet": 0.0, "level": 38.0}
NOISE = {"flow": 0.08, "temperature": 0.03, "level": 0.1}


def files() -> dict[str, str]:
    """The set-up of the scenario with every tag once a second, and three thermometers more."""
    found = snapshot(SAMPLE)
    rig = re.sub(r"every_s = \S+", "every_s = 1", found["rig.toml"])
    (block,) = re.findall(r'\[\[tag\]\]\nid = "TO".*\n(?:.+\n)+', rig)
    more = "\n".join(block.replace('"TO"', f'"TX{number}"') for number in range(3))
    return found | {"rig.toml": f"{rig}\n{more}"}


def day_of(tag: Tag, chance: random.Random) -> Iterator[Packed]:
    """A day of a tag in rows of five minutes."""
    middle, noise = MIDDLE.get(tag.measures, 12.0), NOISE.get(tag.measures, 0.05)
    is_state = tag.measures in ("mains", "float", "wet")
    for start in range(0, DAY_MS, ROW_MS):
        times = [start + 1000 * i + chance.randrange(4) for i in range(300)]
        values: list[float | None] = [
            middle if is_state else round((middle + chance.gauss(0, noise)) * 16) / 16
            for _ in times
        ]
        yield from pack(times, values, [""] * len(times))


def fill(path: Path, days: int) -> int:
    """The archive; how many readings it holds."""
    texts = files()
    tags = load_texts(texts, 1).rig.tags
    chance = random.Random(1)
    day = [Row(tag.id, 1, "OH-07", 1, row) for tag in tags for row in day_of(tag, chance)]
    disk = Disk(path, "ostrel-1", "OH")
    disk.open(BEGIN)
    start = Moment(1, 0.0, BEGIN)
    first = Work(setup=SetupVersion(1, start, "tavrin", "first", texts))
    offsets = (Offset(1, 0.0, BEGIN, True),)
    disk.write(Batch((first,), Load(), offsets, Boot(1, "ostrel-1", "measured", 0.0)))
    for number in range(days):
        shift = number * DAY_MS
        rows = tuple(
            replace(row, packed=replace(row.packed, start_ms=row.packed.start_ms + shift))
            for row in day
        )
        disk.write(Batch((), Load(rows), (), None))
    disk.close()
    return days * sum(row.packed.n for row in day)


@contextmanager
def measured(name: str, times: int = 1) -> Iterator[None]:
    """Print processor time and wall time of what is done inside."""
    begun, at = process_time(), perf_counter()
    yield
    spent, waited = process_time() - begun, perf_counter() - at
    print(f"{name:<48}{spent * times:>9.3f} s processor{waited * times:>9.3f} s wall", flush=True)


def best(name: str, call: Callable[[], object]) -> None:
    """Print the quickest of ten calls, in ms of processor time."""
    spent = []
    for _ in range(10):
        begun = process_time()
        call()
        spent.append(process_time() - begun)
    print(f"{name:<48}{1e3 * min(spent):>9.3f} ms")


def peak() -> float:
    """The most memory this process has had, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


def main() -> None:
    """Fill, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=55)
    parser.add_argument("--keep", type=Path, help="folder in which the archive is made and left")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = wanted.keep or Path(place)
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / "record.db"
        if not path.exists():
            with measured("filled"):
                print(f"{fill(path, wanted.days):,} readings")
        print(f"{path.stat().st_size / 1e6:.0f} MB; {peak():.0f} MB of memory before")
        with Reader(path) as reader:
            with measured("day table"):
                rows = list(day_table(reader, Wish()))
            print(f"{len(rows)} days; {peak():.0f} MB of memory at most")
            begun = BEGIN, BEGIN + wanted.days * 86_400.0
            best("one tag over all days, 800 points", lambda: reader.view("TW1", *begun, 800))
            half = BEGIN, BEGIN + min(wanted.days, 16) * 86_400.0
            best("one tag over 16 days, 800 points", lambda: reader.view("TW1", *half, 800))
            loader._lump = lambda *_: None
            with measured("day table, every row unpacked (one day x days)", wanted.days):
                list(day_table(reader, Wish(5, 5)))


if __name__ == "__main__":
    main()
