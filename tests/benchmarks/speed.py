"""How fast the pure step and a replay are. Run: python tests/benchmarks/speed.py

Prints one line a figure: what was measured, and its ratio to a reference run right beside it in
the same process. The rig is sample_config/ostrel-hill with every tag read once a second, 20 tags
with the three that are added here.
"""

import csv
import json
import random
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from monitor.config import load
from monitor.inputs import Moment, Reading
from monitor.logic.state import State, fresh
from monitor.logic.step import resume, step
from monitor.replay import play_files
from monitor.rig import Tag
from monitor.setup import Setup
from monitor.units import unit_of

CONFIG = Path(__file__).parents[2] / "sample_config" / "ostrel-hill"
SECONDS = 3600
USUAL = {
    "flow": (6.0, 0.08),
    "level": (38.3, 0.1),
    "temperature": (26.5, 0.02),
    "pressure": (13.0, 0.15),
    "voltage": (13.2, 0.02),
    "light": (1000.0, 10.0),
    "current": (0.90, 0.02),
    "mains": (1.0, 0.0),
    "float": (1.0, 0.0),
    "wet": (0.0, 0.0),
}
"""Usual value and noise of each quantity in the unit of the demo rig's tags."""


def rig_of(tags: int) -> Setup:
    """The demo rig with so many more thermometers that it has this number of tags."""
    setup = load(CONFIG)
    more = tuple(
        Tag(f"TX{n}", "temperature", "RM", unit_of("temperature"), "sim", every=1.0)
        for n in range(tags - len(setup.rig.tags))
    )
    return replace(setup, rig=replace(setup.rig, tags=setup.rig.tags + more), worked_out={})


def rows(setup: Setup) -> list[tuple[Moment, list[Reading]]]:
    """An hour of quiet readings, all tags each second; a supply flow of its own, 9 L/min."""
    chance = random.Random(1)
    start = 1792300000.0
    made = []
    for second in range(SECONDS):
        moment = Moment(1, float(second), start + second)
        made.append((moment, [_reading(chance, tag, moment) for tag in setup.rig.tags]))
    return made


def _reading(chance: random.Random, tag: Tag, moment: Moment) -> Reading:
    value, noise = USUAL[tag.measures]
    if tag.id == "QS":
        value = 9.0
    if tag.id == "LT":
        value = 0.0
    if tag.id == "LS":
        value = 32.0
    return Reading(tag.id, moment, round(chance.gauss(value, noise), 2) if noise else value)


def timed(work: Callable[[], object]) -> float:
    """Processor seconds of the best of three runs."""
    best = float("inf")
    for _ in range(3):
        began = time.process_time()
        work()
        best = min(best, time.process_time() - began)
    return best


def steps(setup: Setup, made: list[tuple[Moment, list[Reading]]]) -> State:
    """Every row as one step."""
    state = resume(setup, fresh(), made[0][0]).state
    for moment, readings in made:
        state = step(setup, state, readings, moment).state
    return state


def main() -> None:
    """Measure and print."""
    setup = rig_of(20)
    made = rows(setup)

    def plain() -> dict[str, float]:
        """Reference: the least that has to be done, one comparison and one dict entry a value."""
        last: dict[str, float] = {}
        for _, readings in made:
            for reading in readings:
                value = reading.value
                if value is not None and value == value:
                    last[reading.tag] = value
        return last

    stepped, compared = timed(lambda: steps(setup, made)), timed(plain)
    print(
        f"step, 20 tags at 1 Hz: {stepped / SECONDS * 1e3:.3f} ms a scan; "
        f"{stepped / compared:.0f} times a bare loop over the values"
    )
    forty = rig_of(40)
    many = rows(forty)
    print(
        f"step, 40 tags at 1 Hz: {timed(lambda: steps(forty, many)) / SECONDS * 1e3:.3f} ms a scan "
        "(floor 2, aim 1)"
    )
    with tempfile.TemporaryDirectory() as folder:
        recording = Path(folder) / "hour.csv"
        _write(recording, setup, made)
        lines: list[object] = []
        played = timed(lambda: play_files(setup, recording, None, None, 0.0, lines.append))
        read = timed(lambda: _read(recording))
    print(
        f"replay, 20 tags at 1 Hz: {SECONDS / played:.0f} times real time "
        f"(floor 1000, aim 5000); {played / read:.1f} times reading the CSV into floats"
    )
    assert not lines, f"a quiet hour raised {json.dumps(lines[0], default=str)}"


def _write(path: Path, setup: Setup, made: list[tuple[Moment, list[Reading]]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["time", *(tag.id for tag in setup.rig.tags)])
        for moment, readings in made:
            at = setup.local(moment.utc).isoformat()
            writer.writerow([at, *(reading.value for reading in readings)])


def _read(path: Path) -> int:
    with path.open(newline="", encoding="utf-8") as file:
        reader = csv.reader(file)
        next(reader)
        return sum(len([float(cell) for cell in row[1:]]) for row in reader)


if __name__ == "__main__":
    main()
