"""The exported package: valid by others' rules, complete, and without numbers to call."""

import csv
import hashlib
import json
import re
import shutil
import subprocess
import warnings
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from monitor.archive import Note
from monitor.cli import commands
from monitor.effects import Flag, JournalRow
from monitor.inputs import Reading
from record.test_table import Pen, files_of, kept, local

HOSTILE = '=HYPERLINK("x"); <script>alert(1)</script> call 9405550141, "quoted"\nline 2'


def notes_and_a_bad_reading(pen: Pen) -> None:
    """Two hours of a temperature, an hour without a watch, an event, a note full of snares."""
    pen.set_up(pen.begin, 1, files_of())
    pen.minutes(local("2026-10-18T01:00"), local("2026-10-18T02:00"))
    pen.minutes(local("2026-10-18T03:00"), local("2026-10-18T04:00"), 27.0)
    bad = pen.at(local("2026-10-18T04:00"))
    flags = [Flag("TW1", bad.elapsed, 4, "gross range"), Flag("TW1", bad.elapsed, 3, "spike")]
    missing = pen.at(local("2026-10-18T04:01"))
    readings = [Reading("TW1", bad, 85.0), Reading("TW1", missing, None, "no answer")]
    pen.writer.readings(readings, {"TW1": 1}, "OH-07")
    at = pen.at(local("2026-10-18T01:30"))
    rows = [
        JournalRow(at, "event", "41", "open", "urgent", "mains lost/B1"),
        JournalRow(at, "answer", "41", "note", cause="text", who="tavrin", text=HOSTILE),
    ]
    pen.writer.commit(journal=rows, flags=flags)
    dead, late = local("2026-10-18T02:30"), pen.at(local("2026-10-18T09:00"))
    first = Note(1, late, dead, "OH-07", "dead found", "tavrin", "command", {"count": "~90"})
    pen.writer.notes([first])
    again = replace(first, number=2, said={"count": "~160"}, amends=1, reason="counted anew")
    pen.writer.notes([again])


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A state folder with that record."""
    folder = tmp_path / "state"
    folder.mkdir()
    return kept(folder, "2026-10-18T00:00", notes_and_a_bad_reading)


def exported(state: Path, *words: str) -> Path:
    """The folder that the command has filled."""
    target = state.parent / "package"
    result = CliRunner().invoke(commands, ["export", str(target), "--state", str(state), *words])
    assert 0 == result.exit_code, result.output
    return target


def rows_of(path: Path) -> list[dict[str, str]]:
    """The rows of a table of the package."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.long
@pytest.mark.parametrize("readings", ["all", "minutes", "none"])
def test_frictionless_finds_it_valid(state: Path, readings: str) -> None:
    """Description, types, keys, sizes and checksums hold in the eyes of the reference library."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own imports
        from frictionless import Package

    package = Package(str(exported(state, "--readings", readings) / "datapackage.json"))
    report = package.validate()
    assert ([], []) == (report.errors, report.flatten(["name", "fieldName", "message"]))
    assert {"days", "events", "answers", "notes", "limits"} <= set(package.resource_names)
    assert (readings != "none") == any("tw1" in name for name in package.resource_names)


def test_frictionless_would_find_a_changed_file(state: Path) -> None:
    """A figure changed afterwards is seen by its checksum."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from frictionless import Package

    folder = exported(state)
    path = folder / "readings-tw1.csv"
    path.write_text(path.read_text("utf-8").replace("26.5", "26.4"), encoding="utf-8")
    report = Package(str(folder / "datapackage.json")).validate()
    assert [["hash-count"]] == [
        [e.type for e in task.errors] for task in report.tasks if task.errors
    ]


def test_checksums_and_sizes(state: Path) -> None:
    """Those of the description are those of the files, the workbook's too."""
    folder = exported(state)
    package = json.loads((folder / "datapackage.json").read_text("utf-8"))
    described = [*package["resources"], package["workbook"]]
    for item in described:
        data = (folder / item["path"]).read_bytes()
        assert (item["bytes"], item["hash"]) == (
            len(data),
            f"sha256:{hashlib.sha256(data).hexdigest()}",
        )
    files = {path.name for path in folder.iterdir()} - {"datapackage.json"}
    assert files == {item["path"] for item in described}


def test_readings_with_flags(state: Path) -> None:
    """Every reading is there; the worst flag counts, a missing value is 9, and CF words say so."""
    folder = exported(state)
    rows = rows_of(folder / "readings-tw1.csv")
    assert 122 == len(rows)
    first = {"time": f"{local('2026-10-18T01:00'):.3f}", "value": "26.5", "flag": "1"}
    assert first | {"problem": ""} == rows[0]
    assert [("85", "4", ""), ("", "9", "no answer")] == [
        (row["value"], row["flag"], row["problem"]) for row in rows[-2:]
    ]
    package = json.loads((folder / "datapackage.json").read_text("utf-8"))
    (table,) = [item for item in package["resources"] if item["name"] == "readings-tw1"]
    time, value, flag, _ = table["schema"]["fields"]
    assert "seconds since 1970-01-01 00:00:00 UTC" == time["units"]
    assert "standard" == time["calendar"]
    assert ("C", "flag") == (value["units"], value["ancillary_variables"])
    assert [1, 2, 3, 4, 9] == flag["flag_values"]
    assert len(flag["flag_values"]) == len(flag["flag_meanings"].split())


def test_minutes(state: Path) -> None:
    """Least, mean, highest of each minute that was read; the hour without a watch has none."""
    rows = rows_of(exported(state, "--readings", "minutes") / "minutes-tw1.csv")
    assert 121 == len(rows)
    assert ("26.5", "26.5", "26.5", "1") == tuple(rows[0].values())[1:]


def phones() -> set[str]:
    """The digits of every number in the sample."""
    found = re.findall(r'phone\s*=\s*"([^"]+)"', files_of()["duty.toml"])
    assert found
    return {re.sub(r"\D", "", number)[-7:] for number in found} | {"9405550141"}


@pytest.mark.parametrize("words", [(), ("--without-names",)])
def test_no_number_to_call_is_in_any_file(state: Path, words: tuple[str, ...]) -> None:
    """Neither plain nor within the workbook, however it is written; nor a mail address."""
    folder = exported(state, *words)
    texts = [path.read_text("utf-8") for path in folder.iterdir() if path.suffix != ".xlsx"]
    with zipfile.ZipFile(folder / "record.xlsx") as book:
        texts += [book.read(name).decode("utf-8") for name in book.namelist()]
    for text in texts:
        digits = re.sub(r"[ ().\-/]", "", text)
        assert [] == [number for number in phones() if number in digits]
        assert "@example" not in text
        if words:
            assert "avrin" not in text


def test_notes_cannot_run(state: Path) -> None:
    """Words that begin like a formula are words in CSV and in the workbook."""
    folder = exported(state)
    (row,) = rows_of(folder / "answers.csv")
    assert row["text"].startswith("'=HYPERLINK(")
    assert "<script>" in row["text"]
    assert ("41", "note", "text") == (row["event"], row["said"], row["way"])
    cell = load_workbook(folder / "record.xlsx")["answers"]["H2"]
    assert ("s", "=HYPERLINK") == (cell.data_type, str(cell.value)[:10])


def test_notes_of_people(state: Path) -> None:
    """The note that stands is there with what it was written for, and when it was written down."""
    (row,) = rows_of(exported(state) / "notes.csv")
    assert ("dead found", "count: ~160", "Tavrin", "true", "1") == (
        row["kind"], row["said"], row["who"], row["back_dated"], row["amendments"],
    )  # fmt: skip
    assert f"{local('2026-10-18T02:30')}" == row["time"]


def test_a_folder_with_something_in_it_is_refused(state: Path) -> None:
    """Nothing is written over."""
    folder = exported(state)
    result = CliRunner().invoke(commands, ["export", str(folder), "--state", str(state)])
    assert "is not empty" in str(result.exception)


def test_the_workbook_has_formulas(state: Path) -> None:
    """Key figures are worked out by the spreadsheet from the days."""
    book = load_workbook(exported(state) / "record.xlsx")
    assert ["key figures", "days", "events", "answers", "notes"] == book.sheetnames
    formulas = {row[0].value: row[1].value for row in book["key figures"].iter_rows(min_row=2)}
    head = [cell.value for cell in book["days"][1]]
    letter = get_column_letter(head.index("TW1_max_C") + 1)
    assert f"=MAX(days!{letter}2:{letter}2)" == formulas["TW1_max_C"]


@pytest.mark.long
@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_libreoffice_opens_the_workbook(state: Path) -> None:
    """Converted without a window, the formulas give the figures of the day."""
    folder = exported(state)
    command = ["soffice", "--headless", f"-env:UserInstallation=file://{state.parent}/office"]
    command += ["--convert-to", "csv", "--outdir", str(state.parent), str(folder / "record.xlsx")]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    with (state.parent / "record.csv").open(encoding="utf-8", newline="") as file:
        figures = {row[0]: row[1] for row in csv.reader(file)}
    assert ("1", "27") == (figures["days"], figures["TW1_max_C"])
