"""What the slow trends of a rig are told as: one line each, with dates, for the morning.

Nobody is called for them, and nothing is told at night. Each line has a name that stays the same
from day to day, so that it is told once a day.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from monitor.logic.chains import Chain
from monitor.logic.plan import plan_of
from monitor.logic.slow import KEPT, Hours, Slow
from monitor.logic.trends import DAY_HOURS, Reach, Trend, reach, trend
from monitor.rig import Tag, Vessel
from monitor.setup import Setup
from monitor.units import LITRE

OWED = 2.0 * LITRE
"""Fresh water under which nothing is owed, m3: the noise of a sump level."""
OWED_HOURS = 26
"""Hours without a top-up after which it is owed: a day and a little."""
TOP_UP = 1.0 * LITRE
"""Rise of a sump between two hours that is a top-up, m3."""
GAP_MOVED = 0.2
"""Kelvins by which two thermometers must have drifted apart to be told (the demo sheet has a
limit of 0.3 for the gap itself)."""
SHARE_MORE, SHARE_HOURS = 0.5, 6
WARMER = 0.3
"""Cooling against this rig's own days: half of the time more over six hours; 0.3 C (limits sheet
of the demo rig)."""
OWN_DAYS, OWN_DAYS_LEAST = 5, 3
BAND_LOW = 0.8
"""Share of the set flow at which it leaves its band (common practice, no source)."""
DIPS_DAYS = 3
LEAST_HEAT = 0.1
"""Degree-hours worth a line, C h."""


class Line(NamedTuple):
    """What is to be said: in a few words with the first action, and whole."""

    short: str
    whole: str


@dataclass(frozen=True, slots=True)
class Look:
    """What is looked at: `hour` is the last full one (hours since 1970)."""

    setup: Setup
    slow: Slow
    utc: float

    @property
    def hour(self) -> int:
        return int(self.utc // 3600.0) - 1

    def hours(self, tag: Tag | None) -> Hours | None:
        return None if tag is None else self.slow.hours.get(tag.id)

    def trend(self, tag: Tag | None) -> Trend | None:
        hours = self.hours(tag)
        return None if hours is None else trend(hours, self.hour)

    def clock(self, ahead: int) -> str:
        """Day and full hour that lies so many hours ahead."""
        return f"{self.setup.local((self.hour + 1 + ahead) * 3600.0):%a %H:00}"

    def when(self, reached: Reach) -> str:
        """`about Sun 06:00 (Sat 21:00 to Sun 14:00)`."""
        latest = "later" if reached.latest is None else self.clock(reached.latest)
        return f"about {self.clock(reached.hours)} ({self.clock(reached.earliest)} to {latest})"


def trend_lines(setup: Setup, slow: Slow, utc: float) -> dict[str, Line]:
    """Every slow trend of a rig in one line each, by name; nothing where nothing moves."""
    look = Look(setup, slow, utc)
    lines: dict[str, Line | None] = {}
    for chain in plan_of(setup).chains:
        for name, line in CHAIN_LINES.items():
            lines[f"{name}/{chain.line.id}"] = line(look, chain)
    for tag in setup.rig.tags:
        if tag.measures in ("pressure", "voltage"):
            lines[f"towards its limit/{tag.id}"] = _towards_limit(look, tag)
        elif tag.measures == "current":
            lines[f"works more than usual/{tag.id}"] = _works_more(look, tag)
    for vessel in setup.rig.kinds(["sump"]):
        lines[f"top-up owed/{vessel.id}"] = _top_up_owed(look, vessel)
    return {name: line for name, line in lines.items() if line is not None}


def _supply(look: Look, chain: Chain) -> Line | None:
    """The margin of the supply over the set flow, and when it is gone: a strainer that clogs."""
    due, tag, found = look.setup.flow_due.get(chain.line.id), chain.supply, look.trend(chain.supply)
    if due is None or tag is None or found is None or found.a_day >= 0.0:
        return None

    def set_flow(ahead: int) -> float | None:
        at = look.utc + ahead * 3600.0
        return due.set_flow.at(look.setup.dph(at), look.setup.seconds_into_day(at)) or None

    reached, flow = reach(found, set_flow), set_flow(0)
    if reached is None or flow is None:
        return None
    margin = f"{100.0 * (found.now - flow) / flow:.0f} %"
    return Line(
        f"Supply meets the set flow about {look.clock(reached.hours)}: clean strainer.",
        f"Supply margin {margin}, supply falls {tag.unit.show(-found.a_day)} a day and meets the "
        f"set flow {look.when(reached)}: clean the strainer.",
    )


def _flow(look: Look, chain: Chain) -> Line | None:
    """A flow that creeps out of its band: film in the line, a creeping valve, air at the crest."""
    found = look.trend(chain.flow)
    if found is None or chain.flow is None or chain.line.id not in look.setup.flow_due:
        return None
    border = BAND_LOW if found.a_day < 0.0 else 2.0 - BAND_LOW
    reached = reach(found, lambda _: border)
    if reached is None:
        return None
    way = "falls" if found.a_day < 0.0 else "rises"
    return Line(
        f"Flow leaves its band about {look.clock(reached.hours)}: look at valve and line.",
        f"Flow {chain.flow.id} is {100.0 * found.now:.0f} % of what is set, {way} "
        f"{100.0 * abs(found.a_day):.1f} % a day and leaves its band {look.when(reached)}: look at "
        f"the valve mark, the line and the crest.",
    )


def _dips(look: Look, chain: Chain) -> Line | None:
    """A flow that dropped out and came back by itself: air collects at the crest."""
    dips = look.slow.dips.get(chain.line.id)
    today = look.setup.local_day(look.utc).toordinal()
    if dips is None:
        return None
    recent = {d: n for d, n in zip(dips.days, dips.counts, strict=True) if d > today - DIPS_DAYS}
    if sum(recent.values()) < 2:
        return None
    days = ", ".join(f"{_day(day)} {count}" for day, count in recent.items())
    return Line(
        f"Flow dropped out {sum(recent.values())} times: bleed the crest.",
        f"Flow in {chain.line.id} dropped out by itself ({days}): air at the crest. Bleed it.",
    )


def _day(ordinal: int) -> str:
    return ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[(ordinal - 1) % 7]


def _twins(look: Look, chain: Chain) -> Line | None:
    """Two thermometers in the same water that drift apart."""
    one = chain.temperature
    sump = chain.pump.source if chain.pump is not None else None
    two = look.setup.rig.tag_for("temperature", sump)
    if one is not None and two is None:
        two = next((t for t in look.setup.rig.tags_for("temperature", one.of) if t != one), None)
    first, second = look.hours(one), look.hours(two)
    if one is None or two is None or first is None or second is None:
        return None
    gaps = [
        (hour, a - b)
        for hour in range(look.hour - KEPT + 1, look.hour + 1)
        if (a := first.at(hour)) is not None and (b := second.at(hour)) is not None
    ]
    if len(gaps) < 3 * DAY_HOURS:
        return None
    before = median(gap for _, gap in gaps[:DAY_HOURS])
    now = median(gap for _, gap in gaps[-DAY_HOURS:])
    if abs(now - before) < GAP_MOVED:
        return None
    days = (gaps[-1][0] - gaps[0][0]) // DAY_HOURS
    more = "more" if now > before else "less"
    return Line(
        f"{one.id} and {two.id} drift apart: check both.",
        f"{one.id} shows {abs(now - before):.1f} C {more} against {two.id} than {days} days ago: "
        f"compare both with the reference thermometer.",
    )


def _warmer(look: Look, chain: Chain) -> Line | None:
    """Water warmer than at the same hour of this rig's own last days."""
    tag, hours = chain.temperature, look.hours(chain.temperature)
    now = None if hours is None else hours.at(look.hour)
    if tag is None or hours is None or now is None:
        return None
    usual = _own_days(hours.at, look.hour)
    if usual is None or now - usual < WARMER:
        return None
    said = f"Water {tag.unit.show(now)}, usual at this hour {tag.unit.show(usual)}"
    return Line(f"{said}.", f"{said}: look at the cooling.")


def _degree_hours(look: Look, chain: Chain) -> Line | None:
    """Heat the larvae lived through in the last day, above the lowest upper limit."""
    tag, hours = chain.temperature, look.hours(chain.temperature)
    if tag is None or hours is None:
        return None
    dph, clock = look.setup.dph(look.utc), look.setup.seconds_into_day(look.utc)
    borders = [
        limit.value.at(dph, clock)
        for limit in look.setup.limits_of.get(tag.id, ())
        if limit.side == "high"
    ]
    if not borders:
        return None
    border = min(borders)
    heat = hours.degree_hours(border, range(look.hour - DAY_HOURS + 1, look.hour + 1))
    if heat < LEAST_HEAT:
        return None
    said = f"{heat:.1f} degree-hours above {tag.unit.show(border)}"
    return Line(f"{said}.", f"{tag.of}: {said} in the last {DAY_HOURS} h.")


def _own_days(value: Callable[[int], float | None], hour: int) -> float | None:
    """Median of the same clock hour of the last days; None with fewer than three of them."""
    days = [value(hour - day * DAY_HOURS) for day in range(1, OWN_DAYS + 1)]
    known = [item for item in days if item is not None]
    return median(known) if len(known) >= OWN_DAYS_LEAST else None


def _works_more(look: Look, tag: Tag) -> Line | None:
    """A motor that runs far more of the time than on this rig's own last days."""
    hours = look.hours(tag)
    if hours is None or hours.top <= 0.0:
        return None

    def share(hour: int) -> float | None:
        seen = hours.of(range(hour - SHARE_HOURS + 1, hour + 1))
        return sum(seen) / len(seen) / hours.top if len(seen) == SHARE_HOURS else None

    now, usual = share(look.hour), _own_days(share, look.hour)
    if now is None or usual is None or now - usual < SHARE_MORE:
        return None
    said = f"{tag.id} on {100.0 * now:.0f} % of the last {SHARE_HOURS} h, usual"
    return Line(f"{said} {100.0 * usual:.0f} %.", f"{said} at this hour {100.0 * usual:.0f} %.")


def _towards_limit(look: Look, tag: Tag) -> Line | None:
    """A pressure or voltage that goes towards one of its limits."""
    found = look.trend(tag)
    if found is None:
        return None
    side = "low" if found.a_day < 0.0 else "high"
    dph, clock = look.setup.dph(look.utc), look.setup.seconds_into_day(look.utc)
    borders = [
        limit.value.at(dph, clock)
        for limit in look.setup.limits_of.get(tag.id, ())
        if limit.side == side
    ]
    ahead = [border for border in borders if (border - found.now) * found.a_day > 0.0]
    if not ahead:
        return None
    border = min(ahead, key=lambda value: abs(value - found.now))
    reached = reach(found, lambda _: border)
    if reached is None:
        return None
    way = "falls" if found.a_day < 0.0 else "rises"
    limit = f"limit {tag.unit.show(border)}"
    return Line(
        f"{tag.id} {way}: {limit} about {look.clock(reached.hours)}.",
        f"{tag.id} {tag.unit.show(found.now)}, {way} {tag.unit.show(abs(found.a_day))} a day: "
        f"{limit} {look.when(reached)}.",
    )


def _top_up_owed(look: Look, sump: Vessel) -> Line | None:
    """Fresh water that evaporation has taken since the last top-up, by the level of the sump."""
    hours = look.hours(look.setup.rig.tag_for("level", sump.id))
    if hours is None or sump.area is None:
        return None
    seen = [
        (hour, level)
        for hour in range(look.hour - KEPT + 1, look.hour + 1)
        if (level := hours.at(hour)) is not None
    ]
    since, full = _last_top_up(seen, TOP_UP / sump.area)
    owed = (full - median([level for _, level in seen[-3:]])) * sump.area if seen else 0.0
    if owed < OWED or look.hour - since < OWED_HOURS:
        return None
    return Line(
        f"About {owed / LITRE:.0f} L fresh water owed, or a leak.",
        f"No top-up seen since {look.setup.local(since * 3600.0):%a %H:00}: about "
        f"{owed / LITRE:.0f} L of fresh water owed, if nothing leaks.",
    )


def _last_top_up(seen: list[tuple[int, float]], rise: float) -> tuple[int, float]:
    """Hour and level of the last rise of a sump, or of what is known first."""
    since, full = seen[0] if seen else (0, 0.0)
    for (_, before), (hour, level) in pairwise(seen):
        if level - before >= rise:
            since, full = hour, level
        elif hour == since + 1:
            full = max(full, level)
    return since, full


CHAIN_LINES: dict[str, Callable[[Look, Chain], Line | None]] = {
    "supply margin": _supply,
    "flow creeps": _flow,
    "flow drops out": _dips,
    "thermometers apart": _twins,
    "warmer than usual": _warmer,
    "degree-hours": _degree_hours,
}
"""The lines of each way of the water, in the order in which they are told."""
