"""Figures of a run: the whole of it from stored sums, and the evidence round an event in full.

Whole runs are drawn from the sums that the archive keeps by the hour. An hour in which the checks
of the watch failed a reading is summed anew without it, so that a broken sensor draws no curve.
"""

import math
from collections.abc import Iterator, Sequence
from datetime import timedelta
from functools import partial

from monitor.archive import Rollup
from monitor.logic.quality import FAIL, MISSING
from monitor.record.figures import Edge, Figure, Panel, Point, thinned
from monitor.record.frame import Frame, in_steps, line_into_tank
from monitor.record.material import Material
from monitor.record.rows import EventOfDay, Missing
from monitor.record.spans import Span, Spans, joined, overlap
from monitor.rig import Tag
from monitor.setup import DAY, Limit, Profile, Setup
from monitor.units import STATES

HOUR, MINUTE = 3600.0, 60.0
SHORT = 2.5 * DAY
"""Runs up to this length are drawn by the minute, longer ones by the hour."""
COLUMNS = 640
"""Points of evidence across the paper; each keeps its least and highest reading."""
BEFORE, AFTER = 900.0, 900.0
"""Seconds of evidence before the first sign and after the end."""
LONGEST = 12 * HOUR
"""Evidence of an event is drawn so far at most, from its first sign."""
MOST_PANELS = 6
UNFIT = (FAIL, MISSING)


def points_of(material: Material, tag: Tag) -> tuple[Point, ...]:
    """The course of a tag over the run, by the hour or the minute, in the unit of the tag."""
    short = material.span.end - material.span.start <= SHORT
    span = material.span
    if short:
        cells = material.reader.rollup(tag.id, *span, MINUTE, by="utc")
    else:
        cells = sorted(
            material.reader.hours(tag.id, *span, by="utc"), key=lambda cell: cell.moment.utc
        )
    failed = {
        round(flag.elapsed * 1000.0): flag.elapsed
        for flag in material.reader.flags(tag.id, *span, by="utc")
        if flag.flag in UNFIT
    }
    return tuple(_points(material, tag, cells, failed))


def _points(
    material: Material, tag: Tag, cells: Sequence[Rollup], failed: dict[int, float]
) -> Iterator[Point]:
    for cell in cells:
        at = cell.moment.utc
        if not cell.n or not _in_force(material, at + cell.width / 2):
            continue
        begin = cell.moment.elapsed
        if failed and any(begin <= t < begin + cell.width for t in failed.values()):
            values = [value for _, value in readings(material, tag, Span(at, at + cell.width))]
            if values:
                yield Point(at, min(values), sum(values) / len(values), max(values))
            continue
        gain, zero = material.scale_at(tag, at)
        low, mean, high = (raw * gain + zero for raw in (cell.low, cell.mean, cell.high))
        if math.isfinite(mean):
            yield Point(at, min(low, high), mean, max(low, high))


def _in_force(material: Material, utc: float) -> bool:
    return any(force.span.start <= utc < force.span.end for force in material.forces)


def readings(material: Material, tag: Tag, span: Span) -> Iterator[tuple[float, float]]:
    """Readings that can be used (UTC s, value in the unit of the tag), in order of time."""
    failed = {
        round(flag.elapsed * 1000.0)
        for flag in material.reader.flags(tag.id, *span, by="utc")
        if flag.flag in UNFIT
    }
    for part in material.reader.series(tag.id, *span, by="utc"):
        gain, zero = material.scale(tag, part.calibration)
        ahead = material.timeline.offset(part.boot, part.elapsed[0]).ahead
        for position, (at, raw) in enumerate(zip(part.elapsed, part.values, strict=True)):
            usable = raw is not None and position not in part.problems
            if raw is not None and usable and round(at * 1000.0) not in failed:
                yield at + ahead, raw * gain + zero


def gaps_of(material: Material, tag: str) -> Spans:
    """When a tag was not seen, over the run."""
    return joined(
        gap.span
        for row in material.rows
        for seen in row.coverage
        if seen.tag == tag
        for gap in seen.gaps
    )


# The whole run


def run_figures(material: Material) -> list[Figure]:
    """Daily turnovers and stops against the plan, then each measured quantity by dph."""
    found = [_days_figure(material)]
    for measures, title in (
        ("temperature", "Temperature"),
        ("flow", "Flow"),
        ("level", "Water levels"),
        ("light", "Light"),
        ("pressure", "Air line"),
        ("salinity", "Salinity"),
    ):
        tags = [tag for tag in material.tags if tag.measures == measures]
        panels = [panel for tag in tags for panel in _run_panel(material, tag)]
        if panels:
            found.append(_figure(material, measures, f"{title} by days post hatch", tuple(panels)))
    return found


def _figure(material: Material, name: str, title: str, panels: tuple[Panel, ...]) -> Figure:
    marks = tuple((event.first_sign, str(event.number)) for event in material.events)
    return Figure(
        name, title, material.span, panels, _dph_ticks(material), "days post hatch", marks
    )


def _dph_ticks(material: Material) -> tuple[tuple[float, str], ...]:
    """Days that divide well; of a short run also the hours between."""
    rows = material.rows
    if len(rows) <= SHORT / DAY:
        hours = [at for row in rows for at in range(int(row.span.start), int(row.span.end), 10_800)]
        words = {row.span.start: f"dph {row.dph}" for row in rows}
        return tuple((at, words.get(at, f"{material.site.local(at):%H:%M}")) for at in hours)
    every = next(k for k in (1, 2, 5, 10, 20, 50, 100) if len(rows) / k <= 20 or k == 100)
    return tuple((row.span.start, str(row.dph)) for row in rows if row.dph % every == 0)


def _run_panel(material: Material, tag: Tag) -> Iterator[Panel]:
    points = points_of(material, tag)
    if points:
        cell = MINUTE if material.span.end - material.span.start <= SHORT else HOUR
        yield Panel(
            f"{tag.id}, {tag.of}",
            tag.unit.name,
            points,
            max(cell, tag.every),
            tuple(_limit_edges(material, tag)),
            gaps_of(material, tag.id),
        )


def _limit_edges(material: Material, tag: Tag) -> Iterator[Edge]:
    """The mildest limit on each side, as it was in force day by day."""
    for row in material.rows:
        for force in material.forces:
            for span in overlap([row.span], [force.span]):
                frame = Frame(row.day, row.dph, row.span, (type(force)(span, force.setup),))
                for side in ("low", "high"):
                    limit = mildest(force.setup, tag.id, side)
                    if limit is not None:
                        for at, value in in_steps(frame, partial(_profile, limit=limit)):
                            yield Edge(at, tag.unit.from_si(value))


def _profile(_: Setup, limit: Limit) -> Profile:
    return limit.value


def mildest(setup: Setup, tag: str, side: str) -> Limit | None:
    """The limit of a tag that is passed first on a side; floats and conditions apart have none."""
    order = ("warn", "", "alarm", "urgent")
    limits = [
        limit
        for limit in setup.limits_of.get(tag, ())
        if limit.side == side
        and limit.step in order
        and limit.condition != "no flow"
        and limit.condition != "flow far too low"
    ]
    return min(limits, key=lambda limit: order.index(limit.step), default=None)


def _days_figure(material: Material) -> Figure:
    """Turnovers of each day against those of the set flow, and minutes without flow."""
    turnovers, stops, planned = [], [], []
    for row in material.rows:
        at, water = row.span.start, row.water
        if not isinstance(water.turnovers, Missing):
            turnovers.append(Point(at, water.turnovers, water.turnovers, water.turnovers))
        if not isinstance(water.no_flow, Missing):
            minutes = water.no_flow / MINUTE
            stops.append(Point(at, minutes, minutes, minutes))
        plan = planned_turnovers(material, row.span)
        if plan is not None:
            planned.append(Edge(row.span, plan))
    gaps = joined(gap.span for row in material.rows for gap in row.unwatched)
    panels = (
        Panel("Turnovers of the tank, a day (dashed: set flow, no stops)", "", tuple(turnovers),
              DAY, tuple(planned), gaps, kind="bars"),
        Panel("Without flow outside feeding holds", "min", tuple(stops), DAY, (), gaps,
              kind="bars"),
    )  # fmt: skip
    return _figure(material, "water", "Water by days post hatch", panels)


def planned_turnovers(material: Material, span: Span) -> float | None:
    """Tank volumes that the set flow would bring in a time, without holds; None if not known."""
    total = 0.0
    for force in material.forces:
        setup = force.setup
        chain = line_into_tank(setup)
        due = setup.flow_due.get(chain.line.id) if chain is not None else None
        volume = chain.tank.volume if chain is not None and chain.tank is not None else None
        if due is None or not volume:
            continue
        for part in overlap([span], [force.span]):
            day = setup.local_day(part.start)
            frame = Frame(day, 0, part, (type(force)(part, setup),))
            steps = in_steps(frame, partial(_set_flow, profile=due.set_flow))
            total += sum((at.end - at.start) * flow / volume for at, flow in steps)
    return total or None


def _set_flow(_: Setup, profile: Profile) -> Profile:
    return profile


# Evidence round an event


def evidence(material: Material, event: EventOfDay, tags: Sequence[Tag]) -> Figure | None:
    """The readings of some tags round an event, each least and highest of them kept."""
    span = evidence_span(material, event)
    panels = []
    for tag in tags[:MOST_PANELS]:
        points = thinned(readings(material, tag, span), span, COLUMNS)
        if points:
            cell = max((span.end - span.start) / COLUMNS, tag.every)
            panels.append(_evidence_panel(material, tag, span, points, cell))
    if not panels:
        return None
    marks = [(event.first_sign, "first sign"), (event.taken, "taken"),
             (event.on_site, "on site"), (event.proven, "proven")]  # fmt: skip
    return Figure(
        f"event-{event.number}",
        f"Event {event.number}: readings",
        span,
        tuple(panels),
        clock_ticks(material, span),
        "local time",
        tuple((at, word) for at, word in marks if at is not None and at < span.end),
    )


def _evidence_panel(
    material: Material, tag: Tag, span: Span, points: list[Point], cell: float
) -> Panel:
    words = STATES.get(tag.measures)
    setup = material.setup_at(span.start)
    dph = setup.dph(span.start)
    edges = [
        Edge(span, tag.unit.from_si(limit.value.at(dph, setup.seconds_into_day(span.start))))
        for side in ("low", "high")
        for limit in [mildest(setup, tag.id, side)]
        if limit is not None and words is None
    ]
    return Panel(
        f"{tag.id}: {tag.measures} of {tag.of}",
        tag.unit.name,
        tuple(points),
        cell,
        tuple(edges),
        overlap(gaps_of(material, tag.id), [span]),
        overlap(tuple(s for spans in material.holds.values() for s in spans), [span]),
        "state" if words else "line",
        words or ("", ""),
        height=72,
    )


def evidence_span(material: Material, event: EventOfDay) -> Span:
    """From before the first sign to after flow was proven or the event closed, within 12 h."""
    ends = [at for at in (event.proven, event.closed) if at is not None]
    end = min(ends) if ends else event.first_sign + HOUR
    end = min(max(end, event.first_sign + 600.0), event.first_sign + LONGEST) + AFTER
    return Span(event.first_sign - BEFORE, min(end, max(material.span.end, end)))


def clock_ticks(material: Material, span: Span) -> tuple[tuple[float, str], ...]:
    """Full clock times of the site, some ten of them."""
    length = span.end - span.start
    step = next(m for m in (5, 10, 15, 30, 60, 120) if length / (m * 60) <= 10 or m == 120)
    at = material.site.local(span.start).replace(minute=0, second=0, microsecond=0)
    found = []
    while at.timestamp() < span.end:
        if at.timestamp() >= span.start:
            found.append((at.timestamp(), f"{material.site.local(at.timestamp()):%H:%M}"))
        at = material.site.local(at.timestamp() + timedelta(minutes=step).total_seconds())
    return tuple(found)
