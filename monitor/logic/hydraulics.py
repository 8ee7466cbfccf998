"""Closed forms for a header that drains through a siphon.

A siphon from a header to a lower surface flows as the square root of its head, so a header
without supply drains by A dh/dt = -k sqrt(H), k = Q/sqrt(H), and needs
t = 2 A (sqrt(H1) - sqrt(H2)) / k from head H1 to head H2 (Torricelli; any hydraulics text).
"""

from math import pi, sqrt


def drain_time(
    area: float, flow: float, level: float, lip: float, end: float, head: float | None
) -> float:
    """Seconds until a header without supply falls from `level` to `end`.

    area m2; flow m3/s with the header at its lip; levels m above the header floor; head: height
    from the surface below to the header lip, m, or None: then simple division (5 to 10 % early).

    >>> round(drain_time(0.49, 6.0 / 60000, 0.38, 0.38, 0.12, 1.05) / 60, 1)
    22.7
    """
    if level <= end:
        return 0.0
    if head is None or head <= lip - end:
        return area * (level - end) / flow
    drop = sqrt(head - (lip - level)) - sqrt(head - (lip - end))
    return 2.0 * area * drop * sqrt(head) / flow


def flow_at(flow_at_lip: float, level: float, lip: float, head: float | None) -> float:
    """Siphon flow at a header level, from the flow at the lip."""
    if head is None or head <= lip - level:
        return flow_at_lip
    return flow_at_lip * sqrt((head - (lip - level)) / head)


WEIR = 1.84
"""Sharp-crested weir without end contractions in SI, Q = 1.84 L x^1.5 (Francis; any hydraulics
text, from memory). A standpipe spills over its whole rim, L = pi d."""
STANDPIPE = 0.050
"""Metres: the bore of an overflow whose line says none, the usual one (common practice)."""


def lip_layer(flow: float, bore: float | None) -> float:
    """Depth of the water over the rim of a standpipe, m, at a flow in m3/s.

    >>> round(lip_layer(3.0 / 60000, 0.050) * 1e3, 1), round(lip_layer(6.0 / 60000, 0.050) * 1e3, 1)
    (3.1, 4.9)
    """
    if flow <= 0.0:
        return 0.0
    return float((flow / (WEIR * pi * (bore or STANDPIPE))) ** (2.0 / 3.0))
