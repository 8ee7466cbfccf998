"""How warm the water gets, hours ahead: two bodies in a row, the room and the water in it.

Each body follows the one around it with a time constant, and has a gain of its own:

    dT/dt = link * (around - T) + gain - cooling * share

The three figures are fitted by least squares to this rig's own last days, from its means by the
hour. Where those days say too little of the link (water that was held at one temperature all the
time), there is no forecast, and it says so. Lumped capacitance: Incropera and DeWitt, Fundamentals
of Heat and Mass Transfer, section 5.1; temperatures in C, times in hours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, sqrt

SURE = 4.0
"""A link must be so many of its standard errors from nil to be believed."""
FEWEST_HOURS = 48
"""Hours without which nothing is fitted."""
SLOWEST, QUICKEST = 1.0 / 200.0, 1.0
"""Links that can be true for water or a room, 1/h; outside nothing is believed."""
STEP = 0.25
"""Hours of one step of a course; over each the surroundings count as steady."""


@dataclass(frozen=True, slots=True)
class Body:
    """What holds heat: link to its surroundings (1/h), own gain (K/h), and what cooling takes
    away while it runs (K/h; 0 where no cooling is seen). spread: K by which an hour missed."""

    link: float
    gain: float
    cooling: float = 0.0
    spread: float = 0.0

    @property
    def time_constant(self) -> float:
        """Hours after which a difference is down to 37 %."""
        return 1.0 / self.link

    def later(self, start: float, around: float, hours: float, share: float = 0.0) -> float:
        """Temperature after so many hours at steady surroundings."""
        end = around + (self.gain - self.cooling * share) / self.link
        return end + (start - end) * exp(-self.link * hours)


def course(body: Body, start: float, around: Sequence[float], share: float) -> list[float]:
    """Temperatures at each step of STEP hours, surroundings given for each step."""
    found, at = [], start
    for air in around:
        at = body.later(at, air, STEP, share)
        found.append(at)
    return found


@dataclass(frozen=True, slots=True)
class Hour:
    """Means of one hour and of the next: the body, its surroundings, the share cooling ran."""

    start: float
    end: float
    around: float
    share: float


def fit(hours: Sequence[Hour]) -> Body | None:
    """The body that these hours show; None where they show too little.

    Least squares on the change from one hourly mean to the next. Fitted are link and gain, and
    the cooling where its share varied.
    """
    if len(hours) < FEWEST_HOURS:
        return None
    cools = max(h.share for h in hours) - min(h.share for h in hours) > 0.2
    rows = [
        [h.around - (h.start + h.end) / 2.0, 1.0, *([-h.share] if cools else [])] for h in hours
    ]
    changes = [h.end - h.start for h in hours]
    solved = _least_squares(rows, changes)
    if solved is None:
        return None
    (link, gain, *rest), error, spread = solved
    if not SLOWEST <= link <= QUICKEST or link < SURE * error:
        return None
    cooling = rest[0] if rest else 0.0
    return Body(link, gain, max(0.0, cooling), spread) if cooling >= 0.0 else None


def _least_squares(
    rows: list[list[float]], wanted: list[float]
) -> tuple[list[float], float, float] | None:
    """Solution, standard error of its first figure, and spread of what is left; None: no unique."""
    size = len(rows[0])
    normal = [[sum(r[i] * r[j] for r in rows) for j in range(size)] for i in range(size)]
    right = [sum(r[i] * w for r, w in zip(rows, wanted, strict=True)) for i in range(size)]
    inverse = _inverse(normal)
    if inverse is None:
        return None
    found = [sum(a * b for a, b in zip(line, right, strict=True)) for line in inverse]
    left = [
        w - sum(a * b for a, b in zip(row, found, strict=True))
        for row, w in zip(rows, wanted, strict=True)
    ]
    spread = sqrt(sum(item * item for item in left) / max(1, len(rows) - size))
    return found, spread * sqrt(max(0.0, inverse[0][0])), spread


def _inverse(matrix: list[list[float]]) -> list[list[float]] | None:
    """Inverse by elimination with pivots; None where it is singular."""
    size = len(matrix)
    work = [[*row, *(float(i == j) for j in range(size))] for i, row in enumerate(matrix)]
    for column in range(size):
        pivot = max(range(column, size), key=lambda i: abs(work[i][column]))
        if abs(work[pivot][column]) < 1e-9 * max(1.0, abs(matrix[column][column])):
            return None
        work[column], work[pivot] = work[pivot], work[column]
        top = work[column][column]
        work[column] = [item / top for item in work[column]]
        for other in range(size):
            if other != column:
                factor = work[other][column]
                work[other] = [
                    a - factor * b for a, b in zip(work[other], work[column], strict=True)
                ]
    return [row[size:] for row in work]
