"""Curves on the page: a span of the record, tag by tag, with limits and events."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

from markupsafe import Markup

from monitor.archive import Reader, Rollup
from monitor.config import load_texts
from monitor.control import RECORD
from monitor.errors import HoldwaterError
from monitor.record.curves import mildest
from monitor.record.figures import Edge, Figure, Panel, Point, svg
from monitor.record.spans import Span
from monitor.rig import Tag
from monitor.setup import Setup
from monitor.units import STATES

SPANS = {"6h": 6, "day": 24, "week": 168, "run": 24 * 60}
"""Hours that a view looks back."""
POINTS = 300
"""Points of a curve; each keeps its least and highest reading."""
HOUR = 3600.0


def curves(state: Path, name: str, now: float) -> Markup:
    """One drawing a tag over the last hours. now: UTC s. HoldwaterError without a record."""
    with Reader(state / RECORD) as reader:
        versions = reader.setups()
        if not versions:
            raise HoldwaterError("the record has no set-up yet; start the watch once")
        setup = load_texts(versions[-1].files, versions[-1].version)
        span = Span(now - SPANS[name] * HOUR, now)
        span = Span(_begin(reader, span), now)
        ticks = _ticks(setup, span)
        events = tuple(_events(reader, span))
        drawn = []
        for number, tag in enumerate(setup.rig.tags):
            panel = _panel(reader, setup, tag, span)
            if panel is not None:
                title = f"{tag.id}, {tag.measures} of {tag.of}"
                drawn.append(svg(Figure(f"t{number}", title, span, (panel,), ticks, "", events)))
    return Markup("".join(drawn))


def _begin(reader: Reader, span: Span) -> float:
    """The earliest moment in the span of which anything is known; at least an hour is shown."""
    known = min((item.since + item.ahead for item in reader.offsets()), default=span.start)
    return min(max(span.start, known), span.end - HOUR)


def _panel(reader: Reader, setup: Setup, tag: Tag, span: Span) -> Panel | None:
    cells = reader.view(tag.id, span.start, span.end, POINTS)
    points = tuple(_point(tag, cell) for cell in cells if cell.n)
    if not points:
        return None
    width = (span.end - span.start) / POINTS
    words = STATES.get(tag.measures)
    if words is not None:
        return Panel("", "", points, max(width, tag.every), kind="state", words=words)
    edges = tuple(_edges(setup, tag, span))
    return Panel("", tag.unit.name, points, max(3.0 * width, tag.every), edges)


def _point(tag: Tag, cell: Rollup) -> Point:
    low, mean, high = (value * tag.gain + tag.zero for value in (cell.low, cell.mean, cell.high))
    return Point(cell.moment.utc, min(low, high), mean, max(low, high))


def _edges(setup: Setup, tag: Tag, span: Span) -> Iterator[Edge]:
    """The mildest limits as they are in force now."""
    dph = setup.dph(span.end)
    for side in ("low", "high"):
        limit = mildest(setup, tag.id, side)
        if limit is not None:
            value = limit.value.at(dph, setup.seconds_into_day(span.end))
            yield Edge(span, tag.unit.from_si(value))


def _events(reader: Reader, span: Span) -> Iterator[tuple[float, str]]:
    for row in reader.journal(span.start, span.end, by="utc"):
        if row.what == "event" and row.state == "open" and row.subject.isdigit():
            yield row.moment.utc, row.subject


def _ticks(setup: Setup, span: Span) -> tuple[tuple[float, str], ...]:
    """Site time on the axis: hours, or days where there are many."""
    hours = (span.end - span.start) / HOUR
    step = next((k for k in (1, 3, 6, 12, 24, 48, 96, 168, 240) if hours / k <= 9), 480)
    local = setup.local(span.start)
    at = local.replace(minute=0, second=0, microsecond=0, hour=0 if step >= 24 else local.hour)
    found = []
    while at.timestamp() <= span.end:
        if at.timestamp() >= span.start:
            found.append((at.timestamp(), f"{at:%d %b}" if step >= 24 else f"{at:%H:%M}"))
        # Days by the calendar, hours by what passes: they differ when the clocks change.
        days = at + timedelta(hours=step)
        at = days if step >= 24 else setup.local(at.timestamp() + step * HOUR)
    return tuple(found)
