"""The tables of a run as one workbook, with sums that are formulas, so that a reader sees how."""

from collections.abc import Mapping, Sequence
from pathlib import Path

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

Rows = Sequence[Mapping[str, object]]
SUMS = ("delivered_l", "turnovers", "no_flow_outside_holds_min", "no_flow_in_holds_min",
        "supply_lost_min", "mains_lost_min", "texts_in_quiet_hours")  # fmt: skip
"""Columns of the day table whose sum over the run means something."""
FORMULAS = (("_min_", "MIN"), ("_max_", "MAX"), ("_mean_", "AVERAGE"), ("_degree_days_", "SUM"))


def write_workbook(path: Path, days: Rows, events: Rows, answers: Rows, notes: Rows) -> None:
    """Key figures (formulas over the days), days, events, answers, notes; never over a file."""
    book = Workbook()
    key = book.active
    assert isinstance(key, Worksheet)
    key.title = "key figures"
    names = _table(book.create_sheet("days"), days)
    _table(book.create_sheet("events"), events)
    _table(book.create_sheet("answers"), answers)
    _table(book.create_sheet("notes"), notes)
    _key_figures(key, names, len(days) + 1)
    with path.open("xb") as file:
        book.save(file)


def _table(sheet: Worksheet, rows: Rows) -> list[str]:
    names = list(dict.fromkeys(name for row in rows for name in row))
    for column, name in enumerate(names, 1):
        cell = sheet.cell(1, column, name)
        cell.font, cell.alignment = Font(bold=True), Alignment(wrap_text=True, vertical="top")
        sheet.column_dimensions[get_column_letter(column)].width = max(10, min(len(name), 24))
    for number, row in enumerate(rows, 2):
        for column, name in enumerate(names, 1):
            value = row.get(name)
            item = sheet.cell(number, column)
            item.value = value if isinstance(value, int | float | str | None) else str(value)
            if isinstance(value, str):
                item.data_type = "s"  # words are never a formula
    sheet.freeze_panes = "D2"
    return names


def _key_figures(sheet: Worksheet, names: Sequence[str], last: int) -> None:
    sheet.append(["Over the whole run", "", "how"])
    for column in (1, 2, 3):
        sheet.cell(1, column).font = Font(bold=True)
    sheet.append(["days", f"=COUNTA(days!B2:B{last})", "number"])
    for column, name in enumerate(names, 1):
        how = "SUM" if name in SUMS else next((f for part, f in FORMULAS if part in name), None)
        if how is not None:
            letter = get_column_letter(column)
            words = "mean of the days, each weighing the same" if how == "AVERAGE" else how.lower()
            sheet.append([name, f"={how}(days!{letter}2:{letter}{last})", words])
    sheet.column_dimensions["A"].width, sheet.column_dimensions["C"].width = 34, 40
