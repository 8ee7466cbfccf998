"""Times in which the water was outside its limits or did not flow, one by one.

Made of the readings as the day table takes them, so both tell the same.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from math import inf, nextafter

from monitor.logic.chains import Chain
from monitor.record.course import Course, course
from monitor.record.days import SIDES, border, cares_of
from monitor.record.frame import Frame, in_steps, line_into_tank
from monitor.record.gather import Table
from monitor.record.loader import Loader
from monitor.record.spans import Span, Spans, joined, overlap, seconds, without
from monitor.record.water import no_flow
from monitor.rig import Tag

ONE = 600.0
"""Seconds within which a return does not end an excursion: noise at a limit is not many of them
(house rule, no source)."""


@dataclass(frozen=True, slots=True)
class Excursion:
    """A time outside. what: "temperature high", "temperature low" or "no flow". Times in UTC s.

    peak: the furthest value, SI, None for no flow. outside: seconds outside within it. beyond:
    value beyond the limit times seconds, C s, 0 for no flow.
    """

    what: str
    tag: str
    span: Span
    outside: float
    peak: float | None = None
    beyond: float = 0.0


def excursions_of(table: Table) -> tuple[Excursion, ...]:
    """All of a run, by their begin."""
    found: list[Excursion] = []
    for day in table.days:
        frame = table.frame(day)
        found += _of_day(frame, table.loader(day))
    return tuple(sorted(merged(found), key=lambda one: (one.span.start, one.what, one.tag)))


def _of_day(frame: Frame, loader: Loader) -> Iterator[Excursion]:
    setup = frame.forces[-1].setup
    assert setup.run is not None, "a day is of a run"
    chain = line_into_tank(setup)
    for tag in setup.rig.tags:
        is_flow = chain is not None and tag == chain.flow
        is_water = tag.measures == "temperature" and tag.of in setup.run.vessels
        if not is_flow and not is_water:
            continue
        chunks = loader.read(tag, cares_of(frame, chain, tag))
        seen = course(chunks, tag.every).within(frame.in_force)
        if is_water:
            yield from _warm_or_cold(frame, tag, seen)
        elif chain is not None:
            yield from _stopped(frame, chain, tag, seen)


def _warm_or_cold(frame: Frame, tag: Tag, seen: Course) -> Iterator[Excursion]:
    for side in SIDES:
        for span, limit in in_steps(frame, partial(border, tag=tag.id, side=side)):
            part = seen.within([span])
            for out in _outside(part, limit, side):
                inside = part.within([out])
                beyond = abs(inside.integral - limit * inside.seconds)
                peak = max(inside.highs) if side == "high" else min(inside.lows)
                yield Excursion(f"temperature {side}", tag.id, out, seconds([out]), peak, beyond)


def _outside(part: Course, limit: float, side: str) -> Spans:
    if side == "low":
        return part.below(limit)
    return without(part.seen, part.below(nextafter(limit, inf)))


def _stopped(frame: Frame, chain: Chain, tag: Tag, seen: Course) -> Iterator[Excursion]:
    """Stops outside feeding holds."""
    stops = joined(
        stop
        for span, limit in in_steps(frame, lambda setup: no_flow(setup, chain, tag))
        for stop in seen.within([span]).below(limit)
    )
    holds = frame.holds.get(chain.line.id, ())
    for stop in overlap(without(stops, holds), [frame.span]):
        yield Excursion("no flow", tag.id, stop, seconds([stop]))


def merged(found: Iterable[Excursion]) -> list[Excursion]:
    """Parts of one excursion joined: over midnight, and over a short return."""
    kept: dict[tuple[str, str], list[Excursion]] = {}
    for one in sorted(found, key=lambda one: one.span):
        row = kept.setdefault((one.what, one.tag), [])
        if row and one.span.start - row[-1].span.end <= ONE:
            row[-1] = _joined(row[-1], one)
        else:
            row.append(one)
    return [one for row in kept.values() for one in row]


def _joined(one: Excursion, other: Excursion) -> Excursion:
    peak = one.peak
    if peak is not None and other.peak is not None:
        peak = (max if one.what == "temperature high" else min)(peak, other.peak)
    return replace(
        one,
        span=Span(one.span.start, max(one.span.end, other.span.end)),
        outside=one.outside + other.outside,
        peak=peak,
        beyond=one.beyond + other.beyond,
    )
