"""Units people write, and the SI units used inside.

Inside, a level is in metres, a flow in cubic metres per second, a pressure in pascals, a
temperature in degrees Celsius, an electric current in amperes; a state is 1.0 or 0.0. Values are
converted where they enter (scaling) and where they are shown (wording), nowhere else.
"""

from dataclasses import dataclass

LITRE = 1e-3
L_PER_MIN = LITRE / 60.0
US_GALLON = 3.785411784e-3


@dataclass(frozen=True, slots=True)
class Unit:
    """SI value = shown value * scale + offset; `decimals` is how finely people read it."""

    name: str
    scale: float
    offset: float = 0.0
    decimals: int = 1

    def to_si(self, shown: float) -> float:
        return shown * self.scale + self.offset

    def from_si(self, value: float) -> float:
        return (value - self.offset) / self.scale

    def difference_to_si(self, shown: float) -> float:
        """A difference (deadband, band width) scales without the offset."""
        return shown * self.scale

    def show(self, value: float) -> str:
        return f"{self.from_si(value):.{self.decimals}f} {self.name}".strip()


_STATE = (Unit("", 1.0, decimals=0),)
UNITS: dict[str, tuple[Unit, ...]] = {
    "flow": (
        Unit("L/min", L_PER_MIN),
        Unit("gph", US_GALLON / 3600.0, decimals=0),
        Unit("m3/h", 1.0 / 3600.0, decimals=3),
        Unit("L/h", LITRE / 3600.0, decimals=0),
    ),
    "flow check": (
        Unit("L/min", L_PER_MIN),
        Unit("gph", US_GALLON / 3600.0, decimals=0),
        Unit("L/h", LITRE / 3600.0, decimals=0),
    ),
    "level": (
        Unit("cm", 1e-2),
        Unit("mm", 1e-3, decimals=0),
        Unit("m", 1.0, decimals=3),
        Unit("in", 0.0254),
    ),
    "temperature": (Unit("C", 1.0), Unit("F", 1.0 / 1.8, -32.0 / 1.8)),
    "pressure": (Unit("kPa", 1e3), Unit("Pa", 1.0, decimals=0), Unit("bar", 1e5, decimals=3)),
    "current": (Unit("A", 1.0, decimals=2),),
    "light": (Unit("lx", 1.0, decimals=0),),
    "voltage": (Unit("V", 1.0, decimals=2),),
    "salinity": (Unit("g/kg", 1.0),),
    "share": (Unit("%", 1e-2, decimals=0),),
    "number": (Unit("", 1.0, decimals=2),),
    "age": (Unit("s", 1.0, decimals=0), Unit("min", 60.0)),
    "mains": _STATE,
    "float": _STATE,
    "flow witness": _STATE,
    "wet": _STATE,
}
"""The units accepted for each measured quantity; the first is the default."""

STATES: dict[str, tuple[str, str]] = {
    "mains": ("off", "on"),
    "float": ("open", "closed"),
    "flow witness": ("no flow", "flow"),
    "wet": ("dry", "wet"),
}
"""Quantities that are no or yes, 0.0 or 1.0, with the words for both.

A float is closed while there is water above it; a cut wire reads open.
"""


def unit_of(quantity: str, name: str | None = None) -> Unit:
    """The unit `name` of a quantity (its default when None). KeyError if there is none."""
    for unit in UNITS[quantity]:
        if name is None or unit.name == name:
            return unit
    raise KeyError(name)
