"""The row of one day from the readings of that day. Pure: readings come from a function given.

What is not measured is said, a gap is never filled: sums cover the time that was seen and say how
much that is. How each column is meant: docs/reference/day-table.md.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from math import inf, isfinite

from monitor.logic.chains import Chain
from monitor.record.course import Chunk, Course, Lump, course
from monitor.record.frame import Cares, Frame, Read, Seen, in_steps, line_into_tank
from monitor.record.light import LIT, light_of
from monitor.record.rows import Coverage, DayRow, Gap, Light, Measure, Missing, Temperature
from monitor.record.spans import Span, Spans, joined, overlap, seconds, without
from monitor.record.water import WaterSums, no_flow, no_supply
from monitor.rig import Tag
from monitor.setup import DAY, Limit, Profile, Setup
from monitor.units import STATES

EDGE = 90.0
"""Seconds by which the edges of a general gap may differ from tag to tag: the longest for which a
reading of a tag of 60 s stands."""

SIDES = {"low": -inf, "high": inf}
"""Sides of a band, each with its border where the sheet has no limit."""


def day_row(frame: Frame, read: Read) -> DayRow:
    """The row of a day but for what only the journal knows (events, texts, notes)."""
    setup = frame.forces[-1].setup
    assert setup.run is not None, "a day is in a table because a run was in force"
    chain = line_into_tank(setup)
    temperatures: list[Temperature] = []
    light: Light | None = None
    measured: list[tuple[str, Measure]] = []
    kept: dict[str, Seen] = {}
    water = WaterSums(frame, chain)
    for tag in setup.rig.tags:
        seen = _seen(frame, tag, read(tag, cares_of(frame, chain, tag)))
        if tag.measures == "temperature" and tag.of in setup.run.vessels:
            temperatures.append(temperature(frame, seen))
        elif tag.measures == "light" and tag.of in setup.run.vessels and light is None:
            light = light_of(frame, seen)
        elif tag.measures in CHEMISTRY:
            measured.append((tag.id, _mean(seen)))
        water.add(seen)
        kept[tag.id] = replace(seen, course=_NOTHING)  # one course at a time is in memory
    anything = joined(span for seen in kept.values() for span in seen.spans)
    unwatched = tuple(_unwatched(frame, anything))
    return DayRow(
        run=setup.run.id,
        dph=frame.dph,
        day=frame.day,
        span=frame.span,
        temperatures=tuple(temperatures),
        water=water.row(setup),
        coverage=tuple(_coverage(frame, seen, unwatched) for seen in kept.values()),
        unwatched=unwatched,
        light=light,
        held=seconds(overlap([frame.span], water.holds)),
        measured=tuple(measured),
    )


CHEMISTRY = ("salinity", "nitrate", "nitrite", "ammonia", "pH", "oxygen")
"""Quantities of which the table has the mean of the readings of a day; few come, and by hand."""


def _mean(seen: Seen) -> Measure:
    """The mean of the readings of the day, each for one; SI."""
    values = seen.course.values
    return sum(values) / len(values) if values else Missing.NOT_OBSERVED


_NOTHING = Course([], [], [], [], [])


def _seen(frame: Frame, tag: Tag, chunks: Iterable[Chunk]) -> Seen:
    """The readings of a tag on the day; a reading of the minute before may still stand in it."""
    held = list(chunks)
    start, end = frame.span
    came, unusable = 0, []
    for chunk in held:
        if isinstance(chunk, Lump):
            came += chunk.n if start <= chunk.first < end else 0
            continue
        times, values = chunk
        came += sum(map(start.__le__, times)) - sum(map(end.__le__, times))
        if None in values:
            pairs = zip(times, values, strict=True)
            unusable += [at for at, value in pairs if value is None and start <= at < end]
    found = course(held, tag.every).within(frame.in_force)
    return Seen(tag, found, found.seen, came - len(unusable), tuple(unusable))


def cares_of(frame: Frame, chain: Chain | None, tag: Tag) -> Cares:
    """Where the readings of a tag must be told apart: in time, and by value."""
    profiles: list[Profile] = []
    levels: set[float] = set()
    for setup in (force.setup for force in frame.forces):
        if tag.measures == "temperature":
            profiles += (border(setup, tag.id, side) for side in SIDES)
        elif chain is not None and tag == chain.flow:
            profiles.append(no_flow(setup, chain, tag))
        elif chain is not None and tag == chain.supply:
            profiles.append(no_supply(setup, chain))
        elif tag.measures in STATES:
            levels.add(0.5)
        elif tag.measures == "light":
            levels.add(LIT)
    edges = {
        edge for span in (frame.span, *(force.span for force in frame.forces)) for edge in span
    }
    for profile in profiles:
        levels |= {value for _, value in profile.steps if isfinite(value)}
        edges |= {
            force.setup.next_time_of_day(force.span.start, profile.changes_at)
            for force in frame.forces
        }
    return Cares(tuple(sorted(edges)), tuple(sorted(levels)))


# Temperature


def temperature(frame: Frame, seen: Seen) -> Temperature:
    """Least, mean and highest, hours in band and degree-days, weighted by time.

    Degree-days: (mean of the day - base) * time seen in days, never under 0; a day of 25 h counts
    25/24 (Kamler 2002, Rev. Fish Biol. Fish. 12:79, has the sum over days of the mean above base).
    """
    found, length = seen.course, seen.course.seconds
    if not length:
        none = Missing.NOT_OBSERVED
        return Temperature(seen.tag.id, none, none, none, none, none, 0.0)
    mean = found.integral / length
    return Temperature(
        tag=seen.tag.id,
        low=min(found.lows),
        mean=mean,
        high=max(found.highs),
        in_band=_in_band(frame, seen),
        degree_days=max(0.0, mean - frame.base) * length / DAY,
        seen=length,
    )


def _in_band(frame: Frame, seen: Seen) -> Measure:
    """Seconds between the warnings of the limits sheet in force; a side without one is open."""
    tag = seen.tag.id
    if not any(_warning(force.setup, tag, side) for force in frame.forces for side in SIDES):
        return Missing.NO_LIMIT
    lows, highs = (tuple(in_steps(frame, partial(border, tag=tag, side=side))) for side in SIDES)
    return sum(
        seen.course.within(overlap([one], [other])).seconds_between(low, high)
        for one, low in lows
        for other, high in highs
    )


def border(setup: Setup, tag: str, side: str) -> Profile:
    """The warning "temperature low" or "high" of a tag by dph; beyond everything without one."""
    limit = _warning(setup, tag, side)
    return limit.value if limit is not None else Profile.constant(SIDES[side])


def _warning(setup: Setup, tag: str, side: str) -> Limit | None:
    """The mildest temperature limit of a tag on a side: "warn", or the only one there is."""
    for limit in setup.limits_of.get(tag, ()):
        if limit.condition == f"temperature {side}" and limit.step in ("warn", ""):
            return limit
    return None


# Coverage


def _coverage(frame: Frame, seen: Seen, unwatched: Sequence[Gap]) -> Coverage:
    missing = without([frame.span], seen.spans)
    gaps = sorted(_gaps(missing, seen, unwatched), key=lambda gap: gap.span)
    return Coverage(
        tag=seen.tag.id,
        seen=seconds(seen.spans),
        due=round(seconds([frame.span]) / seen.tag.every),
        got=seen.got,
        unusable=len(seen.unusable),
        gaps=tuple(gaps),
    )


def _gaps(missing: Spans, seen: Seen, unwatched: Sequence[Gap]) -> Iterator[Gap]:
    """Each gap with its reason; general ones first.

    The last reading of a slow tag stands longer than that of a quick one: what is left between
    is no gap of the quick tag alone.
    """
    for gap in unwatched:
        wide = Span(gap.span.start - EDGE, gap.span.end + EDGE)
        yield from (replace(gap, span=span) for span in overlap(missing, [wide]))
        missing = without(missing, [wide])
    for span in missing:
        bad = any(span.start <= at < span.end for at in seen.unusable)
        yield Gap(span, "readings not usable" if bad else "no reading of this tag")


def _unwatched(frame: Frame, anything: Spans) -> Iterator[Gap]:
    """The times of no reading at all, in order, each with its reason."""
    for span in without([frame.span], anything):
        for inside in overlap([span], frame.in_force):
            yield Gap(inside, _why_unwatched(frame, inside, anything), general=True)
        for outside in without([span], frame.in_force):
            yield Gap(outside, "another set-up in force, not this run", general=True)


def _why_unwatched(frame: Frame, span: Span, anything: Spans) -> str:
    if anything and frame.opens and span.end <= anything[0].start:
        return "before the record begins"
    if anything and frame.closes and span.start >= anything[-1].end:
        return "after the record ends"
    if any(span.start <= at < span.end for at in frame.silences):
        return "no tag was read, though the watch ran"
    return "not observed, watch not running"
