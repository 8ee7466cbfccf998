"""The day table of a run in an archive, one day after the other.

Only the packed rows of one day are in memory at a time. So a season of a sensor a second needs no
more memory than a day of it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from math import inf

from monitor.archive import Reader
from monitor.config import load_texts
from monitor.errors import HoldwaterError
from monitor.logic.quiet import in_quiet_hours
from monitor.logic.state import decode, fresh
from monitor.record.days import day_row
from monitor.record.frame import Force, Frame
from monitor.record.loader import Loader
from monitor.record.noted import noted_of
from monitor.record.notes import notebook
from monitor.record.rows import DayRow, EventOfDay
from monitor.record.spans import Span, days_between, local_day
from monitor.record.story import Story
from monitor.setup import Run, Setup

WENT_OUT = ("accepted", "unknown")
"""States of a text on a channel that may have reached somebody."""


@dataclass(frozen=True, slots=True)
class Wish:
    """Which days of which run, and from which temperature (C) degree-days count.

    dph: both included. run: "" for the latest.
    """

    first: float = -inf
    last: float = inf
    base: float = 0.0
    run: str = ""


def day_table(reader: Reader, wish: Wish) -> Iterator[DayRow]:
    """The rows of a run in the archive, by day. HoldwaterError where there is none."""
    forces, days = forces_of(reader, wish.run), days_of(reader, wish.run)
    if not days:
        raise HoldwaterError("the record has no readings of this run yet; a table needs a day")
    table = Table(reader, forces, days)
    for day in wished(forces, days, wish):
        yield table.row(day, wish.base)


def day_count(reader: Reader, wish: Wish) -> int:
    """How many rows the table will have, for a progress bar."""
    return len(wished(forces_of(reader, wish.run), days_of(reader, wish.run), wish))


def wished(forces: tuple[Force, ...], days: list[date], wish: Wish) -> list[date]:
    """The days whose number was asked for."""
    setup = forces[-1].setup
    return [day for day in days if wish.first <= dph_of(setup, day) <= wish.last]


def dph_of(setup: Setup, day: date) -> int:
    """Days post hatch of a local date, by the reference hatch of this set-up."""
    run = _run(setup)
    return (day - run.hatch).days + run.hatch_day


def runs_of(reader: Reader) -> tuple[str, ...]:
    """The runs of an archive, in the order in which their set-ups came into force."""
    runs = (run.id for setup in _setups(reader) for run in (setup.run, *setup.other_runs) if run)
    return tuple(dict.fromkeys(runs))


def forces_of(reader: Reader, run: str = "") -> tuple[Force, ...]:
    """The set-ups of a run as seen from it, each with the time in which it was in force.

    run: "" for the one that leads the latest set-up. The first one holds from the beginning of
    the record; none before the run was begun or after it was closed, as known today.
    """
    versions, setups = reader.setups(), _setups(reader)
    if not versions:
        raise HoldwaterError("the record has no set-up yet; start the watch once")
    name = run or _run(setups[-1]).id
    edges = [-inf, *(version.moment.utc for version in versions[1:]), inf]
    seen = [
        (start, end, own)
        for (start, end), setup in zip(pairwise(edges), setups, strict=True)
        if (own := setup.of_run(name)) is not None
    ]
    if not seen:
        known = ", ".join(runs_of(reader)) or "none"
        raise HoldwaterError(f"the record has no run {name!r}; it has {known}")
    life = _run(seen[-1][-1])
    begun = -inf if life.begun is None else life.begun
    closed = inf if life.closed is None else life.closed
    cut = ((max(start, begun), min(end, closed), own) for start, end, own in seen)
    return tuple(Force(Span(start, end), own) for start, end, own in cut if start < end)


def _setups(reader: Reader) -> list[Setup]:
    return [load_texts(version.files, version.version) for version in reader.setups()]


def day_of(setup: Setup, utc: float) -> date:
    """The date of the day of the run in which a moment lies."""
    is_yet_to_begin = setup.seconds_into_day(utc) < _run(setup).day_begins
    return setup.local_day(utc) - timedelta(days=is_yet_to_begin)


def life_of(reader: Reader, run: str = "") -> tuple[Setup, date, date]:
    """The set-up a run has now, and the first and last date on which it lived.

    Where no first stocking was said, two weeks before the hatch; without an end, the day of the
    last reading or of the set-up in force.
    """
    forces = forces_of(reader, run)
    setup = forces[-1].setup
    life, days = _run(setup), days_of(reader, run)
    begun = life.hatch - timedelta(days=14) if life.begun is None else day_of(setup, life.begun)
    first = min([begun, *days[:1]])
    if life.closed is not None:
        return setup, first, day_of(setup, life.closed)
    changed = day_of(setup, reader.setups()[-1].moment.utc)
    return setup, first, max([changed, *days[-1:]])


def day_span(setup: Setup, day: date) -> Span:
    """When a day of the run begins and ends, UTC s."""
    return local_day(setup.zone, day, _run(setup).day_begins)


def _run(setup: Setup) -> Run:
    if setup.run is None:
        raise HoldwaterError(
            "the set-up in force names no run, so days post hatch cannot be counted; "
            "write run.toml and bring it in with: holdwater apply"
        )
    return setup.run


def days_of(reader: Reader, run: str) -> list[date]:
    """The local dates from the first to the last reading of a run."""
    forces = forces_of(reader, run)
    setup = forces[-1].setup
    ends = [utc for tag in reader.tags() for utc in _ends(reader, tag)]
    if not ends:
        return []
    first = max(min(ends), forces[0].span.start)
    last = min(max(ends), forces[-1].span.end)
    return list(days_between(day_of(setup, first), day_of(setup, last)))


def _ends(reader: Reader, tag: str) -> Iterator[float]:
    """UTC of the first and the last reading of a tag that has a value; nothing if it has none."""
    timeline = reader.timeline()
    hours = sorted(reader.hours(tag), key=lambda hour: hour.moment.utc)
    for hour in hours[:1] + hours[-1:]:
        begin = hour.moment.elapsed
        for part in reader.series(tag, begin, begin + hour.width):
            ends = (min(part.elapsed), max(part.elapsed))
            yield from (timeline.moment(part.boot, elapsed).utc for elapsed in ends)


class Table:
    """Makes the rows of some days; what the journal tells is read once, for all of them."""

    def __init__(self, reader: Reader, forces: tuple[Force, ...], days: list[date]) -> None:
        self._reader = reader
        self._forces = forces
        self._days = days
        self._setup = forces[-1].setup
        self._timeline = reader.timeline()
        document = reader.durable()
        durable = fresh() if document is None else decode(document)
        story = self._story()
        self._holds = story.holds(durable)
        self._events = story.finished(durable)
        self._silences = tuple(story.silences)
        self._texts = _texts(reader)
        self._notes = notebook(reader, _run(self._setup).id)
        self._calibrated = {
            (tag.id, tag.calibration): tag for force in forces for tag in force.setup.rig.tags
        }

    @property
    def events(self) -> tuple[EventOfDay, ...]:
        """Every event of the run."""
        return self._events

    @property
    def days(self) -> list[date]:
        """Every day of the record of the run."""
        return self._days

    def frame(self, day: date, base: float = 0.0) -> Frame:
        """A day without its readings."""
        span = day_span(self._setup, day)
        return Frame(
            day,
            dph_of(self._setup, day),
            span,
            self._in_force(span),
            self._holds,
            opens=day == self._days[0],
            closes=day == self._days[-1],
            silences=self._silences,
            base=base,
        )

    def loader(self, day: date) -> Loader:
        """The readings of a day."""
        span = day_span(self._setup, day)
        return Loader(self._reader, self._timeline, self._calibrated, span)

    def row(self, day: date, base: float) -> DayRow:
        """The row of a day, with what happened in it."""
        frame, loader = self.frame(day, base), self.loader(day)
        span = frame.span
        row = day_row(frame, loader.read)
        sent = [went for at, went in self._texts if self._is_night(span, at)]
        return replace(
            row,
            events=tuple(e for e in self._events if span.start <= e.first_sign < span.end),
            night_texts=sum(sent),
            night_texts_failed=len(sent) - sum(sent),
            noted=noted_of(self._notes, span),
            notes=(*self._changes(span), *self._starts(span), *loader.notes()),
        )

    def _story(self) -> Story:
        story = Story()
        for day in self._days:
            for row in self._reader.journal(*day_span(self._setup, day), by="utc"):
                story.tell(row, self._setup_at(row.moment.utc).delays.hold_overrun)
        return story

    def _setup_at(self, utc: float) -> Setup:
        found = self._forces[0].setup
        for force in self._forces:
            if force.span.start <= utc:
                found = force.setup
        return found

    def _in_force(self, span: Span) -> tuple[Force, ...]:
        """The set-ups of a day; of a day without any, the one before, for no time at all."""
        cut = [
            Force(Span(max(f.span.start, span.start), min(f.span.end, span.end)), f.setup)
            for f in self._forces
        ]
        found = tuple(force for force in cut if force.span.start < force.span.end)
        return found or (Force(Span(span.start, span.start), self._setup_at(span.start)),)

    def _is_night(self, day: Span, utc: float) -> bool:
        """Whether it lies in the quiet hours of this day."""
        return in_quiet_hours(self._setup_at(utc), utc) and day.start <= utc < day.end

    def _changes(self, span: Span) -> Iterator[str]:
        for force in self._forces:
            if span.start <= force.span.start < span.end:
                local = force.setup.local(force.span.start)
                yield f"set-up {force.setup.version} in force from {local:%H:%M}"

    def _starts(self, span: Span) -> Iterator[str]:
        for boot in self._reader.boots():
            utc = self._timeline.moment(boot.number, boot.base).utc
            if boot.number > 1 and span.start <= utc < span.end:
                yield f"the board started anew, boot {boot.number}"


def _texts(reader: Reader) -> list[tuple[float, bool]]:
    """When each text was due, and whether any channel took it; one still waiting has not gone."""
    found: dict[int, tuple[float, bool]] = {}
    for row in reader.outbox():
        _, went = found.get(row.text.number, (0.0, False))
        found[row.text.number] = (row.text.moment.utc, went or row.state in WENT_OUT)
    return list(found.values())
