"""Readings of a followed tag gathered into blocks: their mean, and how they scatter."""

from dataclasses import dataclass
from math import log
from typing import NamedTuple

FEWEST = 3
"""Readings in a block without which its scatter is not known."""


class Said(NamedTuple):
    """What a tag said in a block, SI: mean, variance (None: too few readings), smallest step."""

    mean: float
    variance: float | None
    step: float


Block = tuple[int, tuple[Said | None, ...]]
"""Number of a block, and what each tag said; None where it said nothing."""


@dataclass(frozen=True, slots=True)
class Filling:
    """What a tag said so far in the block being filled; squares are about the mean."""

    count: int = 0
    total: float = 0.0
    squares: float = 0.0
    last: float = 0.0
    step: float = 0.0

    def plus(self, value: float) -> "Filling":
        """With one more reading (recursion of Welford 1962, exact for large values too)."""
        if self.count == 0:
            return Filling(1, value, 0.0, value, 0.0)
        step = abs(value - self.last)
        if step == 0.0 or 0.0 < self.step < step:
            step = self.step
        count = self.count + 1
        off = value - self.total / self.count
        squares = self.squares + off * off * self.count / count
        return Filling(count, self.total + value, squares, value, step)

    @property
    def said(self) -> Said | None:
        if self.count == 0:
            return None
        variance = self.squares / (self.count - 1) if self.count >= FEWEST else None
        return Said(self.total / self.count, variance, self.step)


def scatter(said: Said, grain: float) -> float | None:
    """Logarithm of the scatter within a block, counted from what is too small to matter (> 0)."""
    return None if said.variance is None else 0.5 * log(said.variance + grain * grain)
