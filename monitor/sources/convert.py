"""From the current, voltage or pressure of a sensor to what it measures. Pure: no I/O.

Sources, by name: NAMUR NE 43 for the bands of a 4-20 mA loop; UNESCO Technical Papers in Marine
Science 44 (Fofonoff and Millard 1983) for the density of sea water.
"""

import math

from monitor.sources.polled import NoReading

PROBLEMS = ("loop open or failed", "loop short or failed", "loop uncertain", "sensor open or short")
"""Every problem word of these conversions."""

FAILED_LOW, FAILED_HIGH = 3.6e-3, 21.0e-3
"""Amperes at and beyond which the loop says failure (NAMUR NE 43)."""
VALID_LOW, VALID_HIGH = 3.8e-3, 20.5e-3
"""Amperes that mean a measured value (NAMUR NE 43); below 4 and above 20 mA it is at its end."""

GRAVITY = 9.80665
"""m/s2, standard."""


def loop_share(amperes: float) -> tuple[float, str]:
    """Share of the range of a 4-20 mA loop, and a word of doubt. NoReading where it has failed.

    Between the bands of values and of failure NE 43 says nothing: the share is given with a doubt.

    >>> loop_share(0.012)
    (0.5, '')
    """
    amperes = round(amperes, 9)  # beyond a nanoampere there is the dust of scaling only
    if amperes <= FAILED_LOW:
        raise NoReading("loop open or failed", f"{amperes * 1e3:.3f} mA")
    if amperes >= FAILED_HIGH:
        raise NoReading("loop short or failed", f"{amperes * 1e3:.3f} mA")
    doubt = "" if VALID_LOW <= amperes <= VALID_HIGH else "loop uncertain"
    return (amperes - 4e-3) / 16e-3, doubt


def ratio_share(volts: float, supply: float, low: float, high: float) -> float:
    """Share of the range of a sensor whose signal follows its supply, such as 10 to 90 % of 5 V.

    low, high: signal at the ends of the range, as shares of the supply. A signal that lies beyond
    them by half of what is left is no value but an open or shorted wire (common practice, no
    source).
    """
    if supply <= 0.0:
        raise NoReading("sensor open or short", f"supply {supply:.3f} V")
    signal = volts / supply
    if not low / 2.0 <= signal <= (1.0 + high) / 2.0:
        raise NoReading("sensor open or short", f"signal {signal:.3f} of the supply")
    return (signal - low) / (high - low)


def depth(pascal: float, density: float) -> float:
    """Height of water above the sensor, m, from the pressure it adds to that of the air.

    h = p / (rho g).
    """
    return pascal / (density * GRAVITY)


def density(salinity: float, temperature: float) -> float:
    """Density of sea water at the surface, kg/m3; within 0.01 of later standards for our water.

    salinity: practical, 0 to 42; temperature: C, -2 to 40. Source: equation of state of 1980
    (UNESCO 44), at no pressure; its scale of temperature differs by 0.01 C at most from today's.

    >>> round(density(35.0, 25.0), 3)
    1023.343
    """
    t, s = temperature, salinity
    pure = (
        999.842594
        + t * (6.793952e-2 + t * (-9.095290e-3 + t * (1.001685e-4 + t * -1.120083e-6)))
        + t**5 * 6.536332e-9
    )
    a = 8.24493e-1 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9)))
    b = -5.72466e-3 + t * (1.0227e-4 + t * -1.6546e-6)
    return pure + s * (a + math.sqrt(s) * b + s * 4.8314e-4)
