"""A sheet of the lab, CSV or a workbook, read cell by cell and copied with columns added.

The file itself is never written to. A workbook is copied by openpyxl, which keeps values, formulas,
formats, merged cells and rules; what it cannot carry over is named by `lost_parts`.
"""

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from openpyxl import load_workbook
from openpyxl.cell.cell import MergedCell
from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.workbook.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from monitor.errors import HoldwaterError
from monitor.record.harmless import harmless

LOOKS = ("font", "fill", "border", "alignment")
"""What a new heading takes from the one beside it."""
DELIMITERS = ",;\t|"
ENCODINGS = ("utf-8-sig", "cp1252")
"""Tried in turn; any bytes can be read by the last, which many spreadsheets write."""

Value = float | int | str | None


@dataclass(frozen=True, slots=True)
class Columns:
    """What is added: headings, and under each of some rows (counted from 1) its values.

    head: the row of the headings. comma: whether numbers in CSV have a decimal comma.
    """

    head: int
    headings: Sequence[str]
    rows: Mapping[int, Sequence[Value]]
    comma: bool = False


class LabSheet(Protocol):
    """One sheet: rows and columns count from 1."""

    @property
    def height(self) -> int: ...
    @property
    def width(self) -> int: ...
    def cell(self, row: int, column: int) -> object:
        """What stands there, blank cells as None; a merged cell has the value of its corner."""

    def under(self, row: int, column: int) -> int:
        """The first row under a heading: one that is merged downwards reaches further."""

    def copy_to(self, path: Path, added: Columns) -> list[str]:
        """Write a copy with the columns; what could not be carried over."""


def column_number(text: str) -> int | None:
    """The number of a column named by its letters, up to three; None for other words."""
    return column_index_from_string(text) if text.isalpha() and len(text) <= 3 else None


def place(row: int, column: int) -> str:
    """A cell as spreadsheets name it."""
    return f"{get_column_letter(column)}{row}"


def open_sheet(path: Path, name: str) -> LabSheet:
    """A CSV file or one sheet of a workbook; name: of that sheet, "" where there is only one."""
    kind = path.suffix.lower()
    if kind in (".csv", ".tsv", ".txt"):
        return _read_csv(path)
    if kind == ".xlsx":
        return _read_book(path, name)
    raise HoldwaterError(f"{path}: neither .csv nor .xlsx; save the sheet as one of these")


@dataclass(frozen=True, slots=True)
class CsvSheet:
    """The rows of a CSV file, and how it is written."""

    rows: list[list[str]]
    delimiter: str
    encoding: str
    line_end: str

    @property
    def height(self) -> int:
        return len(self.rows)

    @property
    def width(self) -> int:
        return max(map(len, self.rows), default=0)

    def cell(self, row: int, column: int) -> object:
        cells = self.rows[row - 1]
        return (cells[column - 1].strip() or None) if column <= len(cells) else None

    def under(self, row: int, column: int) -> int:
        return row + 1

    def copy_to(self, path: Path, added: Columns) -> list[str]:
        out = io.StringIO()
        writer = csv.writer(out, delimiter=self.delimiter, lineterminator=self.line_end)
        for number, cells in enumerate(self.rows, 1):
            new: list[str] = []
            if number == added.head:
                new = list(added.headings)
            elif number in added.rows:
                new = [_as_text(value, added.comma) for value in added.rows[number]]
            writer.writerow([*cells, *[""] * (self.width - len(cells)), *new] if new else cells)
        try:
            data = out.getvalue().encode(self.encoding)
        except UnicodeEncodeError as error:
            raise HoldwaterError(
                f"{path}: {error.object[error.start : error.end]!r} is not in the letters of the "
                "sheet; save it as UTF-8 first"
            ) from error
        with path.open("xb") as file:
            file.write(data)
        return []


def _as_text(value: Value, comma: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return str(harmless(value))
    return str(value).replace(".", ",") if comma else str(value)


def _read_csv(path: Path) -> CsvSheet:
    data = _bytes_of(path)
    if b"\0" in data:
        raise HoldwaterError(f"{path}: is no text; save the sheet as CSV (UTF-8)")
    encoding = "utf-8"
    for candidate in ENCODINGS:
        encoding = candidate
        try:
            text = data.decode(candidate)
            break
        except UnicodeDecodeError as error:
            reason = error
    else:
        raise HoldwaterError(f"{path}: {reason}; save the sheet as UTF-8")
    if encoding == "utf-8-sig" and not data.startswith(b"\xef\xbb\xbf"):
        encoding = "utf-8"
    delimiter = _delimiter(text)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise HoldwaterError(f"{path}: {error}; save the sheet as CSV anew") from error
    return CsvSheet(rows, delimiter, encoding, "\r\n" if "\r\n" in text else "\n")


def _delimiter(text: str) -> str:
    """What divides the most lines into the same number of cells, more than one."""

    def agreement(mark: str) -> tuple[int, int]:
        counts = [len(row) for row in csv.reader(text.splitlines()[:100], delimiter=mark)]
        wide = [count for count in counts if count > 1]
        return (max(map(wide.count, set(wide)), default=0), max(wide, default=0))

    return max(DELIMITERS, key=agreement)


@dataclass(frozen=True, slots=True)
class BookSheet:
    """One sheet of a workbook. shown: the same with the results of formulas, as last saved."""

    path: Path
    book: Workbook
    sheet: Worksheet
    shown: Worksheet
    corners: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)

    @property
    def height(self) -> int:
        return self.sheet.max_row

    @property
    def width(self) -> int:
        return self.sheet.max_column

    def cell(self, row: int, column: int) -> object:
        row, column = self.corners.get((row, column), (row, column))
        value: object = self.shown.cell(row, column).value
        if isinstance(value, str) and not value.strip():
            value = None
        formula = self.sheet.cell(row, column)
        if value is None and formula.data_type == "f":
            raise HoldwaterError(
                f"{self.path}: {place(row, column)} is a formula whose result is not stored; "
                "open the workbook in a spreadsheet and save it once"
            )
        return value

    def under(self, row: int, column: int) -> int:
        for area in self.sheet.merged_cells.ranges:
            if (area.min_row, area.min_col) == (row, column):
                return int(area.max_row) + 1
        return row + 1

    def copy_to(self, path: Path, added: Columns) -> list[str]:
        first = self.width + 1
        model = self.sheet.cell(added.head, self._model_column(added.head))
        for number, heading in enumerate(added.headings, first):
            self._put(added.head, number, heading)
            cell = self.sheet.cell(added.head, number)
            for look in LOOKS:
                setattr(cell, look, copy(getattr(model, look)))
            self.sheet.column_dimensions[get_column_letter(number)].width = 2 + max(
                8, min(len(heading), 30)
            )
        for row, values in added.rows.items():
            for number, value in enumerate(values, first):
                self._put(row, number, value)
        with path.open("xb") as file:
            self.book.save(file)
        return lost_parts(self.path, path)

    def _model_column(self, head: int) -> int:
        """The last column with a heading of its own: new ones look like it."""
        for column in range(self.width, 1, -1):
            cell = self.sheet.cell(head, column)
            if not isinstance(cell, MergedCell) and cell.value is not None:
                return column
        return 1

    def _put(self, row: int, column: int, value: Value) -> None:
        cell = self.sheet.cell(row, column)
        cell.value = value
        if isinstance(value, str):
            cell.data_type = "s"  # never a formula


def _read_book(path: Path, name: str) -> BookSheet:
    data = _bytes_of(path)
    try:
        book = load_workbook(io.BytesIO(data), rich_text=True)
        shown = load_workbook(io.BytesIO(data), data_only=True)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
        raise HoldwaterError(f"{path}: is no workbook that can be read ({error})") from error
    names = [sheet.title for sheet in book.worksheets]
    if name and name not in names:
        raise HoldwaterError(f"{path}: has no sheet {name!r}; it has {', '.join(names)}")
    if not name and len(names) > 1:
        raise HoldwaterError(f"{path}: has sheets {', '.join(names)}; name one with --sheet")
    sheet = book[name or names[0]]
    corners = {
        (row, column): (int(area.min_row), int(area.min_col))
        for area in sheet.merged_cells.ranges
        for row in range(area.min_row, area.max_row + 1)
        for column in range(area.min_col, area.max_col + 1)
    }
    return BookSheet(path, book, sheet, shown[sheet.title], corners)


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise HoldwaterError(f"{path}: cannot be read ({error.strerror})") from error


PLAIN_PARTS = ("calcChain", "sharedStrings", "printerSettings", "docProps", "_rels", "theme")
"""Parts of a workbook file that are written anew, or say nothing of the lab's work."""


def lost_parts(before: Path, after: Path) -> list[str]:
    """Parts of a workbook that the copy has fewer of, such as drawings or macros."""

    def kinds(path: Path) -> dict[str, int]:
        found: dict[str, int] = {}
        with zipfile.ZipFile(path) as archive:
            for name in archive.namelist():
                if name.startswith("xl/") and not any(part in name for part in PLAIN_PARTS):
                    kind = name.split("/")[1].split(".")[0]
                    found[kind] = found.get(kind, 0) + 1
        return found

    kept = kinds(after)
    return [
        f"{kind}: {count} in the sheet, {kept.get(kind, 0)} in the copy"
        for kind, count in sorted(kinds(before).items())
        if kept.get(kind, 0) < count
    ]
