"""The day table beside the lab's own rows, in sheets that are awkward on purpose."""

import csv
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import Workbook, load_workbook
from openpyxl.formatting.rule import Rule
from openpyxl.styles import Font, PatternFill
from openpyxl.worksheet.worksheet import Worksheet

from monitor.cli import commands
from monitor.errors import HoldwaterError
from monitor.record.attach import NO_DAY, Asked, Day, match, preview_lines
from monitor.record.labsheet import Value, lost_parts, open_sheet
from monitor.record.local_units import in_units
from record.test_table import kept, three_days

LONG_DAY = date(2026, 11, 1)


def day(number: int) -> Day:
    """A day of October by its number, or of November after 31."""
    at = date(2026, 9, 30) + timedelta(days=number)
    cells: dict[str, Value] = {
        "hours_h": 25.0 if at == LONG_DAY else 24.0,
        "turnovers": 11.5,
        "TW1_mean_C": 26.5,
        "events": "=41 urgent",
    }
    return Day(at, (at - date(2026, 10, 6)).days, cells)


DAYS = [day(number) for number in range(16, 36)]


def attached(path: Path, asked: Asked, sheet: str = "") -> tuple[Path, list[str]]:
    """The copy with the days, and what the preview says."""
    own = open_sheet(path, sheet)
    found = match(own, DAYS, asked)
    target = path.with_stem("copy")
    own.copy_to(target, found.columns)
    return target, list(preview_lines(found))


def rows_of(path: Path, delimiter: str = ",") -> list[list[str]]:
    """The cells of a CSV file."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file, delimiter=delimiter))


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    """A CSV sheet of the lab."""
    path = folder / "counts.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_rows_get_the_figures_of_their_day(tmp_path: Path) -> None:
    """Two rows of one day get the same; blank rows and rows of other days are left."""
    text = "Run OH-07\nDate,count\n2026-10-17,~90\n\n17.10.2026,3\nOct 18,160\n1 Nov,25\n"
    text += "2027-01-01,0\n"
    path = written(tmp_path, text)
    target, said = attached(path, Asked("date"))
    rows = rows_of(target)
    assert ["Run OH-07"] == rows[0]
    assert ["Date", "count", "hours_h", "turnovers", "TW1_mean_C", "events"] == rows[1]
    same = ["24.0", "11.5", "26.5", "'=41 urgent"]
    assert ["2026-10-17", "~90", *same] == rows[2]
    assert [] == rows[3]
    assert ["17.10.2026", "3", *same] == rows[4]
    assert ["Oct 18", "160", *same] == rows[5]
    assert "25.0" == rows[6][2]
    assert ["2027-01-01", "0", NO_DAY, "", "", ""] == rows[7]
    assert text == path.read_text(encoding="utf-8")
    assert "1 rows of days that the record does not have: 8." in said
    assert "1 rows without a date, left as they are: 4." in said
    assert any(
        line.startswith("Days of the record without a row: 16 Oct (dph 10)") for line in said
    )


def test_semicolons_decimal_commas_and_an_old_alphabet(tmp_path: Path) -> None:
    """The copy keeps delimiter, line ends, letters and commas of the sheet."""
    path = written(tmp_path, 'Größe;Tag\r\n"1,5";18.10.2026\r\n', "cp1252")
    asked = Asked("Tag", wanted=("TW1_mean_C",), comma=True)
    target, _ = attached(path, asked)
    assert "Größe;Tag;TW1_mean_C\r\n1,5;18.10.2026;26,5\r\n".encode("cp1252") == target.read_bytes()


def test_unclear_rows_are_named_and_nothing_is_written(tmp_path: Path) -> None:
    """Every unclear row stands in the refusal, with its cell."""
    path = written(tmp_path, "date\n4/10/2026\n18/10/2026\nsoon\n")
    with pytest.raises(HoldwaterError) as refused:
        attached(path, Asked("date"))
    text = str(refused.value)
    assert "A2 '4/10/2026' may be day/month or month/day" in text
    assert "A4 'soon'" in text
    assert "A3" not in text
    assert [path] == list(tmp_path.iterdir())


def test_two_tanks_in_one_sheet(tmp_path: Path) -> None:
    """--only leaves the rows of the other tank alone, unreadable dates included."""
    path = written(tmp_path, "tank,date\nLT1,17/10/2026\nLT2,??\nlt1 ,18/10/2026\n")
    target, said = attached(path, Asked("date", only=("Tank", "LT1"), wanted=("turnovers",)))
    assert ["11.5", "turnovers", "11.5"] == [rows_of(target)[row][-1] for row in (1, 0, 3)]
    assert ["LT2", "??"] == rows_of(target)[2]
    assert "1 rows of something else, left as they are: 3." in said


def test_two_tanks_side_by_side(tmp_path: Path) -> None:
    """A heading that stands twice is refused with both cells; a cell names the one meant."""
    path = written(tmp_path, "date,LT1,date,LT2\n17/10/2026,5,18/10/2026,6\n")
    with pytest.raises(HoldwaterError, match="A1, C1"):
        attached(path, Asked("date"))
    target, said = attached(path, Asked("C1", wanted=("turnovers",)))
    assert "11.5" == rows_of(target)[1][-1]
    assert "  row 2: Sun 18 Oct 2026, dph 12" in said


def test_by_days_post_hatch(tmp_path: Path) -> None:
    """The same by dph, where a sheet has no dates."""
    target, said = attached(written(tmp_path, "dph\n12\n99\n"), Asked("dph", by_dph=True))
    assert ["12", "24.0", "11.5", "26.5", "'=41 urgent"] == rows_of(target)[1]
    assert "  row 2: Sun 18 Oct 2026, dph 12" in said


@pytest.mark.parametrize(
    ("text", "asked", "why"),
    [
        ("day\n1\n", Asked("date"), "no heading 'date'"),
        ("date\n2020-01-01\n", Asked("date"), "no row under A1 is a day of the record"),
        (
            "date\n2026-10-18\n",
            Asked("date", wanted=("oxygen",)),
            "no column oxygen; it has hours_h",
        ),
        ("date,Turnovers\n2026-10-18,1\n", Asked("date", wanted=("turnovers",)), "already"),
        ("date\n2026-10-18\n", Asked("date", only=("tank", "LT1")), "no heading 'tank'"),
        ('date\n"2026-10-18\n', Asked("date"), "counts.csv: unexpected end of data"),
        ("date\n2026-10-18\0\n", Asked("date"), "is no text"),
    ],
)
def test_what_cannot_be_attached_is_refused(
    tmp_path: Path, text: str, asked: Asked, why: str
) -> None:
    """Each with its reason, and no file is left behind."""
    path = written(tmp_path, text)
    with pytest.raises(HoldwaterError, match=why):
        attached(path, asked)
    assert [path] == list(tmp_path.iterdir())


def awkward(sheet: Worksheet) -> None:
    """Two rows of headings, merged; dates merged over two feedings, as text, and by formula."""
    sheet.merge_cells("A1:D1")
    sheet["A1"] = "Larvae LT1"
    sheet.merge_cells("A2:A3")
    sheet["A2"] = "Date"
    sheet.merge_cells("B2:C2")
    sheet["B2"] = "Fed"
    sheet["B3"], sheet["C3"], sheet["D3"] = "rotifers", "sum", "note"
    sheet["D3"].font = Font(bold=True, italic=True)
    sheet["D3"].fill = PatternFill("solid", fgColor="FFDDEEDD")
    sheet["A4"] = datetime(2026, 10, 17)
    sheet["A4"].number_format = "dd/mm/yy"
    sheet.merge_cells("A4:A5")
    sheet["B4"], sheet["B5"] = 10, 8
    sheet["C5"] = "=SUM(B4:B5)"
    sheet["A7"] = "Sun 18 Oct 2026"
    sheet["A8"] = date(2026, 11, 1)
    few = Rule(type="cellIs", operator="lessThan", formula=("9",))
    sheet.conditional_formatting.add("B4:B9", few)


def book_of(folder: Path, fill: Callable[[Worksheet], None], sheets: int = 1) -> Path:
    """A workbook of the lab."""
    book = Workbook()
    assert book.active is not None
    fill(book.active)
    book.active.title = "LT1"
    for number in range(1, sheets):
        book.create_sheet(f"other {number}")
    path = folder / "counts.xlsx"
    book.save(path)
    return path


def test_a_workbook_keeps_formulas_formats_and_merges(tmp_path: Path) -> None:
    """Only columns are added; merged cells are read by their corner."""
    path = book_of(tmp_path, awkward)
    before = path.read_bytes()
    target, said = attached(path, Asked("Date"))
    assert before == path.read_bytes()
    sheet = load_workbook(target)["LT1"]
    headings = [sheet.cell(2, column).value for column in range(5, 9)]
    assert ["hours_h", "turnovers", "TW1_mean_C", "events"] == headings
    for row in (4, 5, 7):
        assert [24, 11.5, 26.5] == [sheet.cell(row, column).value for column in range(5, 8)]
    assert (25, "=41 urgent", "s") == (sheet["E8"].value, sheet["H8"].value, sheet["H8"].data_type)
    assert None is sheet["E6"].value
    assert ("=SUM(B4:B5)", "f") == (sheet["C5"].value, sheet["C5"].data_type)
    assert "dd/mm/yy" == sheet["A4"].number_format
    assert {"A1:D1", "A2:A3", "B2:C2", "A4:A5"} == {str(area) for area in sheet.merged_cells.ranges}
    assert sheet["D3"].font.i and "FFDDEEDD" == sheet["D3"].fill.fgColor.rgb
    assert 1 == len(sheet.conditional_formatting)
    assert [] == lost_parts(path, target)
    assert "Days stand under A2: 4 rows are days of the record." in said


def test_which_sheet_of_a_workbook(tmp_path: Path) -> None:
    """With several sheets one must be named, by a name it has."""
    path = book_of(tmp_path, awkward, sheets=2)
    with pytest.raises(HoldwaterError, match="LT1, other 1; name one with --sheet"):
        open_sheet(path, "")
    with pytest.raises(HoldwaterError, match="has no sheet 'LT9'"):
        open_sheet(path, "LT9")
    target, _ = attached(path, Asked("Date"), "LT1")
    assert ["LT1", "other 1"] == load_workbook(target).sheetnames


def test_a_formula_without_a_result_is_refused(tmp_path: Path) -> None:
    """A date that only the spreadsheet can work out is asked for, not passed over as blank."""

    def fill(sheet: Worksheet) -> None:
        sheet["A1"], sheet["A2"], sheet["A3"] = "date", date(2026, 10, 17), "=A2+1"

    with pytest.raises(HoldwaterError, match="A3 is a formula whose result is not stored"):
        attached(book_of(tmp_path, fill), Asked("date"))


@pytest.mark.parametrize(("name", "why"), [("a.xlsx", "no workbook"), ("a.ods", "neither .csv")])
def test_other_files_are_refused(tmp_path: Path, name: str, why: str) -> None:
    """A file that is no workbook, or of another kind."""
    path = tmp_path / name
    path.write_bytes(b"PK\x03\x04 nothing")
    with pytest.raises(HoldwaterError, match=why):
        open_sheet(path, "")


def test_local_units() -> None:
    """26.5 C is 79.7 F; 10 C d are 18 F d; 3.785411784 l are a US gallon; words stay."""
    cells = {"TW1_mean_C": 26.5, "TW1_degree_days_C_d": 10.0, "delivered_l": 3.785411784}
    expected = {"TW1_mean_F": 79.7, "TW1_degree_days_F_d": 18.0, "delivered_gal_us": 1.0}
    assert expected == in_units(cells, fahrenheit=True, gallons=True)
    assert cells == in_units(cells, fahrenheit=False, gallons=False)
    words = in_units({"delivered_l": "not measured"}, fahrenheit=True, gallons=True)
    assert {"delivered_gal_us": "not measured"} == words


def test_the_command(tmp_path: Path) -> None:
    """Preview writes nothing; then the copy is made once, and never over another file."""
    state = tmp_path / "state"
    state.mkdir()
    kept(state, "2026-10-05T22:00", three_days)
    path = written(tmp_path, "date,count\n2026-10-06,160\n")
    words = ["attach", str(path), "--date", "date", "--state", str(state), "--fahrenheit"]
    shown = CliRunner().invoke(commands, [*words, "--preview"])
    assert (0, "Nothing was written.") == (shown.exit_code, shown.output.splitlines()[-1])
    assert {state, path} == set(tmp_path.iterdir())
    words += ["--columns", "dph,TW1_max_F,turnovers"]
    assert 0 == CliRunner().invoke(commands, words).exit_code
    rows = rows_of(tmp_path / "counts-with-days.csv")
    assert ["2026-10-06", "160", "0", "79.7", "not measured"] == rows[1]
    again = CliRunner().invoke(commands, words)
    assert 2 == again.exit_code
    assert "is there already" in again.output


def test_the_command_needs_one_column(tmp_path: Path) -> None:
    """Date or days post hatch, not neither nor both; --only with both its halves."""
    for words in ([], ["--date", "a", "--dph", "b"], ["--date", "a", "--only", "tank"]):
        result = CliRunner().invoke(commands, ["attach", "x.csv", *words, "--state", str(tmp_path)])
        assert (2, words) == (result.exit_code, words)
