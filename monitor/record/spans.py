"""Spans of time and what is done with them: join, overlap, cut out. Pure; UTC seconds."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo


class Span(NamedTuple):
    """From start (included) to end (excluded)."""

    start: float
    end: float


Spans = tuple[Span, ...]
"""Spans in order of time that neither touch nor overlap."""


def joined(spans: Iterable[Span]) -> Spans:
    """The same time as few spans; empty ones are left out."""
    found: list[Span] = []
    for span in sorted(span for span in spans if span.start < span.end):
        if found and span.start <= found[-1].end:
            found[-1] = Span(found[-1].start, max(found[-1].end, span.end))
        else:
            found.append(span)
    return tuple(found)


def overlap(some: Sequence[Span], others: Sequence[Span]) -> Spans:
    """The time that lies in both."""
    found = []
    i = j = 0
    while i < len(some) and j < len(others):
        start, end = max(some[i].start, others[j].start), min(some[i].end, others[j].end)
        if start < end:
            found.append(Span(start, end))
        if some[i].end < others[j].end:
            i += 1
        else:
            j += 1
    return tuple(found)


def without(some: Sequence[Span], others: Sequence[Span]) -> Spans:
    """The time in `some` that does not lie in `others`."""
    edges = [float("-inf"), *(edge for span in others for edge in span), float("inf")]
    rest = [Span(edges[i], edges[i + 1]) for i in range(0, len(edges), 2)]
    return overlap(some, rest)


def seconds(spans: Iterable[Span]) -> float:
    """How long they are together."""
    return sum(span.end - span.start for span in spans)


def local_day(zone: ZoneInfo, day: date, begins: float = 0.0) -> Span:
    """From one local midnight to the next: 23 or 25 h long where the clock is changed.

    begins: seconds after midnight at which the day begins instead. A time that the clock skips is
    read with the offset before, one that comes twice is its first (RFC 5545, section 3.3.5).
    """
    shift = timedelta(seconds=begins)
    midnights = (datetime(d.year, d.month, d.day) for d in (day, day + timedelta(days=1)))
    start, end = ((midnight + shift).replace(tzinfo=zone).timestamp() for midnight in midnights)
    return Span(start, end)


def days_between(first: date, last: date) -> Iterator[date]:
    """Every date from the first to the last."""
    for number in range((last - first).days + 1):
        yield first + timedelta(days=number)
