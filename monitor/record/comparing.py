"""The runs that `compare` sets side by side, out of their archives."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from monitor.archive import Reader
from monitor.control import RECORD
from monitor.errors import HoldwaterError
from monitor.record.compare import RunRows
from monitor.record.gather import Wish, day_table


def run_of(text: str, state: Path, base: float) -> RunRows:
    """A run from FOLDER, FOLDER:RUN, or RUN in the record of `state`."""
    folder, name = Path(text), ""
    if not folder.is_dir():
        before, _, after = text.rpartition(":")
        folder, name = (Path(before), after) if before else (state, text)
    with Reader(folder / RECORD) as reader:
        rows = tuple(day_table(reader, Wish(base=base, run=name)))
        if not rows:
            raise HoldwaterError(f"{text}: the record has no day of this run")
        return RunRows(rows[0].run, rows, base)


def with_own_names(runs: Sequence[RunRows]) -> list[RunRows]:
    """Runs of one name told apart by the year and month in which they began."""
    names = [run.name for run in runs]
    return [
        replace(run, name=f"{run.name} {run.rows[0].day:%b %Y} ({number})")
        if names.count(run.name) > 1
        else run
        for number, run in enumerate(runs, 1)
    ]
