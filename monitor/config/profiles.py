"""Values by days post hatch: one number, or pairs of first dph and value."""

import math
from typing import Any

from monitor.config.lines import Path
from monitor.config.rules import is_number
from monitor.config.sheet import Sheet, shown

EVER = -999
"""The first dph of a value that holds at every age."""
YOUNGEST, OLDEST = -60, 1_000
"""Bounds of a dph in a profile: a slip of the keyboard, not an age (no source)."""
OFF = "off"

Steps = list[tuple[int, float]]


def read_profile(
    sheet: Sheet, path: Path, value: Any, low: float, high: float, off: float | None = None
) -> Steps | None:
    """The steps of a value, or None and a problem told.

    low, high: bounds of a value. off: what stands for the word "off", None where it means nothing.
    """
    if is_number(value):
        return _checked(sheet, path, [(EVER, float(value))], low, high, off)
    if not isinstance(value, list) or not value:
        wrong = f"is {shown(value)}, neither a number nor pairs of dph and value"
        sheet.problem(path, wrong, "Write pairs such as [[-9, 3.0], [5, 4.5]]")
        return None
    steps: Steps = []
    for at, pair in enumerate(value):
        step = _pair(pair, off)
        if step is None:
            sheet.problem(
                (*path, at), "is not a pair of a whole dph and a value", "Write it as [5, 4.5]"
            )
            return None
        if steps and step[0] <= steps[-1][0]:
            wrong = f"dph {step[0]} does not come after dph {steps[-1][0]}"
            sheet.problem((*path, at), wrong, "Put the pairs in rising order of dph")
            return None
        steps.append(step)
    return _checked(sheet, path, steps, low, high, off)


def _pair(pair: Any, off: float | None) -> tuple[int, float] | None:
    if not isinstance(pair, list) or len(pair) != 2:
        return None
    dph, value = pair
    if not isinstance(dph, int) or isinstance(dph, bool):
        return None
    if value == OFF and off is not None:
        return dph, off
    return (dph, float(value)) if is_number(value) else None


def _checked(
    sheet: Sheet, path: Path, steps: Steps, low: float, high: float, off: float | None
) -> Steps | None:
    for at, (dph, value) in enumerate(steps):
        if dph != EVER and not YOUNGEST <= dph <= OLDEST:
            wrong = f"dph {shown(dph)} is not between {YOUNGEST} and {OLDEST}"
        elif value == off or low <= value <= high:
            continue
        else:
            wrong = f"{shown(value)} is not between {low:g} and {high:g}"
        sheet.problem((*path, at), wrong, "Correct the number")
        return None
    return steps


def at_dph(steps: Steps, dph: int) -> float:
    """The value at an age; before the first step the first."""
    value = steps[0][1]
    for first, step in steps:
        if dph >= first:
            value = step
    return value


def is_off(value: float) -> bool:
    """Whether a limit is left out at this age."""
    return math.isinf(value)
