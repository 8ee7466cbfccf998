"""Hours of light at the tank, against the hours that run.toml says. Pure."""

from monitor.record.frame import Frame, Seen
from monitor.record.rows import Light, Measure, Missing
from monitor.record.spans import Span, Spans, joined, overlap, seconds, without

LIT = 50.0
"""Lux from which a tank counts as lit: far over what a dark room lets in, far under any lamp over
larvae (house rule, no source)."""


def light_of(frame: Frame, seen: Seen) -> Light:
    """Lit time of the day, and the time in which it differed from the schedule."""
    dark = seen.course.below(LIT)
    lit = without(seen.spans, dark)
    if not seen.spans:
        return Light(seen.tag.id, 0.0, Missing.NOT_OBSERVED, Missing.NOT_OBSERVED)
    due = _due(frame)
    differs: Measure = Missing.NO_SCHEDULE
    if due is not None:
        differs = seconds(without(lit, due)) + seconds(overlap(dark, due))
    on = next((span.start for span in lit if _comes_on(span, dark)), None)
    return Light(seen.tag.id, seconds(seen.spans), seconds(lit), differs, on)


def _comes_on(span: Span, dark: Spans) -> bool:
    """Whether it was seen to be dark just before."""
    return any(gone.end == span.start for gone in dark)


def _due(frame: Frame) -> Spans | None:
    """When it should be lit that day; None where nothing says so."""
    setup = frame.forces[-1].setup
    if setup.run is None or setup.run.lights is None:
        return None
    on, off = setup.run.lights
    start, end = frame.span
    spans = []
    at = setup.next_time_of_day(start - 2 * 86_400.0, on)
    while at < end:
        spans.append(Span(at, setup.next_time_of_day(at, off)))
        at = setup.next_time_of_day(at, on)
    return overlap([frame.span], joined(spans))
