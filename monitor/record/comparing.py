"""The runs that `compare` sets side by side, out of their archives."""

from collections.abc import Sequence
from pathlib import Path

from monitor.archive import Reader
from monitor.control import RECORD
from monitor.errors import HoldwaterError
from monitor.record.compare import RunRows, Told
from monitor.record.gather import Wish, day_table, forces_of
from monitor.record.notes import Entry, notebook
from monitor.record.rows import DayRow
from monitor.rig import Tag

NITRATE_OF_N = 62.0049 / 14.0067
"""mg NO3 in 1 mg of nitrate nitrogen, by molar mass (IUPAC 2021: N 14.007, O 15.999)."""
CELL = 600.0
"""Seconds of the sums by which hours of light are counted."""
HOUR = 3600.0
ALL_DAY = 0.99


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
        setup = forces_of(reader, name)[-1].setup
        assert setup.run is not None, "a run has rows"
        light = setup.rig.tag_for("light", setup.run.tank)
        return RunRows(
            setup.run.id,
            rows,
            base,
            {} if light is None else light_hours(reader, light, rows),
            told_by_dph(rows, notebook(reader, setup.run.id)),
        )


def with_own_names(runs: Sequence[RunRows]) -> list[RunRows]:
    """Runs of one name told apart by the year and month in which they began."""
    names = [run.name for run in runs]
    return [
        RunRows(
            f"{run.name} {run.rows[0].day:%b %Y} ({number})",
            run.rows,
            run.base,
            run.light,
            run.told,
        )
        if names.count(run.name) > 1
        else run
        for number, run in enumerate(runs, 1)
    ]


def light_hours(reader: Reader, tag: Tag, rows: Sequence[DayRow]) -> dict[int, float]:
    """Hours in which it was brighter than half of what is bright in this run, by dph.

    Bright is the 95th hundredth of all ten-minute means (house rule, no source). Only days that
    were seen all through have a figure.
    """
    by_day = {
        row.dph: [cell.mean for cell in reader.rollup(tag.id, *row.span, CELL, by="utc") if cell.n]
        for row in rows
    }
    means = sorted(mean for cells in by_day.values() for mean in cells)
    if not means:
        return {}
    half = means[int(0.95 * (len(means) - 1))] / 2.0
    return {
        row.dph: sum(mean > half for mean in by_day[row.dph]) * CELL / HOUR
        for row in rows
        if len(by_day[row.dph]) >= ALL_DAY * row.length / CELL
    }


def told_by_dph(rows: Sequence[DayRow], entries: Sequence[Entry]) -> dict[int, Told]:
    """Litres changed (their sum) and nitrate (the mean of the day's tests) by dph."""
    found = {}
    for row in rows:
        mine = [entry for entry in entries if row.span.start <= entry.note.at < row.span.end]
        changed = [
            value
            for entry in mine
            if entry.note.kind == "water change"
            for value in [_value(entry, "litres")]
            if value is not None
        ]
        nitrate = [value for entry in mine for value in [_nitrate(entry)] if value is not None]
        if changed or nitrate:
            found[row.dph] = Told(
                sum(changed) if changed else None,
                sum(nitrate) / len(nitrate) if nitrate else None,
            )
    return found


def _nitrate(entry: Entry) -> float | None:
    """A nitrate test in mg/L NO3; None for other notes, and where the unit is not known."""
    said = entry.note.said
    if entry.note.kind != "water test" or said.get("of") != "nitrate":
        return None
    unit = said.get("unit", "").replace(" ", "").casefold()
    scale = {"mg/lno3": 1.0, "mg/lno3-n": NITRATE_OF_N}.get(unit)
    value = _value(entry, "value")
    return None if value is None or scale is None else value * scale


def _value(entry: Entry, field: str) -> float | None:
    found = entry.amount(field)
    return None if found is None else found.value
