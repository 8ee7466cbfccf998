"""What is usual for one quantity: level, drift, spread, and how far its values hang together.

Learnt from the quantity's own last values, which come one a block. Two kinds of noise have to be
told apart from a change: what is new in each value, and what hangs on from value to value. The
first is the scale of a surprise; both together say how far means of many values wander.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import median

ENOUGH = 72
"""Values without which nothing is usual yet: 6 min of blocks at one reading a second."""
STRAIGHT = 120
"""Values over which a drift counts as straight: heating and cooling bend it."""
MEMORY = 30
"""Looks back over which the wander is averaged: about half an hour of blocks at 1 Hz."""
OUTLIER = 2.5
"""Differences beyond so many robust scales are pulled in before mean and spread are taken."""
MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation, normal distribution."""
MOST_LINK = 0.95
"""Largest dependence that is believed: beyond it a value is as good as a sum of the past."""
SPANS = (6, 15)
"""Numbers of values over which means are taken to see how far they wander."""

Course = Sequence[tuple[int, float]]
"""(number of the block, value) in order; numbers are left out where nothing was read."""


@dataclass(frozen=True, slots=True)
class Usual:
    """The usual course of one quantity, as of block number `at`.

    level: expected value at that block; drift: its change a block. link: how much of a difference
    is still there one block later (0 none, 1 all). scale: standard deviation of what is new in a
    value. worth: the smallest lasting shift worth telling.
    """

    at: int
    level: float
    drift: float
    link: float
    scale: float
    worth: float

    def expected(self, number: float) -> float:
        """Level at a block."""
        return self.level + self.drift * (number - self.at)

    def surprise(self, rest: float, before: float | None) -> float:
        """What is new in a difference from the level, in scales, given the one a block before."""
        if before is None:
            return rest / self.scale * sqrt(1.0 - self.link * self.link)
        return (rest - self.link * before) / self.scale

    @property
    def worth_in_scales(self) -> float:
        """The smallest shift worth telling as it shows in the surprises of a lasting shift."""
        return self.worth * (1.0 - self.link) / self.scale

    @property
    def wander(self) -> float:
        """Standard deviation of long sums of differences, a root of a block (long-run)."""
        return self.scale / (1.0 - self.link)


def learn(
    course: Course, at: int, worth: float, wander: float = 0.0, drifts: bool = False
) -> Usual | None:
    """The usual course from the last values, for block `at`; None while there are too few.

    worth: the smallest shift worth telling; where it is 0 nothing can be judged. wander: how far
    its means are known to go, whatever these values say.
    drifts: whether it goes up or down with nothing wrong, as a temperature does; then only the
    newest values count.

    The link is the correlation of neighbours, with its bias for short series taken out
    (Kendall 1954, from memory). Where means of several values wander further than that link
    explains, the scale grows until they do not.
    """
    if len(course) < ENOUGH or worth <= 0.0:
        return None
    if drifts:
        course = course[-STRAIGHT:]
    numbers = [number for number, _ in course]
    middle = sum(numbers) / len(numbers)
    drift = _drift(course, middle) if drifts else 0.0
    flat = [value - drift * (number - middle) for number, value in course]
    centre = median(flat)
    spread = MAD_TO_SIGMA * median([abs(value - centre) for value in flat])
    reach = OUTLIER * max(spread, worth / 4.0)
    rests = [max(-reach, min(reach, value - centre)) for value in flat]
    shift = sum(rests) / len(rests)
    rests = [rest - shift for rest in rests]
    link, new = _linked(numbers, rests)
    far = max(
        new,
        wander * (1.0 - link),
        *(_spread_of_means(rests, span) * (1.0 - link) for span in SPANS),
    )
    level = centre + shift + drift * (at - middle)
    return Usual(at, level, drift, link, max(new, far, worth * 1e-3), worth)


def _drift(course: Course, middle: float) -> float:
    """Change a block, by least squares."""
    weighted = sum((number - middle) * value for number, value in course)
    return weighted / sum((number - middle) ** 2 for number, _ in course)


def _linked(numbers: list[int], rests: list[float]) -> tuple[float, float]:
    """Correlation of neighbours, and standard deviation of what it does not explain."""
    squares = sum(rest * rest for rest in rests)
    if squares <= 0.0:
        return 0.0, 0.0
    pairs = [(a, b) for (m, a), (n, b) in pairwise(zip(numbers, rests, strict=True)) if n == m + 1]
    if len(pairs) < ENOUGH // 2:
        return 0.0, sqrt(squares / len(rests))
    link = sum(a * b for a, b in pairs) / squares * len(rests) / (len(pairs) + 1)
    link = max(0.0, min(MOST_LINK, link + (1.0 + 3.0 * link) / len(pairs)))
    return link, sqrt(sum((b - link * a) ** 2 for a, b in pairs) / len(pairs))


def _spread_of_means(rests: list[float], span: int) -> float:
    """Standard deviation of means of so many values, times the root of their number."""
    means = [
        sum(rests[begin : begin + span]) / span for begin in range(0, len(rests) - span + 1, span)
    ]
    return sqrt(sum(mean * mean for mean in means) / (len(means) - 1) * span)


def wandered(was: float, missed: float, count: int) -> float:
    """The wander, with one more mean of so many values that was off by so much, averaged slowly.

    One mean counts three times the wander at most.
    """
    seen = min(abs(missed) * sqrt(count), 3.0 * was)
    return sqrt(ewma(was * was, seen * seen, 1.0 / MEMORY))


def ewma(was: float, value: float, share: float) -> float:
    """Exponentially weighted moving average (Roberts 1959): `share` of the new value, 0 to 1."""
    return was + share * (value - was)
