"""[[week]] of duty.toml: turns of every week; no night of it may have nobody."""

from collections.abc import Iterable

from monitor.config.models import WeekRow
from monitor.config.rows import Found
from monitor.config.rules import WEEK_DAYS, seconds_of_day
from monitor.config.sheet import Sheet
from monitor.setup import DAY, WeekTurn

WEEK = 7 * DAY


def week_turns(rows: Iterable[WeekRow]) -> tuple[WeekTurn, ...]:
    """One turn a day that is named; one that ends when it begins lasts a whole day."""
    found = []
    for row in rows:
        start, end = seconds_of_day(row.start), seconds_of_day(row.end)
        end += DAY if end <= start else 0.0
        found += [WeekTurn(WEEK_DAYS.index(day), start, end, tuple(row.order)) for day in row.days]
    return tuple(sorted(found, key=lambda turn: (turn.day, turn.start)))


def check_week(duty: Sheet, rows: Found, must_be_whole: bool) -> None:
    """Turns that overlap; hours with nobody, where no standing order fills them."""
    sound = [
        (path, row)
        for path, row in rows
        if all(duty.is_sound(*path, key) for key in ("days", "start", "end"))
    ]
    spans = sorted(
        (turn.day * DAY + turn.start, turn.day * DAY + turn.end, path)
        for path, row in sound
        for turn in week_turns([row])
    )
    if must_be_whole and not rows:
        wrong = "is missing, so that there may be nobody to call"
        duty.problem(("standing",), wrong, 'Add standing: the call order, ["tavrin", "oskel"]')
    if len(sound) < len(rows) or not spans:
        return
    first = spans[0]
    reached, latest = first[1], first[2]
    for start, end, path in (*spans[1:], (first[0] + WEEK, first[1] + WEEK, first[2])):
        if start < reached:
            wrong = f"overlaps the turn in line {duty.line(latest)}, from {_shown(start)}"
            duty.problem((*path, "start"), wrong, "Let one begin when the other ends")
            return
        if start > reached and must_be_whole:
            wrong = f"leaves nobody on duty from {_shown(reached)} to {_shown(start)}"
            remedy = "Add a [[week]] for it, or a standing order at the top of the file"
            duty.problem((*latest, "end"), wrong, remedy)
        reached, latest = end, path


def _shown(seconds: float) -> str:
    """A point of the week: Sat 07:00."""
    day, rest = divmod(seconds % WEEK, DAY)
    return f"{WEEK_DAYS[int(day)]} {int(rest) // 3600:02d}:{int(rest) // 60 % 60:02d}"
