"""Which conditions of the balance a rig can have at all, by its vessels, lines and tags.

Where a limit of the rig's own calls people for the same trouble, the condition is only recorded:
the limit's text then names the cause. Where there is none, the condition itself calls. A header
that drains back does so in an outage, whose text says it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.logic.chains import Chain
from monitor.rig import Tag
from monitor.setup import Setup

RISING = 30.0
"""Seconds from the onset of a rise after which it counts."""
SINKING = 60.0
LOSING = 300.0
"""Seconds in which water is lost without a break: a bucket is out sooner (own choice)."""
GAINING = 600.0
CREEPING = 1800.0
"""Seconds for a slow leak, which has been under way for three quarters of an hour by then."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One condition of the balance: what its spec needs. stops: no water reaches the larvae."""

    name: str
    subject: str
    grade: str
    delay: float
    group: str = "water"
    step: str = ""
    stops: bool = False


def kinds(setup: Setup, chain: Chain, first: bool) -> Iterator[Kind]:
    """The conditions of one way. first: whether no other way before it draws from its sump."""
    if not chain.drawn_by_siphon:
        return
    header, tank = chain.header, chain.tank
    if tank is not None and chain.tank_level is not None:
        grade = _unless_limit(setup, chain.tank_level, "high", "urgent")
        yield Kind("outlet blocked", tank.id, grade, RISING)
    if header is not None and chain.level is not None and header.lip is not None:
        grade = _unless_limit(setup, chain.level, "high", "urgent")
        yield Kind("overflow blocked", header.id, grade, RISING)
        if header.area:
            low = _unless_limit(setup, chain.level, "low", "high")
            yield Kind("header sinking", header.id, low, SINKING)
            yield Kind("header drains back", header.id, "record", RISING)
    for meter in (chain.flow, chain.supply):
        if meter is not None and (chain.level is not None or chain.tank_level is not None):
            yield Kind("meter doubtful", meter.id, "notice", 0.0, "sensor")
    if chain.level is not None and chain.tank_level is not None:
        yield Kind("flow doubtful", chain.line.id, "urgent", setup.delays.no_flow, stops=True)
    sump = chain.pump.source if chain.pump is not None else None
    gauge = setup.rig.tag_for("level", sump)
    if first and sump is not None and gauge is not None and setup.rig.vessel[sump].area:
        if chain.tank_level is not None:
            yield Kind("leak", sump, "urgent", LOSING, "leak", "fast")
        else:
            yield Kind("sump falling", sump, "urgent", LOSING)
        yield Kind("leak", sump, "notice", CREEPING, "leak", "slow")
        high = _unless_limit(setup, gauge, "high", "high")
        yield Kind("sump filling", sump, high, GAINING)


def _unless_limit(setup: Setup, tag: Tag, side: str, grade: str) -> str:
    """The grade, or "record" where a limit on the tag calls people for the same."""
    calls = any(
        limit.side == side and limit.grade in ("high", "urgent")
        for limit in setup.limits_of.get(tag.id, ())
    )
    return "record" if calls else grade
