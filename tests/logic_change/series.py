"""Made-up series for the change detection, and the loop it is tried on."""

import random
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from monitor.config import load
from monitor.logic import change
from monitor.rig import Tag
from monitor.setup import Setup
from monitor.units import unit_of

SAMPLES = Path(__file__).parents[2] / "sample_config"
FLOW = Tag("LF", "flow", "L1", unit_of("flow"), "file", every=1.0)
WATER = Tag("TL", "temperature", "L1", unit_of("temperature"), "file", every=1.0)
SHAKE = Tag("V1", "number", "L1", unit_of("number"), "file", every=1.0)
BLOCK = change.READINGS


def watched() -> Setup:
    """The test loop whose tags are followed."""
    return load(SAMPLES / "loop-watched")


def noise(phi: float, sigma: float, seed: int) -> Iterator[float]:
    """AR(1) values of this standard deviation without end."""
    chance, last = random.Random(seed), 0.0
    while True:
        last = phi * last + chance.gauss(0.0, 1.0) * (1.0 - phi * phi) ** 0.5
        yield last * sigma


def told(tags: tuple[Tag, ...], readings: Iterable[tuple[float | None, ...]]) -> list[float]:
    """Times at which a change was told (positive) and was over (negative), one reading a second.

    Readings are in the unit of the tag; None is no reading.
    """
    state, found, changed = None, [], False
    for second, row in enumerate(readings, start=1):
        values = tuple(
            None if value is None else (tag.unit.to_si(value), float(second))
            for tag, value in zip(tags, row, strict=True)
        )
        state = change.take(tags, state, values, float(second))
        if (state.learnt.changed_at is not None) != changed:
            changed = not changed
            found.append(float(second if changed else -second))
    return found


def one(course: Callable[[int], float], seconds: int, sigma: float, seed: int = 1) -> list[float]:
    """As `told`, for one flow that follows a course with independent noise."""
    rest = noise(0.0, sigma, seed)
    return told((FLOW,), [(course(second) + next(rest),) for second in range(seconds)])
