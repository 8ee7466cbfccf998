"""Silence is an alarm: what dies at the watch, and when the listener at another site tells it.

Played on a virtual clock with the true figures of the sample: a sign a minute, ages read every ten
seconds. Two real processes do the same at one sixtieth of them: tests/real/test_listener.py.
"""

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from docs.pages import marked, page
from logic.play import sample, watch
from monitor.effects import Text
from monitor.inputs import Moment, Reading
from monitor.sign import Sign
from monitor.sources.addresses import read_keys, split
from monitor.sources.signs import Ages, Point, PointKeys

START = Moment(1, 10_000.0, 1_792_335_600.0)
"""Sunday 18 October 2026, 10:00 at Ostrel Hill: by day, so that notices go out at once."""
EVERY, LOOK = 60.0, 10.0
"""Seconds between two signs, and between two looks at the ages."""
DIES = 1_230.0
"""Seconds after the start at which it happens, half a minute after a sign."""
END = DIES + 1_800.0


@dataclass(frozen=True, slots=True)
class Case:
    """Something that dies. signs: what is heard by (MQTT, HTTPS) of the sign of a second."""

    what: str
    turn: str
    shown: str
    signs: Callable[[Sign, bool], tuple[Sign | None, Sign | None]]


def sign(second: float, storm: bool = False) -> Sign:
    """The sign that a watch in good health makes."""
    return Sign(
        "ostrel-1", "OH", 7, 500.0 + second, START.utc + second, True, EVERY, 0, 0, 0, storm
    )


def _gone(made: Sign, is_over: bool) -> tuple[Sign | None, Sign | None]:
    return (None, None) if is_over else (made, made)


def _gone_in_storm(made: Sign, is_over: bool) -> tuple[Sign | None, Sign | None]:
    return _gone(sign(made.elapsed - 500.0, storm=True), is_over)


def _without_broker(made: Sign, is_over: bool) -> tuple[Sign | None, Sign | None]:
    return (None if is_over else made), made


def _repeated(made: Sign, is_over: bool) -> tuple[Sign | None, Sign | None]:
    last = sign(DIES - 30.0)
    return (last, last) if is_over else (made, made)


def _clock_stands(made: Sign, is_over: bool) -> tuple[Sign | None, Sign | None]:
    stood = Sign(
        made.board, made.rig, made.boot, made.elapsed, START.utc + DIES, True, EVERY, 0, 0, 0, False
    )
    return (stood, stood) if is_over else (made, made)


SILENT = "WATCH SILENT since 10:20: tank faults will not reach you."
CASES = (
    Case("the watch is killed, its board or supply dies", "watch silent", SILENT, _gone),
    Case("the same on storm footing", "watch silent", SILENT, _gone_in_storm),
    Case("the network of the watch is pulled", "watch silent", SILENT, _gone),
    Case("the loop hangs: old signs, or none", "watch silent", SILENT, _repeated),
    Case("the broker is cut, HTTPS speaks", "path silent", "SIGN OF LIFE MISSING", _without_broker),
    Case("the wall clock of the watch stops", "clock wrong", "CLOCK of the watch", _clock_stands),
)


def told(case: Case) -> list[Text]:
    """The texts of the listener."""
    setup = sample("listener")
    points = {tag.id: _point(tag.address) for tag in setup.rig.tags}
    listener, ages = watch(setup, START), Ages(START.elapsed)
    second = 0.0
    while second <= END:
        now = Moment(1, START.elapsed + second, START.utc + second)
        if second % EVERY == 0.0:
            ways = zip(("mqtt", "http"), case.signs(sign(second), second > DIES), strict=True)
            for way, heard in ways:
                if heard is not None:
                    ages.hear(way, heard, now)
        values = {tag.id: ages.value(points[tag.id], now) for tag in setup.rig.tags}
        listener.feed(
            [
                Reading(tag.id, now, tag.unit.from_si(value))
                for tag in setup.rig.tags
                if (value := values[tag.id]) is not None
            ],
            now.elapsed,
        )
        second += LOOK
    return listener.texts


def _point(address: str) -> Point:
    board, keys = split(address)
    return Point(board, read_keys(PointKeys, keys))


def after(case: Case) -> float:
    """Seconds from what happened to the first text of its turn."""
    texts = [text for text in told(case) if text.turn == case.turn]
    assert case.shown in texts[0].body, texts[0].body
    return texts[0].moment.elapsed - START.elapsed - DIES


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.what)
def test_death_is_told_within_its_class(case: Case) -> None:
    """Within 15 min, within 5 on storm footing; and nothing else is told."""
    limit = 300.0 if case.signs is _gone_in_storm else 900.0
    assert 0.0 < after(case) <= limit
    first = told(case)[0]
    assert case.turn == first.turn
    grades = {"watch silent": "urgent", "path silent": "notice", "clock wrong": "high"}
    assert grades[case.turn] == first.grade


def test_watch_in_good_health_is_not_called_silent() -> None:
    """Signs once a minute, one of them lost on the way: nobody is told."""

    def one_lost(made: Sign, _is_over: bool) -> tuple[Sign | None, Sign | None]:
        return (None, None) if made.elapsed == 500.0 + 600.0 else (made, made)

    assert [] == told(Case("", "", "", one_lost))


def test_table_of_the_page() -> None:
    """The page of signs of life has the times that this play gives."""
    rows = ["| what happens | told as | after |", "|---|---|---|"]
    rows += [f"| {case.what} | `{case.turn}` | {_shown(after(case))} |" for case in CASES]
    wanted = "\n".join(rows)
    found = marked(page("reference/signs-of-life.md"), "told from outside")
    assert wanted == found, f"the page should have:\n{wanted}\n"


def _shown(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s"
