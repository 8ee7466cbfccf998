"""Closed forms for a header that drains through a siphon.

A siphon from a header to a lower surface flows as the square root of its head, so a header
without supply drains by A dh/dt = -k sqrt(H), k = Q/sqrt(H), and needs
t = 2 A (sqrt(H1) - sqrt(H2)) / k from head H1 to head H2 (Torricelli; any hydraulics text).
"""

from math import sqrt


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
