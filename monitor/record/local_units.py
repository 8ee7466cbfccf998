"""Columns of the day table in the units a lab writes: US gallons, degrees Fahrenheit. Pure.

The unit is the last part of a heading. Differences, such as degree-days, scale by 1.8 without
the 32.
"""

from collections.abc import Callable, Mapping

from monitor.record.labsheet import Value
from monitor.units import LITRE, US_GALLON

Change = tuple[str, Callable[[float], float]]
FAHRENHEIT: dict[str, Change] = {
    "degree_days_C_d": ("degree_days_F_d", lambda value: value * 1.8),
    "_C": ("_F", lambda value: value * 1.8 + 32.0),
}
GALLONS: dict[str, Change] = {"_l": ("_gal_us", lambda value: value * LITRE / US_GALLON)}


def in_units(cells: Mapping[str, object], fahrenheit: bool, gallons: bool) -> dict[str, Value]:
    """The same cells, headings and numbers changed where asked; words stay."""
    changes = (FAHRENHEIT if fahrenheit else {}) | (GALLONS if gallons else {})
    found: dict[str, Value] = {}
    for heading, value in cells.items():
        ending = next((ending for ending in changes if heading.endswith(ending)), None)
        plain = value if isinstance(value, int | float | None) else str(value)
        if ending is None:
            found[heading] = plain
            continue
        new, change = changes[ending]
        number = isinstance(plain, int | float) and not isinstance(plain, bool)
        found[heading.removesuffix(ending) + new] = (
            round(change(float(plain)), 3) if number and plain is not None else plain
        )
    return found
