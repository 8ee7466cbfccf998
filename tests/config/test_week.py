"""[[week]] of duty.toml: no hour may have nobody, none may have two turns."""

import pytest

from config.small import SMALL
from monitor.config import load_texts
from monitor.errors import SetupError
from monitor.setup import DAY, WeekTurn

NIGHTS = """[[week]]
days = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
start = "18:00"
end = "07:00"
order = ["tavrin"]
"""
DAYS = NIGHTS.replace('"18:00"', '"07:00"', 1).replace('end = "07:00"', 'end = "18:00"')


def with_week(rows: str, standing: bool = True) -> dict[str, str]:
    """The small set-up with these rows."""
    text = SMALL["duty.toml"]
    if not standing:
        text = text.replace('standing = ["tavrin"]\n', "", 1)
    return {**SMALL, "duty.toml": text + rows}


def told(rows: str, standing: bool = True) -> list[tuple[str, str, str]]:
    """File and line, key and wrong of every problem."""
    try:
        load_texts(with_week(rows, standing), 1)
    except SetupError as error:
        return [(f"{item.file}:{item.line}", item.key, item.wrong) for item in error.problems]
    return []


def test_a_whole_week_needs_no_standing_order() -> None:
    """Nights and days of every day: nobody is missing."""
    setup = load_texts(with_week(DAYS + NIGHTS, standing=False), 1)
    assert () == setup.duty.standing
    assert 14 == len(setup.duty.week)
    assert WeekTurn(0, 7 * 3600.0, 18 * 3600.0, ("tavrin",)) == setup.duty.week[0]
    assert WeekTurn(6, 18 * 3600.0, DAY + 7 * 3600.0, ("tavrin",)) == setup.duty.week[-1]
    assert "tavrin" == setup.manager


def test_a_night_with_nobody_is_refused_with_its_line() -> None:
    """Sunday night is forgotten and no standing order fills it: file, line and hours are told."""
    rows = DAYS + NIGHTS.replace(', "Sun"', "")
    (found,) = told(rows, standing=False)
    place, key, wrong = found
    assert "leaves nobody on duty from Sun 18:00 to Mon 07:00" == wrong
    line = int(place.partition(":")[2])
    text = with_week(rows, standing=False)["duty.toml"].splitlines()
    assert ("duty.toml", 'end = "18:00"') == (place.partition(":")[0], text[line - 1])
    assert key.endswith("end")


def test_the_standing_order_fills_the_gaps() -> None:
    """The same week is sound where there is a standing order."""
    assert [] == told(NIGHTS.replace(', "Sun"', ""))


def test_neither_week_nor_standing_order() -> None:
    """Dated turns alone end some day: refused."""
    (found,) = told("", standing=False)
    assert ("standing", "is missing, so that there may be nobody to call") == found[1:]


@pytest.mark.parametrize(
    ("start", "end"), [("17:00", "20:00"), ("06:00", "08:00"), ("18:00", "18:00")]
)
def test_turns_of_one_week_that_overlap(start: str, end: str) -> None:
    """Two turns at one hour are refused, also over the end of the week."""
    rows = (
        NIGHTS + f'[[week]]\ndays = ["Sun"]\nstart = "{start}"\nend = "{end}"\norder = ["tavrin"]\n'
    )
    assert any("overlaps the turn in line" in wrong for _, _, wrong in told(rows))


@pytest.mark.parametrize(
    ("old", "new", "wrong"),
    [
        ('"Mon"', '"Someday"', "is not one of the words known here"),
        ('"18:00"', '"25:00"', "is not a time such as 07:00"),
        ('["tavrin"]', "[]", "is empty, so that nobody would be called"),
        ('["tavrin"]', '["ghost"]', "is not a [[person]] of duty.toml"),
        ('end = "07:00"\n', "", "is missing"),
    ],
)
def test_rows_that_cannot_be(old: str, new: str, wrong: str) -> None:
    """Each is told with its line."""
    found = told(NIGHTS.replace(old, new, 1))
    assert any(wrong in item[2] for item in found), found
    assert all(place.startswith("duty.toml:") for place, _, _ in found)
