"""A hot afternoon announced hours before the water peaks, with clock times and honest ranges.

The water of each way is fitted to the room, and the room to the outside where a thermometer hangs
there, from the means by the hour of the last days (heat.py). What the outermost air will do is the
course of the same hours yesterday, steeper or flatter by as much as today has been so far.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.logic.chains import Chain
from monitor.logic.heat import STEP, Body, Hour, course, fit
from monitor.logic.plan import plan_of
from monitor.logic.slow import KEPT, Hours, Slow
from monitor.logic.trend_lines import Line
from monitor.rig import Tag
from monitor.setup import Setup

AHEAD = 12
"""Hours ahead that are reckoned."""
SO_FAR = 8
"""Hours back over which today is compared with yesterday."""
LEAST_RISE = 0.5
"""Rise of yesterday, K, under which today is not compared with it."""
FLATTEST, STEEPEST = 0.5, 3.0
UNSURE = 0.3
"""Share by which the course of the air may be flatter or steeper than reckoned (own choice)."""
ROUND_TO = 600.0
"""Clock times are told in ten minutes, rounded early."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """Hours till a limit is reached: as reckoned, earliest, latest (None: not in half a day)."""

    limit: float
    hours: float | None
    earliest: float
    latest: float | None


@dataclass(frozen=True, slots=True)
class Ahead:
    """What comes: the limits that may be reached, lowest first, and the peak with the hours till
    it. constant: time constant of this rig's water, h."""

    crossings: tuple[Crossing, ...]
    peak: float
    peak_hours: float
    constant: float


def water_body(setup: Setup, slow: Slow, chain: Chain, hour: int) -> Body | None:
    """The water of a way as this rig's last days show it; None while they show too little."""
    room = _room(setup)
    water = chain.temperature
    if water is None or room is None:
        return None
    return _fitted(slow.hours.get(water.id), slow.hours.get(room.id), _cooler(setup, slow), hour)


def heat_ahead(setup: Setup, slow: Slow, chain: Chain, now: float, utc: float) -> Ahead | None:
    """What the water of a way will do in the next half day, from its temperature now.

    None where nothing is fitted, or no air is known.
    """
    hour = int(utc // 3600.0) - 1
    body = water_body(setup, slow, chain, hour)
    air = None if body is None else _air(setup, slow, hour)
    if body is None or air is None:
        return None
    gone = int((utc / 3600.0 - hour - 0.5) / STEP)
    usual, flat, steep = (
        [now, *course(body, now, path[gone:], 1.0 if body.cooling else 0.0)] for path in air
    )
    peak, crossings = max(usual), []
    for limit in _limits_above(setup, chain, now, utc):
        earliest = _first([value + body.spread for value in steep], limit)
        if earliest is not None:
            latest = _first([value - body.spread for value in flat], limit)
            crossings.append(Crossing(limit, _first(usual, limit), earliest, latest))
    return Ahead(tuple(crossings), peak, usual.index(peak) * STEP, body.time_constant)


def _first(path: Sequence[float], limit: float) -> float | None:
    return next((place * STEP for place, value in enumerate(path) if value >= limit), None)


def _limits_above(setup: Setup, chain: Chain, now: float, utc: float) -> list[float]:
    tag = chain.temperature
    dph, clock = setup.dph(utc), setup.seconds_into_day(utc)
    limits = setup.limits_of.get(tag.id, ()) if tag is not None else ()
    above = {limit.value.at(dph, clock) for limit in limits if limit.side == "high"}
    return sorted(value for value in above if value > now)


def _room(setup: Setup) -> Tag | None:
    return _only(setup, "room")


def _only(setup: Setup, kind: str) -> Tag | None:
    """The thermometer of the one vessel of a kind; None where there are none or several."""
    found = [
        tag
        for vessel in setup.rig.kinds([kind])
        for tag in setup.rig.tags_for("temperature", vessel.id)
    ]
    return found[0] if len(found) == 1 else None


def _cooler(setup: Setup, slow: Slow) -> Hours | None:
    """The current of the one motor that is measured: it is taken for the cooling of the water."""
    found = [tag for tag in setup.rig.tags if tag.measures == "current"]
    return slow.hours.get(found[0].id) if len(found) == 1 else None


def _fitted(
    inner: Hours | None, outer: Hours | None, cooler: Hours | None, hour: int
) -> Body | None:
    """A body fitted to its surroundings over all hours that are kept."""
    if inner is None or outer is None:
        return None
    found = []
    for at in range(hour - KEPT + 1, hour):
        start, end = inner.at(at), inner.at(at + 1)
        air, next_air = outer.at(at), outer.at(at + 1)
        if start is None or end is None or air is None or next_air is None:
            continue
        runs = cooler.of(range(at, at + 2)) if cooler is not None and cooler.top > 0.0 else []
        share = sum(runs) / len(runs) / cooler.top if runs and cooler is not None else 0.0
        found.append(Hour(start, end, (air + next_air) / 2.0, share))
    return fit(found)


def _air(
    setup: Setup, slow: Slow, hour: int
) -> tuple[list[float], list[float], list[float]] | None:
    """The room at each step after the middle of the last full hour: as reckoned, flatter, steeper;
    None where too little is known."""
    room, outside = _room(setup), _only(setup, "other")
    within = slow.hours.get(room.id) if room is not None else None
    without = slow.hours.get(outside.id) if outside is not None else None
    now = within.at(hour) if within is not None else None
    if within is None or now is None:
        return None
    body = _fitted(within, without, None, hour)
    outermost = without if without is not None and body is not None else within
    paths = [_path(outermost, hour, change) for change in (1.0, 1.0 - UNSURE, 1.0 + UNSURE)]
    if any(path is None for path in paths):
        return None
    known = [path for path in paths if path is not None]
    if body is not None and outermost is without:
        known = [course(body, now, path, 0.0) for path in known]
    return known[0], known[1], known[2]


def _path(hours: Hours, hour: int, change: float) -> list[float] | None:
    """The air at each step after the middle of an hour: yesterday's same hours, scaled."""
    now, then = hours.at(hour), hours.at(hour - 24)
    ahead = [hours.at(hour - 24 + more) for more in range(1, AHEAD + 1)]
    if now is None or then is None or any(value is None for value in ahead):
        return None
    scale = _steepness(hours, hour, now, then) * change
    levels = [now, *(now + (value - then) * scale for value in ahead if value is not None)]
    per_hour = round(1.0 / STEP)
    return [
        before + (after - before) * (step + 0.5) / per_hour
        for before, after in pairwise(levels)
        for step in range(per_hour)
    ]


def _steepness(hours: Hours, hour: int, now: float, then: float) -> float:
    """How much more the air has risen today so far than by this hour yesterday."""
    today, yesterday = (hours.of(range(end - SO_FAR, end + 1)) for end in (hour, hour - 24))
    risen, rose = now - min(today), then - min(yesterday)
    if rose < LEAST_RISE or risen < LEAST_RISE:
        return 1.0
    return max(FLATTEST, min(STEEPEST, risen / rose))


def heat_lines(setup: Setup, slow: Slow, values: dict[str, float], utc: float) -> dict[str, Line]:
    """One line for each way whose water may reach its next limit within half a day, by name.

    values: temperatures now, SI, by tag.
    """
    lines = {}
    for chain in plan_of(setup).chains:
        tag = chain.temperature
        if tag is not None and tag.id in values:
            line = _ahead_line(setup, slow, chain, values[tag.id], utc)
            if line is not None:
                lines[f"heat ahead/{tag.of}"] = line
    return lines


def unfitted_lines(setup: Setup, slow: Slow, utc: float) -> list[str]:
    """A line for each way of which no heat can be foretold yet, though it has the thermometers."""
    hour = int(utc // 3600.0) - 1
    return [
        f"{chain.temperature.of}: no heat forecast yet; it is fitted to days on which the room and "
        "the water moved."
        for chain in plan_of(setup).chains
        if chain.temperature is not None
        and _room(setup) is not None
        and water_body(setup, slow, chain, hour) is None
    ]


def _ahead_line(setup: Setup, slow: Slow, chain: Chain, now: float, utc: float) -> Line | None:
    tag, found = chain.temperature, heat_ahead(setup, slow, chain, now, utc)
    if tag is None or found is None or not found.crossings:
        return None

    def clock(hours: float) -> str:
        at = (utc + hours * 3600.0) // ROUND_TO * ROUND_TO
        return f"{setup.local(at):%H:%M}"

    said = []
    for item in found.crossings:
        limit, first = tag.unit.show(item.limit), clock(item.earliest)
        latest = "later or never" if item.latest is None else clock(item.latest)
        if item.hours is None:
            said.append(f"{limit} possible from {first}")
        else:
            said.append(f"{limit} about {clock(item.hours)} ({first} to {latest})")
    worst = found.crossings[-1]
    short = f"{tag.unit.show(worst.limit)} possible from {clock(worst.earliest)}"
    return Line(
        f"{tag.of} {short}: shade, cool.",
        f"{tag.of}: {', '.join(said)}; peak {tag.unit.show(found.peak)} about "
        f"{clock(found.peak_hours)} (time constant {found.constant:.0f} h).",
    )
