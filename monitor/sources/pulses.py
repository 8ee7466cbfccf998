"""From pulses of a turbine to a flow. No I/O.

Q = N / (K t): N pulses in t seconds from a turbine that gives K pulses a litre. One pulse is the
step of the figure, so the gate decides: 450 pulses a litre give steps of 0.13 L/min over 1 s and
0.013 over 10 s (arithmetic).
"""

from collections import deque
from typing import Annotated

from pydantic import Field
from pydantic.dataclasses import dataclass as checked

from monitor.rig import Tag
from monitor.sources.addresses import KEYS
from monitor.sources.polled import NoReading, in_unit
from monitor.units import LITRE

PROBLEMS = ("counter set back",)
"""The problem word that reckoning with pulses may give."""

OLDEST = 3.0
"""Readings beyond the gate after which a count is too old to stand for the flow now."""


@checked(frozen=True, slots=True, config=KEYS)
class PulseKeys:
    """gate_s: seconds the flow is meant over, at least one reading interval.

    zero_below: flow in the unit of the tag below which it counts as none.
    """

    pulses_per_litre: Annotated[float, Field(gt=0.0, le=1e6)]
    gate_s: Annotated[float, Field(ge=0.0, le=600.0)] = 0.0
    zero_below: Annotated[float, Field(ge=0.0, le=1e6)] = 0.0


class PulseFlow:
    """The flow of one turbine, from its count at one reading after the other."""

    def __init__(self, tag: Tag, keys: PulseKeys) -> None:
        self._tag = tag
        self._keys = keys
        self._total = 0
        self._count: int | None = None
        self._trail: deque[tuple[float, int]] = deque()

    def flow(self, at: float, count: int, ceiling: int | None = None) -> float | None:
        """The flow in the unit of the tag, None until there are two counts to compare.

        at: watch time of the count, s. ceiling: the highest count, after which it goes on at 0.
        A count that went down by more than half of that was not wrapped but set back, as by a
        restart of its driver: NoReading, and the comparison begins anew.
        """
        step = self._step(count, ceiling)
        if step < 0:
            self._trail.clear()
        self._total += max(0, step)
        oldest = at - self._keys.gate_s - OLDEST * self._tag.every
        while self._trail and (self._trail[0][0] < oldest or self._spare(at)):
            self._trail.popleft()
        self._trail.append((at, self._total))
        if step < 0:
            raise NoReading("counter set back", f"by {-step}, to {count}")
        began, total = self._trail[0]
        if at <= began:
            return None
        litres = (self._total - total) / self._keys.pulses_per_litre
        flow = in_unit(self._tag, litres * LITRE / (at - began))
        return flow if flow >= self._keys.zero_below else 0.0

    def _step(self, count: int, ceiling: int | None) -> int:
        """Pulses since the last count; negative where it was set back."""
        last, self._count = self._count, count
        if last is None:
            return 0
        step = count - last
        if step < 0 and ceiling is not None and last <= ceiling:
            wrapped = step + ceiling + 1
            return wrapped if wrapped <= ceiling // 2 else step
        return step

    def _spare(self, at: float) -> bool:
        """Whether the second oldest count is enough to fill the gate."""
        return len(self._trail) > 1 and at - self._trail[1][0] >= self._keys.gate_s
