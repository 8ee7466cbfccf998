"""Commands about duty: the storm sheet, rows from a calendar, and what the desk shows."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.config import load
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.logic.duty_records import Exchange, Question, Sleeper, Storm
from monitor.logic.rota import duty_lines
from monitor.logic.state import Durable, Running, State
from monitor.loop import channels_of
from monitor.setup import Channel

SAMPLES = Path(__file__).parents[2] / "sample_config"
HILL = load(SAMPLES / "ostrel-hill")
AT = Moment(1, 1000.0, HILL.duty.turns[10].start + 3600.0)
"""Mon 26 Oct 2026, 08:00 at the site."""
HOUR = 3600.0


def test_storm_sheet() -> None:
    """It says how long the header lasts, also throttled and with the warning of air, who is called
    with the minutes to the door, and what to tick off."""
    output = CliRunner().invoke(commands, ["storm", str(SAMPLES / "ostrel-hill")]).output
    assert "The siphon WILL break in every night outage at 4.5 and 6.0 L/min." in output
    assert "Throttled to 2.0 L/min it lasts 68.1 min." in output
    assert "it may air-lock" in output
    assert "Tavrin 31, Oskel 36, Lendow 61" in output
    assert output.count("[ ]") >= 8


@pytest.mark.parametrize("words", [[], ["--over", "--until", "22:00"]])
def test_storm_takes_one_thing(words: list[str]) -> None:
    """The sheet, the beginning or the end: anything else is wrong usage."""
    assert 2 == CliRunner().invoke(commands, ["storm", *words]).exit_code


def test_duty_rows_are_shown(tmp_path: Path) -> None:
    """The rows of a calendar appear, and duty.toml is not touched."""
    folder = tmp_path / "hill"
    shutil.copytree(SAMPLES / "ostrel-hill", folder)
    people, _, _ = (folder / "duty.toml").read_text("utf-8").partition("[[turn]]")
    (folder / "duty.toml").write_text(people)  # no dated turns that the calendar could overlap
    before = (folder / "duty.toml").read_bytes()
    file = tmp_path / "rota.ics"
    file.write_text(
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:t\r\nBEGIN:VEVENT\r\nUID:1\r\n"
        "DTSTAMP:20200101T000000Z\r\nSUMMARY:Oskel\\, Tavrin\r\nDTSTART:20260101T180000\r\n"
        "DTEND:20260102T180000\r\nRRULE:FREQ=WEEKLY;BYDAY=SA\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    words = ["duty-rows", str(file), str(folder), "--days", "400"]
    result = CliRunner().invoke(commands, words)
    assert 0 == result.exit_code, result.output
    assert 'order = ["oskel", "tavrin"]' in result.output
    assert before == (folder / "duty.toml").read_bytes()


def test_what_the_desk_shows_of_duty() -> None:
    """Who is called, who sleeps there, storm, open questions, and the turns of the week."""
    now = AT.utc
    durable = Durable(
        exchanges=(Exchange(now, now + 10 * HOUR, "tavrin", "oskel"),),
        questions={90: Question(90, "duty", "korrin", 400.0, 2200.0, now, now + HOUR)},
        sleeper=Sleeper("korrin", now + 12 * HOUR),
        storm=Storm("oskel", 0.0, now + 30 * HOUR, 0.0),
    )
    lines = duty_lines(HILL, State(durable, Running(0.0)), AT)
    assert "Called now: Korrin, then Oskel, then Tavrin, then Lendow." == lines[0]
    assert lines[1:4] == [
        "Korrin sleeps on site till 20:00.",
        "Storm footing till Tue 14:00, by Oskel.",
        "Question 90: Korrin was asked at 07:50: on duty?",
    ]
    assert "  Mon 26 Oct 08:00 - Mon 26 Oct 18:00  Oskel, then Tavrin, then Lendow" == lines[5]
    assert "  Thu 29 Oct 18:00 - Mon 02 Nov 18:00  Oskel, then Tavrin, then Lendow" in lines


def test_a_list_of_one_is_warned_of_all_the_time() -> None:
    """One person is allowed; every look at the duty says that nobody comes after."""
    duty = replace(HILL.duty, standing=("tavrin",), turns=())
    setup = replace(HILL, duty=duty, worked_out={})
    lines = duty_lines(setup, State(Durable(), Running(0.0)), AT)
    assert "One person only: nobody after Tavrin." == lines[1]
    assert lines[-1].endswith("one person only")


def test_siren_comes_first_for_who_sleeps_on_site() -> None:
    """Every siren of the set-up goes before the phone of the sleeper, and of nobody else."""
    horn = Channel("horn", "siren")
    setup = replace(HILL, channels=(*HILL.channels, horn))
    durable = Durable(sleeper=Sleeper("korrin", AT.utc + HOUR))
    text = Text(1, 41, "korrin", "supply lost", "urgent", "Go.", AT, 99.0)
    assert ("horn", "outbox") == channels_of(setup, durable, text)
    assert ("outbox",) == channels_of(setup, durable, replace(text, person="tavrin"))
