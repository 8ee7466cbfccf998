"""The day table beside the lab's own rows: which row is which day, and what stands in it. Pure.

A row belongs to a day by its date or its days post hatch. What cannot be read for certain is
refused with every row named, and then nothing is written.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from monitor.errors import HoldwaterError
from monitor.record.dates import Order, Span, UnclearDate, read_date, read_dph
from monitor.record.labsheet import Columns, LabSheet, Value, column_number, place

NO_DAY = "no day of the record"
"""What stands in the first column of a row whose day the record does not have."""
NAMED = 12
"""Rows that a refusal or a preview names; the others are counted."""


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the table. cells: heading with its unit -> figure or words."""

    day: date
    dph: int
    cells: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Asked:
    """How the sheet is to be read.

    column: its heading, a cell such as B2, or letters of a column (then with first_row). by_dph:
    it holds days post hatch, not dates. only: heading and word; other rows stay as they are.
    wanted: headings of the day table to add, all where empty. comma: decimal comma, in CSV.
    """

    column: str
    by_dph: bool = False
    order: Order = Order.UNKNOWN
    only: tuple[str, str] | None = None
    first_row: int | None = None
    wanted: tuple[str, ...] = ()
    comma: bool = False


@dataclass(frozen=True, slots=True)
class Match:
    """What was found. rows: row of the sheet -> its day, None where the record has no such day.

    blank: rows without a date; others: rows of something else (another tank). unattached: days
    of the record without a row.
    """

    head: str
    rows: Mapping[int, Day | None]
    blank: tuple[int, ...]
    others: tuple[int, ...]
    unattached: tuple[Day, ...]
    columns: Columns


def match(sheet: LabSheet, days: Sequence[Day], asked: Asked) -> Match:
    """Find the day of each row. HoldwaterError with every row that cannot be read for certain."""
    head, column = heading(sheet, asked.column)
    only = _only(sheet, head, asked.only)
    first = asked.first_row or sheet.under(head, column)
    run = Span(days[0].day, days[-1].day)
    by_key = {day.dph if asked.by_dph else day.day: day for day in days}
    rows: dict[int, Day | None] = {}
    blank: list[int] = []
    others: list[int] = []
    refused: list[str] = []
    for row in range(first, sheet.height + 1):
        if only is not None and not same_word(sheet.cell(row, only[0]), only[1]):
            others.append(row)
            continue
        cell = sheet.cell(row, column)
        try:
            key = read_dph(cell) if asked.by_dph else read_date(cell, asked.order, run)
        except UnclearDate as error:
            refused.append(f"{place(row, column)} {str(cell)[:40]!r} {error}")
            continue
        if key is None:
            blank.append(row)
        else:
            rows[row] = by_key.get(key)
    if refused:
        raise HoldwaterError("\n  ".join(["nothing was written; unclear rows:", *_some(refused)]))
    if not any(rows.values()):
        raise HoldwaterError(
            f"no row under {place(head, column)} is a day of the record ({run.first} to {run.last})"
        )
    met = {day.day for day in rows.values() if day is not None}
    return Match(
        place(head, column),
        rows,
        tuple(blank),
        tuple(others),
        tuple(day for day in days if day.day not in met),
        _columns(sheet, head, rows, days, asked),
    )


def _columns(
    sheet: LabSheet,
    head: int,
    rows: Mapping[int, Day | None],
    days: Sequence[Day],
    asked: Asked,
) -> Columns:
    known = list(dict.fromkeys(heading for day in days for heading in day.cells))
    unknown = [heading for heading in asked.wanted if heading not in known]
    if unknown:
        raise HoldwaterError(
            f"the day table has no column {', '.join(unknown)}; it has {', '.join(known)}"
        )
    headings = list(asked.wanted) or known
    there = {_word(sheet.cell(head, column)) for column in range(1, sheet.width + 1)}
    if all(_word(heading) in there for heading in headings):
        raise HoldwaterError("the sheet has these columns already; attach to the lab's own sheet")
    return Columns(
        head,
        headings,
        {row: _values(headings, day) for row, day in rows.items()},
        asked.comma,
    )


def _values(headings: Sequence[str], day: Day | None) -> list[Value]:
    if day is None:
        return [NO_DAY, *[None] * (len(headings) - 1)]
    return [day.cells.get(heading) for heading in headings]


def heading(sheet: LabSheet, wanted: str) -> tuple[int, int]:
    """The cell of a heading: by its words, or as a cell such as B2."""
    letters = wanted.rstrip("0123456789")
    number = wanted[len(letters) :]
    column = column_number(letters) if number else None
    if column is not None and 1 <= int(number) <= sheet.height and column <= sheet.width:
        return int(number), column
    found = [
        (row, column)
        for row in range(1, min(sheet.height, 60) + 1)
        for column in range(1, sheet.width + 1)
        if _word(_quiet(sheet, row, column)) == _word(wanted)
    ]
    corners = _without_repeats(sheet, found)
    if not corners:
        raise HoldwaterError(
            f"no heading {wanted!r} in the first rows; give it as it stands, or its cell such as B2"
        )
    if len(corners) > 1:
        places = ", ".join(place(row, column) for row, column in corners)
        raise HoldwaterError(f"the heading {wanted!r} stands in {places}; name one of these cells")
    return corners[0]


def _quiet(sheet: LabSheet, row: int, column: int) -> object:
    """A cell while a heading is looked for: a formula without a result is no heading."""
    try:
        return sheet.cell(row, column)
    except HoldwaterError:
        return None


def _without_repeats(sheet: LabSheet, found: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """The cells but those that are only the rest of a merged one further up or left."""
    kept: list[tuple[int, int]] = []
    for row, column in found:
        above = any(c == column and r < row < sheet.under(r, c) for r, c in kept)
        beside = (row, column - 1) in found
        if not above and not beside:
            kept.append((row, column))
    return kept


def _only(sheet: LabSheet, head: int, only: tuple[str, str] | None) -> tuple[int, str] | None:
    if only is None:
        return None
    for column in range(1, sheet.width + 1):
        if _word(sheet.cell(head, column)) == _word(only[0]):
            return column, only[1]
    raise HoldwaterError(f"row {head} has no heading {only[0]!r} (of --only)")


def same_word(cell: object, word: str) -> bool:
    """Whether a cell holds a word, whatever its spaces and capitals."""
    return _word(cell) == _word(word)


def _word(cell: object) -> str:
    return " ".join(str("" if cell is None else cell).split()).casefold()


def _some(lines: Sequence[str]) -> Iterator[str]:
    yield from lines[:NAMED]
    if len(lines) > NAMED:
        yield f"and {len(lines) - NAMED} more"


def preview_lines(found: Match) -> Iterator[str]:
    """What would be written, to look at first."""
    with_day = {row: day for row, day in found.rows.items() if day is not None}
    without = [row for row, day in found.rows.items() if day is None]
    yield f"Days stand under {found.head}: {len(with_day)} rows are days of the record."
    for row, day in list(with_day.items())[:NAMED]:
        yield f"  row {row}: {day.day:%a %d %b %Y}, dph {day.dph}"
    if len(with_day) > NAMED:
        yield f"  and {len(with_day) - NAMED} more, to row {max(with_day)}"
    yield from _counted("rows of days that the record does not have", without)
    yield from _counted("rows without a date, left as they are", found.blank)
    yield from _counted("rows of something else, left as they are", found.others)
    missing = [f"{day.day:%d %b} (dph {day.dph})" for day in found.unattached]
    if missing:
        yield f"Days of the record without a row: {', '.join(_some(missing))}."
    yield f"Columns: {', '.join(found.columns.headings)}."


def _counted(words: str, rows: Sequence[int]) -> Iterator[str]:
    if rows:
        yield f"{len(rows)} {words}: {', '.join(_some([str(row) for row in rows]))}."
