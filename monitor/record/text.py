"""The day table for people: text of 100 columns. The forms for programs are in show.py."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from monitor.record.noted_show import more_lines
from monitor.record.rows import DayRow, Gap, Measure, Missing
from monitor.record.show import HOUR, MINUTE, Site, event_line
from monitor.record.spans import seconds
from monitor.units import LITRE, Unit

SHORT = {
    Missing.NOT_MEASURED: "not meas.",
    Missing.NOT_OBSERVED: "not obs.",
    Missing.NO_LIMIT: "no limit",
    Missing.NOT_NOTED: "not noted",
    Missing.NO_SCHEDULE: "no sched.",
}
"""What stands in the text table, where columns are narrow; in CSV and JSON it is written out."""

WIDTH = 100
"""Columns of the text form."""

GAPS_SHOWN = 3
"""Gaps of a tag and day that the text names; CSV counts them, JSON has them all."""


def text_lines(site: Site, rows: Sequence[DayRow]) -> Iterator[str]:
    """The table in blocks: water, temperature, then events, gaps and notes as lines."""
    if not rows:
        yield "No day of the run lies between these."
        return
    yield f"Run {rows[0].run}, local days ({site.zone.key}). Figures cover the hours seen."
    yield ""
    yield from _columns(WATER, [_water_cells(row) for row in rows])
    by = dict.fromkeys(row.water.by or Missing.NOT_MEASURED.value for row in rows)
    yield f"  Flow to the larvae by: {', '.join(by)}."
    yield ""
    yield from _columns(
        TEMPERATURE, [cells for row in rows for cells in _temperature_cells(site, row)]
    )
    yield f"  C d: degree-days over {site.base:g} C. In band: between the warnings of the limits."
    for title, tell in BLOCKS:
        lines = [line for row in rows for line in tell(site, row)]
        yield ""
        yield title if lines else f"{title}: none"
        for line in lines:
            yield from wrap(line, WIDTH, initial_indent="  ", subsequent_indent="      ")


WATER = (
    "dph", "date", "day h", "turn- overs", "litres", "seen h", "no flow min", "in holds min",
    "supply lost min", "mains lost min", "night texts",
)  # fmt: skip
TEMPERATURE = ("dph", "date", "tag", "min", "mean", "max", "", "in band h", "C d", "seen h")


def _more_lines(_: Site, row: DayRow) -> Iterator[str]:
    return more_lines(row)


def _columns(titles: Sequence[str], lines: Sequence[Sequence[str]]) -> Iterator[str]:
    """Titles, a word a line where they have several, over cells that stand on the right."""
    stacks = [title.split() for title in titles]
    height = max(map(len, stacks))
    heads = [[""] * (height - len(stack)) + stack for stack in stacks]
    head_lines = [[head[i] for head in heads] for i in range(height)]
    table = [*head_lines, *lines]
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    for line in table:
        cells = (cell.rjust(width) for cell, width in zip(line, widths, strict=True))
        yield "  ".join(cells).rstrip()


def _cell(value: Measure, decimals: int, scale: float = 1.0, unit: Unit | None = None) -> str:
    if isinstance(value, Missing):
        return SHORT[value]
    shown = value / scale if unit is None else unit.from_si(value)
    return f"{shown:.{decimals}f}"


def _begin(row: DayRow) -> list[str]:
    return [str(row.dph), f"{row.day:%a %d %b}"]


def _water_cells(row: DayRow) -> list[str]:
    water = row.water
    return [
        *_begin(row),
        f"{row.length / HOUR:.0f}",
        _cell(water.turnovers, 2),
        _cell(water.delivered, 0, LITRE),
        f"{water.seen / HOUR:.2f}",
        _cell(water.no_flow, 0, MINUTE),
        _cell(water.no_flow_in_holds, 0, MINUTE),
        _cell(water.supply_lost, 0, MINUTE),
        _cell(water.mains_lost, 0, MINUTE),
        str(row.night_texts),
    ]


def _temperature_cells(site: Site, row: DayRow) -> Iterator[list[str]]:
    for found in row.temperatures:
        unit = site.units[found.tag]
        yield [
            *_begin(row),
            found.tag,
            _cell(found.low, 1, unit=unit),
            _cell(found.mean, 2, unit=unit),
            _cell(found.high, 1, unit=unit),
            unit.name,
            _cell(found.in_band, 2, HOUR),
            _cell(found.degree_days, 2),
            f"{found.seen / HOUR:.2f}",
        ]
    if not row.temperatures:
        yield [*_begin(row), "none", *[SHORT[Missing.NOT_MEASURED]] * 3, "", "", "", ""]


def _event_lines(site: Site, row: DayRow) -> Iterator[str]:
    for event in row.events:
        yield f"dph {row.dph}: {event_line(event, lambda utc: site.clock(utc, row))}"


def _gap_lines(site: Site, row: DayRow) -> Iterator[str]:
    """Gaps of all tags stand once; those of one tag are counted, and the longest named."""
    for gap in row.unwatched:
        yield f"dph {row.dph}: all tags {_span(site, row, gap)}"
    for seen in row.coverage:
        own = [gap for gap in seen.gaps if not gap.general]
        longest = sorted(own, key=lambda gap: gap.span.start - gap.span.end)[:GAPS_SHOWN]
        for gap in sorted(longest, key=lambda gap: gap.span):
            yield f"dph {row.dph}: {seen.tag} {_span(site, row, gap)}"
        if len(own) > GAPS_SHOWN:
            minutes = seconds(gap.span for gap in own) / MINUTE
            yield f"dph {row.dph}: {seen.tag} {len(own)} gaps in all, {minutes:.1f} min"


def _span(site: Site, row: DayRow, gap: Gap) -> str:
    start, end = gap.span
    minutes = (end - start) / MINUTE
    return f"{site.clock(start, row)}-{site.clock(end, row)} ({minutes:.1f} min): {gap.reason}"


def _note_lines(site: Site, row: DayRow) -> Iterator[str]:
    yield from (f"dph {row.dph}: {note}" for note in row.notes)
    if row.night_texts_failed:
        yield f"dph {row.dph}: {row.night_texts_failed} texts of the quiet hours went out by no way"


BLOCKS = (
    ("Events", _event_lines),
    ("Gaps", _gap_lines),
    ("Light, holds, and what people wrote down", _more_lines),
    ("Notes", _note_lines),
)
"""What stands under the two tables, as lines."""
