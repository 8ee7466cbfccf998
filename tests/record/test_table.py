"""The day table out of an archive: days, set-ups, clocks, calibrations, texts, and its forms."""

import csv
import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from monitor.archive import Reader, SetupVersion, Writer
from monitor.cli import commands
from monitor.config import snapshot
from monitor.control import RECORD
from monitor.effects import Flag, Text
from monitor.errors import ArchiveError, HoldwaterError
from monitor.inputs import Moment, Reading
from monitor.record import DayRow, Missing, Wish, csv_lines, day_table, site_of, text_lines
from monitor.record.gather import dph_of
from monitor.record.rows import EventOfDay, Gap, Water
from monitor.record.spans import Span
from record.nights import SAMPLES
from record.small import SETUP

ZONE = ZoneInfo("America/Chicago")
HOUR = 3600.0
PERIOD = 60.0


def local(text: str) -> float:
    """UTC of a local time of the site."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()


def files_of(**changes: tuple[str, str]) -> dict[str, str]:
    """The first-night set-up with a reading a minute; changes: (pattern, new text) by file."""
    files = snapshot(SAMPLES / "first-night")
    files["rig.toml"] = re.sub(r"every_s = \d+", "every_s = 60", files["rig.toml"])
    for name, (pattern, text) in changes.items():
        before = files[f"{name}.toml"]
        files[f"{name}.toml"] = re.sub(pattern, text, before)
        assert files[f"{name}.toml"] != before
    return files


@dataclass
class Pen:
    """Writes a small record: minutes of one temperature, set-ups, texts. Elapsed 0 is `begin`."""

    writer: Writer
    begin: float
    trusted: bool = True
    boot: int = 1

    def at(self, utc: float, ahead: float = 0.0) -> Moment:
        return Moment(self.boot, utc - self.begin, utc + ahead, self.trusted)

    def set_up(self, utc: float, version: int, files: Mapping[str, str]) -> None:
        self.writer.commit(setup=SetupVersion(version, self.at(utc), "tavrin", "test", files))

    def minutes(
        self,
        start: float,
        end: float,
        value: float = 26.5,
        calibration: int = 1,
        ahead: float = 0.0,
    ) -> None:
        times = [start + PERIOD * i for i in range(round((end - start) / PERIOD))]
        readings = [Reading("TW1", self.at(utc, ahead), value) for utc in times]
        self.writer.readings(readings, {"TW1": calibration}, "OH-07")

    def text(self, number: int, utc: float, outcome: str) -> None:
        said = self.at(utc)
        text = Text(number, 41, "tavrin", "x", "urgent", "41", said, said.elapsed + 60.0)
        self.writer.commit(texts=[(text, ("outbox",))])
        if outcome:
            self.writer.delivery(number, "outbox", outcome, "", said)


def kept(state: Path, begin: str, write: Callable[[Pen], None]) -> Path:
    """A record that `write` has written, from a local time on; the folder it lies in."""
    utc = local(begin)
    writer = Writer(state / RECORD, "ostrel-1", "OH", lambda wrong, over: pytest.fail(wrong))
    writer.start(utc)
    writer.open_boot("first", 0.0)
    write(Pen(writer, utc))
    assert writer.close(20.0)
    return state


def rows_of(state: Path, wish: Wish | None = None) -> list[DayRow]:
    """The table of a record."""
    with Reader(state / RECORD) as reader:
        return list(day_table(reader, wish or Wish()))


def three_days(pen: Pen) -> None:
    """From 22:00 of dph -1 to 02:00 of dph 1, with 6 h without a watch."""
    pen.set_up(pen.begin, 1, files_of())
    pen.minutes(local("2026-10-05T22:00"), local("2026-10-06T09:00"))
    pen.minutes(local("2026-10-06T15:00"), local("2026-10-07T02:00"), 26.0)
    pen.text(1, local("2026-10-06T03:00"), "accepted")
    pen.text(2, local("2026-10-06T04:00"), "given up")
    pen.text(3, local("2026-10-06T05:00"), "")
    pen.text(4, local("2026-10-06T12:00"), "accepted")
    pen.text(5, local("2026-10-06T21:00"), "unknown")
    pen.text(6, local("2026-10-07T01:00"), "accepted")


def test_days_of_a_run_by_dph(tmp_path: Path) -> None:
    """Each local date of the record has a row, the first one before the hatch."""
    state = kept(tmp_path, "2026-10-05T22:00", three_days)
    rows = rows_of(state)
    assert [-1, 0, 1] == [row.dph for row in rows]
    assert [2.0, 18.0, 2.0] == [row.temperatures[0].seen / HOUR for row in rows]
    assert [["before the record begins"], ["not observed, watch not running"]] == [
        [gap.reason for gap in row.unwatched] for row in rows[:2]
    ]
    assert pytest.approx((9 * 26.5 + 9 * 26.0) / 18) == rows[1].temperatures[0].mean
    assert [0, 1] == [row.dph for row in rows_of(state, Wish(first=0))]
    assert [-1] == [row.dph for row in rows_of(state, Wish(last=-1))]
    assert [] == rows_of(state, Wish(first=5))


def test_texts_of_the_quiet_hours(tmp_path: Path) -> None:
    """A text counts as sent where a channel took it or may have; 21:00 is quiet, noon is not."""
    rows = rows_of(kept(tmp_path, "2026-10-05T22:00", three_days))
    assert [0, 2, 1] == [row.night_texts for row in rows]
    assert [0, 2, 0] == [row.night_texts_failed for row in rows]


def test_what_was_stored_before_the_clock_was_right_is_re_timed(tmp_path: Path) -> None:
    """Readings stamped 107 min late by a clock that then was set stand at their true time."""

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, files_of())
        pen.trusted = False
        pen.minutes(local("2026-10-18T03:05"), local("2026-10-18T03:15"), ahead=-107 * 60.0)
        pen.trusted = True
        pen.minutes(local("2026-10-18T03:15"), local("2026-10-18T03:25"))

    (row,) = rows_of(kept(tmp_path, "2026-10-18T03:05", write))
    begun, ended = row.unwatched
    assert (local("2026-10-18T03:05"), local("2026-10-18T03:25")) == (
        begun.span.end,
        ended.span.start,
    )
    assert () == row.notes


def test_a_clock_that_was_set_right_later_moves_what_came_after(tmp_path: Path) -> None:
    """Of two right clocks of one boot each holds for its own part: set ahead by 60 s at 04:00."""

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, files_of())
        pen.minutes(pen.begin, pen.begin + HOUR)
        pen.minutes(pen.begin + HOUR, pen.begin + 2 * HOUR, ahead=60.0)

    (row,) = rows_of(kept(tmp_path, "2026-10-18T03:00", write))
    begun, skipped, ended = row.unwatched
    assert local("2026-10-18T03:00") == begun.span.end
    assert Span(local("2026-10-18T04:00"), local("2026-10-18T04:01")) == skipped.span
    assert local("2026-10-18T05:01") == ended.span.start


def test_a_clock_that_was_never_right_is_said(tmp_path: Path) -> None:
    """Without a trusted offset the times may be wrong, and the row says of which boot."""

    def write(pen: Pen) -> None:
        pen.trusted = False
        pen.set_up(pen.begin, 1, files_of())
        pen.minutes(pen.begin, pen.begin + HOUR)

    (row,) = rows_of(kept(tmp_path, "2026-10-18T03:05", write))
    assert ("the clock was never known to be right in boot 1: times may be wrong",) == row.notes


def test_readings_that_failed_the_checks_do_not_count(tmp_path: Path) -> None:
    """A power-on value of 85 that was flagged as failed is in no maximum, but is counted."""

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, files_of())
        pen.minutes(pen.begin, pen.begin + HOUR)
        bad = pen.at(pen.begin + HOUR)
        pen.writer.readings([Reading("TW1", bad, 85.0)], {}, "OH-07")
        pen.writer.flags([Flag("TW1", bad.elapsed, 4, "start-up value")])
        suspect = pen.at(pen.begin + HOUR + PERIOD)
        pen.writer.readings([Reading("TW1", suspect, 27.0)], {}, "OH-07")
        pen.writer.flags([Flag("TW1", suspect.elapsed, 3, "spike")])

    (row,) = rows_of(kept(tmp_path, "2026-10-18T03:00", write))
    cover = {item.tag: item for item in row.coverage}["TW1"]
    assert 27.0 == row.temperatures[0].high
    assert (61, 1, 1440) == (cover.got, cover.unusable, cover.due)


def test_each_reading_is_read_by_its_own_calibration(tmp_path: Path) -> None:
    """After an ice-point check adds 0.5 C, only the readings since are higher by it."""

    def write(pen: Pen) -> None:
        noon = local("2026-10-18T12:00")
        corrected = files_of(rig=(r'(id = "TW1")', r"\1\nzero = 0.5\ncalibration = 2"))
        pen.set_up(pen.begin, 1, files_of())
        pen.minutes(pen.begin, noon, 26.0)
        pen.set_up(noon, 2, corrected)
        pen.minutes(noon, noon + 6 * HOUR, 26.0, calibration=2)

    (row,) = rows_of(kept(tmp_path, "2026-10-18T06:00", write))
    (found,) = row.temperatures
    assert (26.0, 26.5) == (found.low, found.high)
    assert pytest.approx(26.25) == found.mean
    assert ("set-up 2 in force from 12:00",) == row.notes


def test_a_changed_hatch_renumbers_all_days(tmp_path: Path) -> None:
    """The reference hatch in force last counts for every day of the run."""

    def write(pen: Pen) -> None:
        early = files_of(run=(r"hatch = \S+", "hatch = 2026-10-04"))
        pen.set_up(pen.begin, 1, early)
        pen.minutes(pen.begin, pen.begin + 30 * HOUR)
        pen.set_up(pen.begin + 30 * HOUR, 2, files_of())
        pen.minutes(pen.begin + 30 * HOUR, pen.begin + 31 * HOUR)

    rows = rows_of(kept(tmp_path, "2026-10-05T00:00", write))
    assert [-1, 0] == [row.dph for row in rows]


def test_a_day_of_25_hours_out_of_the_archive(tmp_path: Path) -> None:
    """1 Nov 2026 has 25 h, 1500 readings due and got, and one row."""

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, files_of())
        pen.minutes(pen.begin, pen.begin + 25 * HOUR)

    (row,) = rows_of(kept(tmp_path, "2026-11-01T00:00", write))
    cover = {item.tag: item for item in row.coverage}["TW1"]
    assert (25 * HOUR, 1500, 1500, ()) == (cover.seen, cover.due, cover.got, cover.gaps)
    assert (26, date(2026, 11, 1)) == (row.dph, row.day)


def test_another_boot_is_noted(tmp_path: Path) -> None:
    """A restart of the board stands in the notes of its day."""
    first = kept(tmp_path, "2026-10-18T03:00", _an_hour)
    writer = Writer(first / RECORD, "ostrel-1", "OH", lambda wrong, over: pytest.fail(wrong))
    writer.start(local("2026-10-18T05:00"))
    pen = Pen(writer, local("2026-10-18T03:00"), boot=writer.open_boot("second", 2 * HOUR))
    pen.minutes(local("2026-10-18T05:00"), local("2026-10-18T06:00"))
    assert writer.close(20.0)
    (row,) = rows_of(first)
    assert ("the board started anew, boot 2",) == row.notes
    assert 2 * HOUR == row.temperatures[0].seen
    assert "not observed, watch not running" == row.unwatched[1].reason


def _an_hour(pen: Pen) -> None:
    pen.set_up(pen.begin, 1, files_of())
    pen.minutes(pen.begin, pen.begin + HOUR)


def test_a_record_without_a_run_says_what_to_do(tmp_path: Path) -> None:
    """Without run.toml there is no age to count by."""

    def write(pen: Pen) -> None:
        files = files_of()
        del files["run.toml"]
        pen.set_up(pen.begin, 1, files)

    with pytest.raises(HoldwaterError, match=r"names no run.*run\.toml"):
        rows_of(kept(tmp_path, "2026-10-18T03:00", write))


def test_a_record_without_set_up_or_readings_says_so(tmp_path: Path) -> None:
    """An empty record is an error in words, and so is a missing one."""
    with pytest.raises(ArchiveError, match="no archive"):
        rows_of(tmp_path)
    with pytest.raises(HoldwaterError, match="no set-up yet"):
        rows_of(kept(tmp_path, "2026-10-18T03:00", lambda pen: None))
    (tmp_path / RECORD).unlink()
    write = lambda pen: pen.set_up(pen.begin, 1, files_of())  # noqa: E731
    with pytest.raises(HoldwaterError, match="no readings of this run yet"):
        rows_of(kept(tmp_path, "2026-10-18T03:00", write))


@pytest.mark.parametrize(
    ("hatch_day", "day", "dph"),
    [
        (0, date(2026, 10, 6), 0),
        (0, date(2026, 10, 3), -3),
        (1, date(2026, 10, 6), 1),
        (0, date(2026, 11, 1), 26),
        (0, date(2026, 11, 2), 27),
    ],
)
def test_dph_counts_local_dates(hatch_day: int, day: date, dph: int) -> None:
    """Dates from the hatch, negative before it; the day of 25 h is one day."""
    assert SETUP.run is not None
    setup = replace(SETUP, run=replace(SETUP.run, hatch_day=hatch_day))
    assert dph == dph_of(setup, day)


# What is printed


def _days(state: Path, *words: str) -> str:
    result = CliRunner().invoke(commands, ["days", "--state", str(state), *words])
    assert 0 == result.exit_code, result.output
    return result.output


def test_three_forms_tell_the_same(tmp_path: Path) -> None:
    """Text, CSV and JSON have the same mean, and say what is not measured."""
    state = kept(tmp_path, "2026-10-05T22:00", three_days)
    table = tmp_path / "table.csv"
    _days(state, "--csv", str(table))
    documents = [json.loads(line) for line in _days(state, "--json").splitlines()]
    with table.open(newline="", encoding="utf-8") as file:
        cells = list(csv.DictReader(file))
    assert 3 == len(cells) == len(documents)
    assert ["26.25"] == [cells[1]["TW1_mean_C"]]
    assert 26.25 == documents[1]["temperature"]["TW1"]["mean_C"]
    assert re.search(r"^ +0 +Tue 06 Oct +TW1 +26\.0 +26\.25 +26\.5 ", _days(state), re.MULTILINE)
    assert "not measured" == cells[1]["turnovers"] == documents[1]["water"]["turnovers"]
    assert "75.0" == cells[1]["TW1_coverage_%"]
    (gap,) = documents[1]["coverage"]["TW1"]["gaps"]
    assert {
        "start": "2026-10-06T09:00:00-05:00",
        "end": "2026-10-06T15:00:00-05:00",
        "reason": "not observed, watch not running",
    } == gap
    assert "09:00-15:00 (360.0 min): not observed, watch not running" in _days(state)


@pytest.mark.parametrize("form", [(), ("--json",), ("--csv", "/dev/stdout")])
def test_no_form_names_people_or_their_numbers(tmp_path: Path, form: tuple[str, ...]) -> None:
    """Phones, mail addresses and names stay in the set-up."""
    state = kept(tmp_path, "2026-10-05T22:00", three_days)
    told = _days(state, *form)
    assert not re.search(r"555|@|tavrin|oskel", told, re.IGNORECASE)


def test_only_the_days_asked_for(tmp_path: Path) -> None:
    """--from and --to include both ends; a span without days says so."""
    state = kept(tmp_path, "2026-10-05T22:00", three_days)
    lines = _days(state, "--from", "0", "--to", "0", "--json").splitlines()
    assert [0] == [json.loads(line)["dph"] for line in lines]
    assert "No day of the run lies between these." == _days(state, "--from", "9").strip()


def _crowded(rows: Iterable[DayRow]) -> list[DayRow]:
    """The rows with everything missing, and with long events and notes."""
    events = tuple(
        EventOfDay(
            number, "urgent", "temperature high/LT1/TW1/urgent", *[local("2026-10-07T09:00")] * 5
        )
        for number in range(40, 44)
    )
    gap = Gap(Span(local("2026-10-06T00:00"), local("2026-10-07T00:00")), "reason " * 30)
    return [
        replace(
            row,
            water=Water("QL", 0.0, *[Missing.NOT_MEASURED] * 6),
            events=events,
            unwatched=(gap,),
            notes=("a note " * 40,),
            night_texts=12345,
            night_texts_failed=3,
        )
        for row in rows
    ]


def test_text_fits_100_columns(tmp_path: Path) -> None:
    """Even a row without any figure, long events and long notes fit."""
    state = kept(tmp_path, "2026-10-05T22:00", three_days)
    with Reader(state / RECORD) as reader:
        site = site_of(reader, 0.0)
        rows = _crowded(day_table(reader, Wish()))
    lines = list(text_lines(site, rows))
    assert 100 >= max(map(len, lines))
    assert any("3 texts of the quiet hours" in line for line in lines)


def test_csv_of_no_day_is_empty(tmp_path: Path) -> None:
    """Nothing to tell is no line, not a header without columns."""
    state = kept(tmp_path, "2026-10-05T22:00", three_days)
    with Reader(state / RECORD) as reader:
        assert [] == list(csv_lines(site_of(reader, 0.0), []))
