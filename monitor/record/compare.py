"""Runs side by side: by days post hatch, and by degree-days. What differed, and of how many days.

No figure is filled in: a mean names the days it rests on, and what was not measured says so. Two or
three runs differ in many things at once, so nothing here says why anything came about.
"""

import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import StringIO

from monitor.record.rows import DayRow, Missing
from monitor.setup import DAY
from monitor.units import LITRE

MINUTE, HOUR = 60.0, 3600.0
ALL_DAY = 0.99
NITRATE = {"mg/lno3": 1.0, "mg/lno3-n": 62.0049 / 14.0067}
"""mg NO3 in 1 of the unit, by molar mass (IUPAC 2021: N 14.007, O 15.999)."""
WEEK = 7
STEP = 50.0
"""Degree-days between two lines of the table by degree-days."""
NOT_MEASURED = "-"


@dataclass(frozen=True, slots=True)
class RunRows:
    """One run, by its day rows. base: C, of degree-days."""

    name: str
    rows: tuple[DayRow, ...]
    base: float = 0.0

    @property
    def by_dph(self) -> dict[int, DayRow]:
        return {row.dph: row for row in self.rows}


Value = float | None
Quantity = Callable[[DayRow], Value]


def _mean_temperature(row: DayRow) -> Value:
    return _number(row.temperatures[0].mean) if row.temperatures else None


def _number(value: float | Missing) -> Value:
    return None if isinstance(value, Missing) else value


def _no_flow(row: DayRow) -> Value:
    found = _number(row.water.no_flow)
    return None if found is None else found / MINUTE


def _light(row: DayRow) -> Value:
    """Hours of light; of a day that was not seen all through there is none."""
    if row.light is None or row.light.seen < ALL_DAY * row.length:
        return None
    lit = _number(row.light.lit)
    return None if lit is None else lit / HOUR


def _changed(row: DayRow) -> Value:
    found = _number(row.noted.changed)
    return None if found is None else found / LITRE


def _nitrate(row: DayRow) -> Value:
    """Mean of the tests of the day, mg/L NO3; tests in a unit that is not known are left out."""
    found = [
        test.value * NITRATE[unit]
        for test in row.noted.tests
        if test.of == "nitrate"
        for unit in [test.unit.replace(" ", "").casefold()]
        if unit in NITRATE
    ]
    return sum(found) / len(found) if found else None


QUANTITIES: Mapping[str, tuple[Quantity, int]] = {
    "mean temperature, C": (_mean_temperature, 2),
    "turnovers delivered": (lambda row: _number(row.water.turnovers), 2),
    "without flow outside holds, min": (_no_flow, 0),
    "light, h": (_light, 1),
    "water changed, L": (_changed, 0),
    "nitrate, mg/L NO3": (_nitrate, 1),
}
"""What is compared, each with the decimals it is shown with."""
SUMMED = ("without flow outside holds, min", "water changed, L")
"""Quantities of which a week has a sum; of the others it has the mean of its days."""


@dataclass(frozen=True, slots=True)
class Table:
    """Head and lines, ready to be shown."""

    title: str
    head: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]


def tables(runs: Sequence[RunRows]) -> Iterator[Table]:
    """By week of age, by day, by degree-days."""
    for name in QUANTITIES:
        if any(_value(name, row) is not None for run in runs for row in run.rows):
            yield _by_week(runs, name)
    yield _by_degree_days(runs)
    for name in QUANTITIES:
        if any(_value(name, row) is not None for run in runs for row in run.rows):
            yield _by_day(runs, name)


def _value(name: str, row: DayRow) -> Value:
    return QUANTITIES[name][0](row)


def _shown(name: str, value: Value) -> str:
    return NOT_MEASURED if value is None else f"{value:.{QUANTITIES[name][1]}f}"


def _by_week(runs: Sequence[RunRows], name: str) -> Table:
    weeks = sorted({row.dph // WEEK for run in runs for row in run.rows})
    lines = []
    for week in weeks:
        cells, found = [], []
        for run in runs:
            values = [
                value
                for row in run.rows
                if row.dph // WEEK == week
                for value in [_value(name, row)]
                if value is not None
            ]
            total = sum(values) if name in SUMMED else sum(values) / max(1, len(values))
            found.append(total if values else None)
            cells += [_shown(name, found[-1]), str(len(values))]
        lines.append((f"{week * WEEK} to {week * WEEK + WEEK - 1}", *cells, *_range(name, found)))
    how = "sum of the days" if name in SUMMED else "mean of the days"
    head = ("dph", *(cell for run in runs for cell in (run.name, "n")), *_range_head(runs))
    return Table(f"{name}: {how}, by week of age (n: days it rests on)", head, tuple(lines))


def _by_day(runs: Sequence[RunRows], name: str) -> Table:
    lines = []
    for dph in sorted({row.dph for run in runs for row in run.rows}):
        found = []
        for run in runs:
            row = run.by_dph.get(dph)
            found.append(None if row is None else _value(name, row))
        shown = [_shown(name, value) for value in found]
        lines.append((str(dph), *shown, *_range(name, found)))
    head = ("dph", *(run.name for run in runs), *_range_head(runs))
    return Table(f"{name}, by days post hatch", head, tuple(lines))


def _range_head(runs: Sequence[RunRows]) -> tuple[str, ...]:
    return ("second less first",) if len(runs) == 2 else ("highest less least",)


def _range(name: str, found: Sequence[Value]) -> tuple[str, ...]:
    there = [value for value in found if value is not None]
    if len(there) < len(found):
        return (NOT_MEASURED,)
    difference = there[1] - there[0] if len(there) == 2 else max(there) - min(there)
    return (f"{difference:+.{QUANTITIES[name][1]}f}",)


# By degree-days


@dataclass(frozen=True, slots=True)
class Mark:
    """When a run had reached a sum of degree-days since the hatch, and what it had had by then."""

    dph: float
    turnovers: float
    stopped: float


def marks(run: RunRows, step: float = STEP) -> dict[float, Mark]:
    """Each multiple of `step` that a run reached from dph 0 on, at the part of the day it did so.

    A day counts by its mean temperature, also where hours of it were not seen; with a day without
    any, or a day that is missing, the line ends: what came after is not known. Turnovers and stops
    are sums of what was seen.
    """
    found: dict[float, Mark] = {}
    total = turnovers = stopped = 0.0
    day = 0
    for row in sorted(run.rows, key=lambda row: row.dph):
        if row.dph < 0:
            continue
        mean = _mean_temperature(row)
        if row.dph != day or mean is None:
            break
        gain = max(0.0, mean - run.base) * row.length / DAY
        had = (_number(row.water.turnovers) or 0.0, _no_flow(row) or 0.0)
        while gain > 0.0 and step * (len(found) + 1) <= total + gain:
            mark = step * (len(found) + 1)
            share = (mark - total) / gain
            found[mark] = Mark(day + share, turnovers + share * had[0], stopped + share * had[1])
        total, turnovers, stopped = total + gain, turnovers + had[0], stopped + had[1]
        day += 1
    return found


def _by_degree_days(runs: Sequence[RunRows]) -> Table:
    reached = [marks(run) for run in runs]
    lines = []
    for mark in sorted({mark for found in reached for mark in found}):
        cells = []
        for found in reached:
            at = found.get(mark)
            cells += (
                [f"{at.dph:.1f}", f"{at.turnovers:.1f}", f"{at.stopped:.0f}"]
                if at is not None
                else [NOT_MEASURED] * 3
            )
        lines.append((f"{mark:.0f}", *cells))
    names = (
        cell
        for run in runs
        for cell in (f"{run.name} dph", f"{run.name} turnovers", f"{run.name} without flow, min")
    )
    base = ", ".join(dict.fromkeys(f"{run.base:g}" for run in runs))
    title = f"by degree-days over {base} C since the hatch (sums until then)"
    return Table(title, ("degree-days", *names), tuple(lines))


# Shown


def text_lines(runs: Sequence[RunRows]) -> Iterator[str]:
    """All tables as text."""
    for run in runs:
        yield (
            f"{run.name}: dph {run.rows[0].dph} to {run.rows[-1].dph}, {len(run.rows)} days from "
            f"{run.rows[0].day:%d %b %Y}"
        )
    yield f"n = {len(runs)} runs. They differ in many things at once; nothing here says why."
    for table in tables(runs):
        yield ""
        yield table.title[0].upper() + table.title[1:]
        everything = [table.head, *table.lines]
        widths = [max(map(len, column)) for column in zip(*everything, strict=True)]
        for line in everything:
            cells = (cell.rjust(width) for cell, width in zip(line, widths, strict=True))
            yield "  " + "  ".join(cells).rstrip()


def csv_lines(runs: Sequence[RunRows]) -> Iterator[str]:
    """One line for each quantity, day and run; an empty cell is not measured."""
    yield "quantity,dph,run,value"
    for name in QUANTITIES:
        for run in runs:
            for row in run.rows:
                value = _value(name, row)
                out = StringIO()
                shown = "" if value is None else _shown(name, value)
                csv.writer(out, lineterminator="").writerow([name, row.dph, run.name, shown])
                yield out.getvalue()
