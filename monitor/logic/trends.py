"""Slow trends with dates: what moves over days, how fast, and when it reaches its border.

A slope is the median of the changes from each clock hour to the same one a day later (after Theil
1950 and Sen 1968), so the course of the day and the hours of feeding do not count. Its honest range
are the quarters of those changes. A trend is told only where nine in ten of them go one way, and
where it reaches its border within a week.

What is told of them: trend_lines.py.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import median

from monitor.logic.slow import KEPT, Hours

DAY_HOURS = 24
FEWEST_PAIRS = 12
"""Hours of a day that must be known on the day before too."""
ONE_WAY = 0.8
"""Share of the changes that must go one way, less those that go the other: nine in ten."""
LEAST_A_DAY = 0.005
"""Smallest trend worth a line, as a share of the quantity a day (own choice)."""
AHEAD = 7 * DAY_HOURS
"""Hours ahead for which a border is looked for."""
NOW_HOURS = 3
"""The present value is the median of so many hours."""


@dataclass(frozen=True, slots=True)
class Trend:
    """A quantity that goes one way: value now, change a day as told, and its slow and fast end."""

    now: float
    a_day: float
    slow: float
    fast: float


def trend(hours: Hours, hour: int) -> Trend | None:
    """The trend of a tag as of an hour; None where there is none, or too little is known.

    It must have gone one way on the last day and on the day before. Where it has so for longer,
    older days count too: what is slow needs them, what began the day before yesterday must not be
    made slow by them.
    """
    recent = hours.of(range(hour - NOW_HOURS + 1, hour + 1))
    days = [list(_changes(hours, hour, back)) for back in range(KEPT // DAY_HOURS)]
    if not recent or min(len(days[0]), len(days[1])) < FEWEST_PAIRS:
        return None
    first, second = median(days[0]), median(days[1])
    if first * second <= 0.0:
        return None
    slopes = sorted([*days[0], *days[1]])
    for older in days[2:]:
        if len(older) < FEWEST_PAIRS or _one_way(older) * first < ONE_WAY * abs(first):
            break
        slopes = sorted([*slopes, *older])
    now, middle = median(recent), median(slopes)
    if abs(_one_way(slopes)) < ONE_WAY or abs(middle) < LEAST_A_DAY * abs(now):
        return None
    quarter = len(slopes) // 4
    low, high = slopes[quarter], slopes[-1 - quarter]
    slow, fast = (low, high) if middle > 0.0 else (high, low)
    return Trend(now, middle, slow, fast)


def _changes(hours: Hours, hour: int, back: int) -> Iterator[float]:
    """Change of each clock hour since the day before, of the day that ended so many days back."""
    end = hour - back * DAY_HOURS
    for later in range(end - DAY_HOURS + 1, end + 1):
        value, before = hours.at(later), hours.at(later - DAY_HOURS)
        if value is not None and before is not None:
            yield value - before


def _one_way(slopes: list[float]) -> float:
    """Share of changes that rise less the share that falls."""
    return sum((slope > 0.0) - (slope < 0.0) for slope in slopes) / len(slopes)


@dataclass(frozen=True, slots=True)
class Reach:
    """Hours from now to a border: as reckoned, at the earliest, at the latest (None: not seen)."""

    hours: int
    earliest: int
    latest: int | None


def reach(found: Trend, border: Callable[[int], float | None]) -> Reach | None:
    """When a trend reaches its border; None where not within a week.

    border: the value to be reached so many hours from now (a set flow changes with age), None
    where there is none.
    """

    def first(a_day: float) -> int | None:
        for ahead in range(1, AHEAD + 1):
            value, wall = found.now + a_day * ahead / DAY_HOURS, border(ahead)
            if wall is not None and (value - wall) * found.a_day >= 0.0:
                return ahead
        return None

    hours, earliest = first(found.a_day), first(found.fast)
    if hours is None or earliest is None:
        return None
    return Reach(hours, earliest, first(found.slow))
