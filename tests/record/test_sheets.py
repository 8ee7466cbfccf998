"""Sheets to print: what stands on them, and that each is one page."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.config import load
from monitor.logic.aside import AsideRecord, WorksRecord
from monitor.logic.state import EventRecord, HoldRecord, fresh
from monitor.record.sheets import Now, sheets_of, write_sheets
from monitor.record.sheets.handover import Last
from monitor.record.sheets.limits import by_age, span
from monitor.record.sheets.paper import Sheet
from monitor.setup import Profile, Setup
from monitor.units import L_PER_MIN, Unit
from record.nights import SAMPLES
from record.test_table import kept, local, three_days

SUNDAY = local("2026-10-18T09:00")
NAMES = ["limits", "duty", "daily-round", "handover", "test-log"]
HOSTILE = "<script>alert(1)</script>"


def setup_of(sample: str = "ostrel-hill") -> Setup:
    """A sample configuration."""
    return load(SAMPLES / sample)


def a_bad_morning() -> Now:
    """An open event with owed lines, a shelf, works, and a hold; watch time is UTC here."""
    event = EventRecord(41, "water", "LT1", "mains lost/B1", SUNDAY - 27_720.0, SUNDAY - 27_700.0,
                        "urgent", stage="flow proven", taken_by="oskel",
                        owed=("dead count", HOSTILE))  # fmt: skip
    shelf = AsideRecord("SHLVD", "tavrin", HOSTILE, SUNDAY, SUNDAY + 3600.0)
    works = WorksRecord("painting", "oskel", "korrin", SUNDAY, SUNDAY + 7200.0)
    durable = replace(
        fresh(),
        events={41: event, 40: replace(event, number=40, stage="closed")},
        aside={"sump low/SU1/warn": shelf},
        works={"room": works},
        holds={"S1": HoldRecord("S1", "tavrin", SUNDAY, SUNDAY + 1800.0)},
    )
    last = {"TW1": Last(SUNDAY - 15.0, 26.5), "MP": Last(SUNDAY - 1.0, 1.0)}
    return Now(SUNDAY, 0.0, durable, last)


def made(setup: Setup, now: Now, **wish: bool) -> dict[str, Sheet]:
    """The sheets by name."""
    return {sheet.name: sheet for sheet in sheets_of(setup, now, **wish)}


def words_of(sheet: Sheet) -> str:
    """Every word on a sheet."""
    cells = [cell for block in sheet.blocks for row in block.rows for cell in row]
    lines = [line for block in sheet.blocks for line in block.words]
    return " | ".join([sheet.about, *lines, *cells, *sheet.caution])


def test_limits_of_every_age() -> None:
    """Steps by age, the value of today, delay, and what is done first."""
    (flow, limits) = made(setup_of(), Now(SUNDAY))["limits"].blocks
    assert ("set flow of S1", "by meter", "3, 4.5 from dph 5, 6 from dph 10 L/min") == flow.rows[0]
    assert len(setup_of().limits) == len(limits.rows)
    (low,) = [row for row in limits.rows if row[0] == "flow low"]
    assert ("QL below", "4.8", "high", "5 min") == (low[1], low[3], low[4], low[5])
    (float_,) = [row for row in limits.rows if row[0] == "header low float"]
    assert ("LHf is open", "-", "-") == float_[1:4]


def test_equal_steps_are_one() -> None:
    """A value that stays the same over a step is written once; delays as people say them."""
    unit = Unit("L/min", L_PER_MIN)
    profile = Profile(((-9, 0.5 * L_PER_MIN), (5, 0.5 * L_PER_MIN), (10, 1.0 * L_PER_MIN)))
    assert "0.5, 1 from dph 10 L/min" == by_age(unit, profile)
    assert ["15 s", "3 min"] == [span(15.0), span(180.0)]


def test_duty_without_numbers() -> None:
    """Turns of two weeks by name; numbers to call only on wish."""
    setup = setup_of()
    sheet = made(setup, Now(SUNDAY))["duty"]
    turns = sheet.blocks[0].rows
    assert ("Sun 18 Oct 09:00", "Fri 23 Oct 18:00", "Tavrin", "Oskel", "Lendow") == turns[0]
    assert ("Sat 24 Oct 07:00", "Mon 26 Oct 07:00", "Korrin", "Oskel", "Lendow") == turns[2]
    assert "940" not in words_of(sheet)
    assert "+19405550141" in words_of(made(setup, Now(SUNDAY), with_numbers=True)["duty"])


def test_round_of_the_day() -> None:
    """Flow as seconds of a bucket, limits of that age, by what people call it."""
    words = words_of(made(setup_of(), Now(SUNDAY))["daily-round"])
    assert "flow S1: 6.0 L/min due, 10 L in 100 s" in words
    assert "temperature of LT1 (TW1): not above 27.3 or below 25.7 C" in words
    assert "floor pad of ROOM (FL): calls when it is wet" in words
    eggs = words_of(made(setup_of(), Now(local("2026-10-05T09:00")))["daily-round"])
    assert "flow S1: 3.0 L/min due, 10 L in 200 s" in eggs


def test_handover_of_a_bad_morning() -> None:
    """State with its time, the open event and what is owed, what is put aside and till when."""
    sheet = made(setup_of(), a_bad_morning())["handover"]
    state, events, aside, _ = sheet.blocks
    by_tag = {row[0]: row for row in state.rows}
    assert ("26.5 C", "08:59") == by_tag["temperature of LT1 (TW1)"][1:3]
    assert "on" == by_tag["mains of B1 (MP)"][1]
    assert "not read" == by_tag["flow of S1 (QL)"][1]
    assert by_tag["level of HD1 (LH)"][3].endswith("alarm above 42 cm")
    assert "float if it is open" == by_tag["float of HD1 (LHf)"][3]
    assert [("41", "mains lost (B1), since Sun 18 Oct 01:18", "Oskel", "flow proven")] == [
        row[:4] for row in events.rows
    ]
    assert [("sump low (SU1, warn)", "shelved", "Sun 18 Oct 10:00"),
            ("painting", "works, room", "Sun 18 Oct 11:00"),
            ("flow of S1", "feeding hold", "Sun 18 Oct 09:30")] == [
        row[:3] for row in aside.rows
    ]  # fmt: skip
    assert ("None in the record.",) == made(setup_of(), Now(SUNDAY))["handover"].blocks[1].words


def test_tests_follow_the_rig() -> None:
    """Floats, cups and pads are tested where there are some; what is never done is said."""
    full = words_of(made(setup_of(), Now(SUNDAY))["test-log"])
    assert "lift float LHf: seen by the watch" in full
    assert "With larvae in the tank never" in full
    assert "cup" not in full
    assert "cup QW" in words_of(made(setup_of("first-night"), Now(SUNDAY))["test-log"])


@pytest.mark.parametrize("sample", ["first-night", "loop-recording", "loop-watched"])
def test_other_rigs_have_sheets_too(sample: str) -> None:
    """Without a run, a siphon or limits the same five sheets are made."""
    assert NAMES == list(made(setup_of(sample), Now(SUNDAY)))


def test_files(tmp_path: Path) -> None:
    """Words stay words; a file is replaced only on wish, and only where it is such a sheet."""
    sheets = sheets_of(setup_of(), a_bad_morning())
    paths = write_sheets(sheets, tmp_path / "paper", again=False)
    assert [f"{name}.html" for name in NAMES] == [path.name for path in paths]
    page = paths[3].read_text("utf-8")
    assert HOSTILE not in page and "&lt;script&gt;" in page
    words = ["sheets", str(tmp_path / "paper"), "--config", str(SAMPLES / "ostrel-hill")]
    assert "is there already" in str(CliRunner().invoke(commands, words).exception)
    assert 0 == CliRunner().invoke(commands, [*words, "--again"]).exit_code
    assert "mains lost" not in paths[3].read_text("utf-8")
    paths[3].write_text("my own notes", encoding="utf-8")
    assert "is there already" in str(CliRunner().invoke(commands, [*words, "--again"]).exception)
    assert "my own notes" == paths[3].read_text("utf-8")


def test_from_a_record(tmp_path: Path) -> None:
    """The set-up in force in the record is that of the sheets."""
    kept(tmp_path, "2026-10-05T22:00", three_days)
    words = ["sheets", str(tmp_path / "paper"), "--state", str(tmp_path)]
    result = CliRunner().invoke(commands, words)
    assert (0, 5) == (result.exit_code, len(result.output.splitlines()))
    assert "run OH-07" in (tmp_path / "paper" / "limits.html").read_text("utf-8")


@pytest.mark.long
@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
@pytest.mark.parametrize("sample", ["ostrel-hill", "first-night"])
def test_each_is_one_page(tmp_path: Path, sample: str) -> None:
    """As Chromium prints them."""
    sheets = sheets_of(setup_of(sample), a_bad_morning())
    pages = {}
    for path in write_sheets(sheets, tmp_path, again=False):
        pdf = path.with_suffix(".pdf")
        command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu"]
        command += ["--no-pdf-header-footer", f"--user-data-dir={tmp_path}/profile"]
        command += [f"--print-to-pdf={pdf}", path.as_uri()]
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        pages[path.stem] = len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))
    assert dict.fromkeys(NAMES, 1) == pages
