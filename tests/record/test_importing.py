"""The lab's own sheets as notes: awkward on purpose, imported twice, refused where unclear."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from openpyxl import Workbook

from monitor.archive import Note
from monitor.cli import commands
from monitor.errors import HoldwaterError
from monitor.inputs import Moment
from monitor.record.dates import Span
from monitor.record.importing import Plan, plan, preview_lines
from monitor.record.labsheet import open_sheet
from monitor.record.notes import standing
from monitor.record.sheet_map import read_map

ZONE = ZoneInfo("America/Chicago")
RUN = Span(date(2026, 10, 3), date(2026, 11, 5))

MAP = """
date = "Date"
time = "Time"
[[note]]
kind = "dead found"
columns = { count = "C2" }
[[note]]
kind = "feeding"
columns = { amount = "D2" }
fixed = { food = "rotifers", unit = "million" }
"""
ROWS: list[list[Any]] = [
    ["Date", "Time", "LT1", None, "LT2", None],
    [None, None, "Dead", "Rotifers", "Dead", "Rotifers"],
    [date(2026, 10, 29), time(12, 30), "~33", 7.2, 4, 1],
    ["30.10.2026", "7:15", 30, None, None, None],
    [None, None, None, None, None, None],
    ["Sat, Oct 31, 2026", "5:45 pm", "not countable", "0,5", 2, None],
    [datetime(2026, 11, 1), "01:30", 25.0, 7, 1, 2],
    ["2026-11-03", "12.30", None, None, 9, 9],
    ["04/11/2026", "12:30", 18, None, 3, None],
]


def book(folder: Path, rows: list[list[Any]] = ROWS) -> Path:
    """A workbook with merged headings of two tanks side by side."""
    workbook = Workbook()
    sheet = workbook.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    for area in ("C1:D1", "E1:F1", "A1:A2", "B1:B2"):
        sheet.merge_cells(area)
    path = folder / "feeds.xlsx"
    workbook.save(path)
    return path


def planned(
    folder: Path, sheet: Path, text: str = MAP, known: Sequence[Note] = (), order: str = "day first"
) -> Plan:
    """What an import of the sheet would do."""
    mapping = folder / "map.toml"
    mapping.write_text(f'order = "{order}"\n{text}', encoding="utf-8")
    how = read_map(mapping)
    return plan(open_sheet(sheet, how.sheet), how, RUN, ZONE, standing(known))


def test_an_awkward_sheet(tmp_path: Path) -> None:
    """Merged headings, five ways of a date, text and numbers, a blank row, two tanks, 25 hours."""
    found = planned(tmp_path, book(tmp_path))
    assert [
        ("C3", "2026-10-29 12:30", {"count": "~33"}),
        ("D3", "2026-10-29 12:30", {"food": "rotifers", "unit": "million", "amount": "7.2"}),
        ("C4", "2026-10-30 07:15", {"count": "30"}),
        ("C6", "2026-10-31 17:45", {"count": "not countable"}),
        ("D6", "2026-10-31 17:45", {"food": "rotifers", "unit": "million", "amount": "0,5"}),
        ("C7", "2026-11-01 01:30", {"count": "25"}),
        ("D7", "2026-11-01 01:30", {"food": "rotifers", "unit": "million", "amount": "7"}),
        ("C9", "2026-11-04 12:30", {"count": "18"}),
    ] == [(note.place, note.at, note.said) for note in found.notes]
    assert ([5], [date(2026, 11, 2)]) == (found.blank, found.missing)
    (warning,) = found.warnings
    assert "row 7: 01 Nov 01:30 comes twice" in warning
    assert "8 notes would go in." == next(preview_lines(found))


def test_an_ambiguous_date_is_refused_with_its_cell(tmp_path: Path) -> None:
    """All unclear cells are named at once; without an order 04/11/2026 may be two days."""
    rows = [list(row) for row in ROWS]
    rows[3][2] = "a few"
    rows[5][1] = "noon"
    rows[6][0] = "2027-11-01"
    with pytest.raises(HoldwaterError) as told:
        planned(tmp_path, book(tmp_path, rows), order="unknown")
    lines = str(told.value).splitlines()
    assert "nothing was imported; unclear cells:" == lines[0]
    assert ["C4:", "B6", "A7", "A9"] == [line.split()[0] for line in lines[1:]]
    assert "may be day/month or month/day" in lines[4]


def notes_of(found: Plan) -> list[Note]:
    """The notes as they would be kept."""
    at = [datetime.fromisoformat(note.at).replace(tzinfo=ZONE).timestamp() for note in found.notes]
    return [
        Note(n, Moment(1, 0.0, 0.0), when, "OH-07", item.kind, "x", "import", item.said, origin="f")
        for n, (when, item) in enumerate(zip(at, found.notes, strict=True), 1)
    ]


def test_a_sheet_that_is_imported_twice_brings_nothing_new(tmp_path: Path) -> None:
    """Every note is seen to be there; a changed count becomes an amendment, a new row a note."""
    known = notes_of(planned(tmp_path, book(tmp_path)))
    again = planned(tmp_path, book(tmp_path), known=known)
    assert ([], 8) == (again.notes, len(again.there))
    rows: list[list[Any]] = [
        *(list(row) for row in ROWS),
        ["2026-11-05", "09:00", 8, None, None, None],
    ]
    rows[2][2] = "35"
    changed = planned(tmp_path, book(tmp_path, rows), known=known)
    assert [("C3", 1), ("C10", 0)] == [(note.place, note.amends) for note in changed.notes]


def test_a_note_by_hand_is_never_amended_by_a_sheet(tmp_path: Path) -> None:
    """Only what came from a sheet is taken for an earlier state of it."""
    (first, *_) = notes_of(planned(tmp_path, book(tmp_path)))
    by_hand = replace(first, said={"count": "40"}, origin="")
    found = planned(tmp_path, book(tmp_path), known=[by_hand])
    assert {0} == {note.amends for note in found.notes}


def test_tanks_one_below_the_other(tmp_path: Path) -> None:
    """Only the rows of one tank are taken, out of a CSV file with semicolons."""
    sheet = tmp_path / "counts.csv"
    sheet.write_text("Date;Tank;Dead\n2026-10-29;LT1;3\n2026-10-29;LT2;9\n", encoding="utf-8")
    text = 'date = "Date"\nonly_column = "Tank"\nonly_word = "lt1"\n[[note]]\n'
    found = planned(tmp_path, sheet, f'{text}kind = "dead found"\ncolumns = {{ count = "Dead" }}')
    assert [("C2", "2026-10-29 12:00")] == [(note.place, note.at) for note in found.notes]
    assert [3] == found.others


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('date = "Date"', "note: Field required"),
        ('date = "Date"\nnote = [{ kind = "dead", columns = { n = "A" } }]', "no kind of note"),
        ('date = "D"\nnote = [{ kind = "note", columns = {} }]', "columns is empty"),
        ('date = "D"\nnote = [{ kind = "dead found", columns = { n = "A" } }]', "no field 'n'"),
        (
            'date = "D"\nnote = [{ kind = "feeding", columns = { amount = "A" } }]',
            "food is missing",
        ),
        ('date = "D"\nfoo = 1\nnote = []', "foo: Extra inputs"),
        ("date = ", "Invalid value"),
    ],
)
def test_a_wrong_map_says_what_is_wrong(tmp_path: Path, text: str, told: str) -> None:
    """File, place and remedy stand in the refusal."""
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(HoldwaterError, match=told):
        read_map(path)


def test_a_map_is_proposed(tmp_path: Path) -> None:
    """Without a map the command prints one with the headings of the sheet, which can be read."""
    told = CliRunner().invoke(commands, ["import", str(book(tmp_path))])
    assert (0, True) == (told.exit_code, "#   LT1" in told.output)
    path = tmp_path / "map.toml"
    path.write_text(told.output, encoding="utf-8")
    assert "Date" == read_map(path).date
