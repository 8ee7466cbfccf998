"""What is kept of quantities that move slowly: means by the hour, and flows that dropped out."""

from dataclasses import dataclass, field

KEPT = 144
"""Hours kept of each tag: six days, so that the last five can be compared hour by hour."""
DIGITS = 6
"""Significant digits of a mean; finer than any sensor here, and short in the stored document."""


@dataclass(frozen=True, slots=True)
class Hours:
    """Means of one tag, SI, oldest first; the last is that of hour `last` (hours since 1970, UTC).

    None: too little was read. top: the largest value ever taken of it.
    """

    last: int
    means: tuple[float | None, ...]
    top: float

    def at(self, hour: int) -> float | None:
        """Mean of an hour, None where none is kept."""
        place = hour - self.last + len(self.means) - 1
        return self.means[place] if 0 <= place < len(self.means) else None

    def of(self, hours: range) -> list[float]:
        """The means of these hours, without those that are missing."""
        return [mean for hour in hours if (mean := self.at(hour)) is not None]

    def degree_hours(self, border: float, hours: range) -> float:
        """Degree-hours above a border in these hours, C h; a missing hour counts nothing."""
        return sum(max(0.0, mean - border) for mean in self.of(hours))

    def plus(self, hour: int, mean: float | None, top: float) -> "Hours":
        """With one more hour; hours between are missing, what is too old is dropped."""
        gap = hour - self.last - 1
        if gap < 0:
            return self
        means = (*self.means, *(None,) * min(gap, KEPT), None if mean is None else _short(mean))
        return Hours(hour, means[-KEPT:], self.top if mean is None else max(self.top, _short(top)))


def _short(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


@dataclass(frozen=True, slots=True)
class HourSum:
    """Minutes of one tag taken in the hour under way."""

    count: int = 0
    total: float = 0.0
    top: float = float("-inf")


@dataclass(frozen=True, slots=True)
class Minutes:
    """The hour under way, and the minute (of elapsed time) under way; -1: none yet.

    due: elapsed time of the first full minute of the next hour.
    """

    minute: int = -1
    hour: int = -1
    due: float = 0.0
    sums: dict[str, HourSum] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Dips:
    """Local days (numbered) on which the flow of a line dropped out, and how often; newest last."""

    days: tuple[int, ...] = ()
    counts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Slow:
    """All of it: hours by tag, dips by line, and the local day each line of words was last told."""

    hours: dict[str, Hours] = field(default_factory=dict)
    dips: dict[str, Dips] = field(default_factory=dict)
    told: dict[str, int] = field(default_factory=dict)
