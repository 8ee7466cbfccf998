"""The scenario's run of 33 days through simulator, loop and archive, its table against the plan.

Run: python tests/benchmarks/whole_run.py [--first DPH] [--last DPH] [--every 5]. A line a day:
turnovers, temperature and minutes without flow, each with what the scenario says without noise;
marked is what lies outside its tolerance (0.03 turnovers, 0.1 C mean, 0.15 C extremes, 1 min). A
day takes some ten seconds of processor time; --every: no tag reports more often than that, s.
"""

import argparse
import sys
import tempfile
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).parents[1]))

from monitor.archive import Reader
from monitor.control import RECORD
from monitor.record import DayRow, Wish, day_table
from record.demo_run import FIRST, LAST, expected, story
from record.nights import keep

TOLERANCES = (0.03, 0.1, 0.15, 0.15, 1.0)


def compare(row: DayRow) -> tuple[str, int]:
    """One line, and how many of its figures lie outside their tolerance."""
    plan = expected(row.dph)
    water = next(found for found in row.temperatures if found.tag == "TW1")
    assert not isinstance(row.water.no_flow, str)
    found = (row.water.turnovers, water.mean, water.low, water.high, row.water.no_flow / 60.0)
    due = (plan.turnovers, *plan.water, plan.no_flow)
    cells, wrong = [f"{row.dph:>4}"], 0
    for figure, wanted, tolerance in zip(found, due, TOLERANCES, strict=True):
        assert not isinstance(figure, str)
        is_off = abs(figure - wanted) > tolerance + 1e-9
        wrong += is_off
        cells.append(f"{figure:8.3f} ({wanted:g}){' OFF' if is_off else ''}")
    return "  ".join(cells), wrong


def main() -> None:
    """Play, keep, read, compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--last", type=int, default=LAST)
    parser.add_argument("--every", type=float, default=0.0)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        begun = process_time()
        keep(story(wanted.first, wanted.last), Path(place), every=wanted.every)
        print(f"played in {process_time() - begun:.0f} s of processor time", flush=True)
        print(" dph  turnovers  mean  least  highest  min without flow (plan)")
        total = 0
        with Reader(Path(place) / RECORD) as reader:
            for row in day_table(reader, Wish(wanted.first, wanted.last)):
                line, wrong = compare(row)
                total += wrong
                print(line, flush=True)
        print(f"{total} figures outside their tolerance")


if __name__ == "__main__":
    main()
