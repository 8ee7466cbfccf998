"""Who is called in which order: the written list, exchanges on it, and who sleeps on site. Pure.

Written times are those of the clock on the wall, so that a night on which the clocks change is
an hour longer or shorter and nobody has to do anything.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from monitor.logic.state import Durable
from monitor.setup import DAY, Person, Setup

FROM_BED_ON_SITE = 120.0
"""Seconds from the siren to the tank for somebody who sleeps on site (common practice, no
source)."""
AHEAD = 8
"""Days that are looked through for the next turn: a week, and a day to see it change."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A span (UTC seconds) with one call order, as listed."""

    start: float
    end: float
    order: tuple[str, ...]


def order_at(setup: Setup, durable: Durable, utc: float) -> tuple[str, ...]:
    """The call order at a moment: whoever sleeps on site, then the list.

    If the list names nobody who is known, everybody who is known is called.
    """
    people = setup.person
    found = tuple(name for name in listed(setup, durable, utc) if name in people) or tuple(people)
    sleeper = durable.sleeper
    if sleeper is None or sleeper.who not in people or utc >= sleeper.until:
        return found
    return (sleeper.who, *(name for name in found if name != sleeper.who))


def listed(setup: Setup, durable: Durable, utc: float) -> tuple[str, ...]:
    """The order of the list with the exchanges that hold."""
    order = written(setup, utc)
    for item in durable.exchanges:
        if item.start <= utc < item.end:
            order = exchanged(order, item.one, item.other)
    return order


def exchanged(order: tuple[str, ...], one: str, other: str) -> tuple[str, ...]:
    """The order with two people in each other's place; who was not in it takes the one's."""
    swapped = {one: other, other: one}
    return tuple(swapped.get(name, name) for name in order)


def orders(setup: Setup) -> tuple[tuple[str, ...], ...]:
    """Every call order that is written down."""
    listed = setup.duty
    dated = (turn.order for turn in listed.turns)
    weekly = (turn.order for turn in listed.week)
    return tuple(order for order in (listed.standing, *dated, *weekly) if order)


def written(setup: Setup, utc: float) -> tuple[str, ...]:
    """The order as it stands in the set-up: a dated turn, else the week, else standing."""
    duty = setup.duty
    for turn in duty.turns:
        if turn.start <= utc < turn.end:
            return turn.order
    if duty.week:
        for start, end, order in _week(setup, setup.local_day(utc) - timedelta(days=1), 2):
            if start <= utc < end:
                return order
    return duty.standing


def wall(setup: Setup, day: date, seconds: float) -> float:
    """UTC of a time of day of the site, as seconds after midnight.

    A time that occurs twice is its first; one that does not exist is read with the offset before
    the gap (RFC 5545, section 3.3.5).
    """
    naive = datetime(day.year, day.month, day.day) + timedelta(seconds=seconds)
    return naive.replace(tzinfo=setup.zone).timestamp()


def _week(setup: Setup, first: date, days: int) -> Iterator[tuple[float, float, tuple[str, ...]]]:
    """The turns of the week that begin on some days, as UTC."""
    for place in range(days):
        day = first + timedelta(days=place)
        for row in setup.duty.week:
            if row.day == day.weekday():
                yield wall(setup, day, row.start), wall(setup, day, row.end), row.order


def _changes(setup: Setup, durable: Durable, after: float, until: float) -> list[float]:
    """Every moment of a span at which the list may change, in order."""
    spans = [(turn.start, turn.end) for turn in setup.duty.turns]
    spans += [(item.start, item.end) for item in durable.exchanges]
    if setup.duty.week:
        day = setup.local_day(after) - timedelta(days=1)
        days = int((until - after) // DAY) + 3
        spans += [(start, end) for start, end, _ in _week(setup, day, days)]
    return sorted({at for span in spans for at in span if after < at <= until})


def turns(setup: Setup, durable: Durable, after: float, until: float) -> list[Turn]:
    """The spans of one call order each from `after` to `until`, the first as it stands then."""
    found = [Turn(after, until, listed(setup, durable, after))]
    for at in _changes(setup, durable, after, until):
        order = listed(setup, durable, at)
        if order != found[-1].order and at < until:
            last = found.pop()
            found += [Turn(last.start, at, last.order), Turn(at, until, order)]
    return found


def next_turn(setup: Setup, durable: Durable, after: float) -> Turn | None:
    """The next turn with another person first, within a week; its end is where that changes."""
    coming = turns(setup, durable, after, after + AHEAD * DAY)
    first = [turn.order[:1] for turn in coming]
    start = next((place for place in range(1, len(coming)) if first[place] != first[0]), None)
    if start is None:
        return None
    end = next(
        (place for place in range(start + 1, len(coming)) if first[place] != first[start]), None
    )
    ends = coming[end].start if end is not None else coming[-1].end
    return Turn(coming[start].start, ends, coming[start].order)


def night_of(setup: Setup, utc: float, weekday: int | None = None) -> tuple[float, float]:
    """The duty of a night as UTC: tonight's (that under way until the quiet hours end), or the
    next that begins on a weekday (0 is Monday)."""
    day, evening = setup.local_day(utc), setup.duty.evening
    if weekday is None and setup.seconds_into_day(utc) < setup.quiet[1]:
        day -= timedelta(days=1)
    if weekday is not None:
        day += timedelta(days=(weekday - day.weekday()) % 7)
    return wall(setup, day, evening), wall(setup, day + timedelta(days=1), evening)


def to_door(setup: Setup, durable: Durable, person: Person, utc: float, by_night: bool) -> float:
    """Seconds from a text to the door."""
    sleeper = durable.sleeper
    if sleeper is not None and sleeper.who == person.id and utc < sleeper.until:
        return FROM_BED_ON_SITE
    return person.night if by_night else person.day
