"""What a committee asks: excursions with peak and degree-hours, dead after them, proofs."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.archive import Note
from monitor.cli import commands
from monitor.effects import JournalRow
from monitor.inputs import Moment
from monitor.record.committee import cause_of, dead_after, watch_at
from monitor.record.excursions import Excursion, merged
from monitor.record.rows import EventOfDay
from monitor.record.spans import Span
from record.test_life import FIRST
from record.test_table import HOUR, Pen, files_of, kept, local

RUN = f"""{FIRST}protocol = "AP-26-14"
animals_approved = 30000
[[batch]]
id = "A"
hatched = "3600"
[[batch]]
id = "D"
hatched = "~2100"
[[batch]]
id = "E"
"""


def note(number: int, clock: str, kind: str, **said: str) -> Note:
    """A note of 6 or 7 October."""
    at = local(clock)
    entered = Moment(1, at - local("2026-10-05T22:00"), at)
    return Note(number, entered, at, "OH-07", kind, "tavrin", "command", said)


def warm_over_midnight(pen: Pen) -> None:
    """27.8 C from 22:00 on 6 Oct to 02:00; a return of 5 min in it; an event, notes, a test."""
    pen.set_up(pen.begin, 1, files_of() | {"run.toml": RUN})
    pen.minutes(pen.begin, local("2026-10-06T22:00"), 26.5)
    pen.minutes(local("2026-10-06T22:00"), local("2026-10-06T23:00"), 27.8)
    pen.minutes(local("2026-10-06T23:00"), local("2026-10-06T23:05"), 26.5)
    pen.minutes(local("2026-10-06T23:05"), local("2026-10-07T02:00"), 27.8)
    pen.minutes(local("2026-10-07T02:00"), local("2026-10-07T12:00"), 26.5)
    cause = "temperature high/LT1/TW1/warn"
    rows = [
        ("2026-10-06T09:00", "answer", "90", "path proven", "mail", ""),
        ("2026-10-06T22:02", "event", "52", "open", cause, ""),
        ("2026-10-06T22:10", "answer", "52", "taken", "text", ""),
        ("2026-10-07T02:30", "answer", "52", "done", "text", "lights cut"),
    ]
    pen.writer.commit(
        journal=[
            JournalRow(pen.at(local(clock)), what, subject, state, "notice", why, "oskel", (), text,
                       int(subject))
            for clock, what, subject, state, why, text in rows
        ]
    )  # fmt: skip
    pen.writer.notes(
        [
            note(1, "2026-10-07T08:00", "dead found", count="~120"),
            note(2, "2026-10-07T08:00", "observation", text="swim well"),
        ]
    )


def test_the_paper_of_a_warm_night(tmp_path: Path) -> None:
    """One excursion over midnight: 235 min, 0.5 C for 235 min are 1.96 degree-hours."""
    state = kept(tmp_path, "2026-10-05T22:00", warm_over_midnight)
    result = CliRunner().invoke(commands, ["committee", "--state", str(state), "--loss", "100"])
    assert 0 == result.exit_code, result.output
    told = result.output
    for line in (
        "Protocol: AP-26-14",
        "Animals approved: 30000. Used: ~5700 hatched; batches not counted: 1.",
        "Excursions (1;",
        "Tue 06 Oct 2026 22:00:00 to 07 Oct 02:00:00: temperature high (TW1)",
        "outside 235 min, furthest 27.80 C, 1.96 degree-hours beyond",
        "cause: event 52, first temperature high/LT1/TW1/warn; done: taken, done (lights cut)",
        "dead found within 24 h after: ~120",
        "watch set; path to people proven 06 Oct 09:00 (mail)",
        "Wed 07 Oct 2026: ~120 dead found, no event that day",
        "signed on 1 of 3 days",
        "Tue 06 Oct 2026: NOT SIGNED",
        "Wed 07 Oct 2026: tavrin",
    ):
        assert line in told, line
    assert "555" not in told


def test_a_calm_run_has_no_excursion(tmp_path: Path) -> None:
    """Nothing outside, nothing noted: no figure is made up."""

    def write(pen: Pen) -> None:
        pen.set_up(pen.begin, 1, files_of() | {"run.toml": FIRST})
        pen.minutes(pen.begin, pen.begin + 20 * HOUR)

    state = kept(tmp_path, "2026-10-05T22:00", write)
    told = CliRunner().invoke(commands, ["committee", "--state", str(state)]).output
    assert "Protocol: not written in run.toml" in told
    assert "Used: not noted." in told
    assert "Excursions (0;" in told
    assert "Unexpected losses: none noted" in told


def test_parts_over_midnight_are_one_and_others_are_not() -> None:
    """Joined within 10 minutes, with the further peak; high and low stay apart."""
    high = Excursion("temperature high", "TW1", Span(0.0, 100.0), 100.0, 27.5, 20.0)
    more = Excursion("temperature high", "TW1", Span(100.0, 400.0), 250.0, 27.9, 90.0)
    later = Excursion("temperature high", "TW1", Span(1001.0, 1100.0), 99.0, 28.0, 1.0)
    low = Excursion("temperature low", "TW1", Span(50.0, 60.0), 10.0, 25.0, 1.0)
    joined = Excursion("temperature high", "TW1", Span(0.0, 400.0), 350.0, 27.9, 110.0)
    assert [joined, later, low] == merged([later, low, more, high])


@pytest.mark.parametrize(
    ("begin", "end", "number"),
    [(0.0, 5.0, None), (15.0, 16.0, 1), (15.0, 60.0, 2), (90.0, 99.0, 2)],
)
def test_the_event_of_an_excursion(begin: float, end: float, number: int | None) -> None:
    """The one that was open then, the later of two; one that is over is no cause."""
    events = (
        EventOfDay(1, "high", "a", 10.0, closed=40.0),
        EventOfDay(2, "high", "b", 50.0),
    )
    found = cause_of(events, Excursion("no flow", "QL", Span(begin, end), end - begin))
    assert number == (found.number if found is not None else None)


def test_dead_after_and_the_watch_before() -> None:
    """Not noted is no zero; between two set-ups of the run no watch is claimed."""
    assert "not noted" == dead_after((), 0.0)
    forces = ((Span(0.0, 10.0), True), (Span(20.0, 30.0), False))
    said = [watch_at(forces, at) for at in (5.0, 15.0, 25.0)]
    assert ["set", "not in force", "STOOD DOWN"] == said
