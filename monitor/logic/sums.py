"""Sums of evidence that a quantity has shifted: CUSUM of Page, for two sizes of shift each way.

Each sum is the log-likelihood ratio of "shifted by so many scales since some moment" against "as
usual", for values that are independent and normal once the usual course is taken out
(Page, Biometrika 41, 1954, 100-115). Several quantities of one place are judged together by what
their sums have above what the largest of so many has by chance (soft threshold: Liu, Zhang and
Mei, Technometrics 61, 2019, from memory), so that small signs in several tags add up and a place
with many tags is not told more often.
"""

from collections.abc import Sequence
from math import log

SHIFTS = (1.5, 2.5)
"""Sizes of shift that are looked for, in scales: each sum is quickest for its own."""
CLIP = 3.0
"""Largest surprise one block can say, in scales: one outlier alone is never a change."""
LIMIT = 10.0
"""Height of the evidence at which a change is told."""

Sums = tuple[float, ...]
"""Up and down for each of SHIFTS, of one quantity."""


def none() -> Sums:
    """Nothing summed yet."""
    return (0.0,) * (2 * len(SHIFTS))


def step(up: float, down: float, surprise: float, shift: float) -> tuple[float, float]:
    """One step of a pair of sums: the log-likelihood ratios for this shift up and down."""
    least = shift / 2.0
    return max(0.0, up + shift * (surprise - least)), max(0.0, down - shift * (surprise + least))


def add(sums: Sums, surprise: float, worth: float) -> Sums:
    """One step of the sums of a quantity by what was new in it, in scales.

    worth: the smallest shift worth telling, in scales. Where that is more than a shift looked for,
    the surprise is made smaller until they are equal, so half of it is never summed up.
    """
    out: list[float] = []
    for place, shift in enumerate(SHIFTS):
        counted = surprise if worth <= shift else surprise * shift / worth
        clipped = max(-CLIP, min(CLIP, counted))
        out += step(sums[2 * place], sums[2 * place + 1], clipped, shift)
    return tuple(out)


def direction(sums: Sums) -> float:
    """The largest sum of a quantity, below zero where it went down; 0.0 where it did not move."""
    up, down = max(sums[::2]), max(sums[1::2])
    return up if up >= down else -down


def height(all_sums: Sequence[Sums]) -> float:
    """Evidence of all quantities of a place together."""
    if not all_sums:
        return 0.0
    chance = log(2 * len(SHIFTS) * len(all_sums))
    return sum(max(0.0, max(sums) - chance) for sums in all_sums)
