"""How fast a level or a flow changes, and whether that is more than noise.

Read off the trail of a tag (its sums of ten seconds) by weighted least squares over the last
minute, two, five and fifteen. The noise is the tag's own, from neighbouring sums, so that a
straight slope does not count as noise; the error of a slope is sigma over the root of the
weighted spread of the times (Draper & Smith, Applied Regression Analysis, ch. 1, from memory).
"""

from dataclasses import dataclass
from math import hypot, sqrt
from statistics import median

from monitor.logic.state import TagState

SPANS = (40.0, 60.0, 120.0, 300.0, 900.0)
SURE = 6.0
"""Errors that a slope must exceed: five spans looked at every ten seconds of a year, on sums that
are not quite independent (own choice)."""
LATEST = 120.0
"""Seconds at the end of a slope that must still move."""
STEP_FROM = 120.0
"""Seconds of a span from which a step can be told from a slope; in a shorter one the
delay of the condition has to."""
MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation, normal distribution."""
LEVEL_FLOOR = 0.5e-3
"""Metres of noise that a single reading of a level has at least: its usual step is 1 mm."""


@dataclass(frozen=True, slots=True)
class Slope:
    """Change per second with its standard error; value and time of the middle of the line."""

    rate: float
    error: float
    value: float
    at: float

    @property
    def is_sure(self) -> bool:
        return abs(self.rate) > SURE * self.error

    def value_at(self, at: float) -> float:
        """Value on the line at a time."""
        return self.value + self.rate * (at - self.at)


class Course:
    """The last quarter of an hour of one tag, as arrays: times, values, readings in each sum."""

    __slots__ = ("at", "counts", "sigma", "values")

    def __init__(self, state: TagState, floor: float = LEVEL_FLOOR) -> None:
        trail = state.trail
        self.at = [bucket.time_sum / bucket.count for bucket in trail]
        self.values = [bucket.value_sum / bucket.count for bucket in trail]
        self.counts = [bucket.count for bucket in trail]
        self.sigma = self._noise(floor)

    def _noise(self, floor: float) -> float:
        """Standard deviation of one reading, from the differences of neighbouring sums."""
        values, counts = self.values, self.counts
        steps = [
            abs(values[i] - values[i - 1]) / sqrt(1.0 / counts[i] + 1.0 / counts[i - 1])
            for i in range(1, len(values))
        ]
        return max(floor, MAD_TO_SIGMA * median(steps)) if steps else floor

    def slope(self, span: float) -> Slope | None:
        """The line through the last `span` seconds; None where less than most of that is there."""
        first = len(self.at) - 1
        start = self.at[-1] - span
        while first > 0 and self.at[first - 1] >= start:
            first -= 1
        at, values, counts = self.at[first:], self.values[first:], self.counts[first:]
        if len(at) < 3 or at[-1] - at[0] < 0.5 * span:
            return None
        total = sum(counts)
        mean_at = sum(n * t for n, t in zip(counts, at, strict=True)) / total
        mean = sum(n * v for n, v in zip(counts, values, strict=True)) / total
        spread = sum(n * (t - mean_at) ** 2 for n, t in zip(counts, at, strict=True))
        rate = (
            sum(n * (t - mean_at) * v for n, t, v in zip(counts, at, values, strict=True)) / spread
        )
        return Slope(rate, self.sigma / sqrt(spread), mean, mean_at)

    def sure(self) -> Slope | None:
        """The slope over the shortest span in which it is sure; None where none is."""
        for span in SPANS:
            found = self.slope(span)
            if found is None or not found.is_sure or not self._goes_on(found.rate, span):
                continue
            if span < STEP_FROM or not self._is_step(abs(found.rate) * span, span):
                return found
        return None

    def _is_step(self, whole: float, span: float) -> bool:
        """Whether one place in the span holds a quarter of the change and more: a bucket taken
        out or poured in is no slope, however long a line is laid through it.

        A line through a step makes the change up to one and a half times what it is.
        """
        wide = max(20.0, span / 15.0)
        start, place = self.at[-1] - span, self.at[-1] - wide
        while place - wide >= start:
            before, after = self.mean(place - wide, place), self.mean(place, place + wide)
            if before is not None and after is not None:
                change, error = abs(after[0] - before[0]), hypot(before[1], after[1])
                if change > max(0.25 * whole, 4.0 * error):
                    return True
            place -= wide / 2.0
        return False

    def _goes_on(self, rate: float, span: float) -> bool:
        """Whether its latest third, and of a long one the last two minutes, still move the same
        way: a step some time ago is no slope."""
        shortest = 2.5 * (self.at[-1] - self.at[-2])
        way = 1.0 if rate > 0.0 else -1.0
        for part in {max(span / 3.0, shortest), max(min(span / 3.0, LATEST), shortest)}:
            latest = self.slope(part)
            if latest is not None and way * latest.rate < 0.4 * abs(rate) - 2.0 * latest.error:
                return False
        return True

    def mean(self, start: float, end: float) -> tuple[float, float] | None:
        """Mean of the readings between two times and its error; None where there are none."""
        total, count = 0.0, 0
        for at, value, number in zip(self.at, self.values, self.counts, strict=True):
            if start <= at <= end:
                total += value * number
                count += number
        return (total / count, self.sigma / sqrt(count)) if count else None

    @property
    def newest(self) -> float:
        return self.at[-1]
