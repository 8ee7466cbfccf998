"""What an animal-care committee asks of a run, from the record: no figure that was not noted.

Names stand here only beside what somebody signed; phone numbers nowhere.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from monitor.archive import Reader
from monitor.effects import JournalRow
from monitor.record.excursions import Excursion, excursions_of
from monitor.record.gather import Table, day_span, days_of, forces_of
from monitor.record.noted import noted_of
from monitor.record.notes import Entry, notebook
from monitor.record.rows import EventOfDay, Missing
from monitor.record.spans import Span
from monitor.setup import DAY, Setup

PROOF = 8 * DAY
"""Seconds before an excursion in which the path to people must have been proven: a week and a day,
since it is tested weekly."""

SHORT = 60.0
"""Seconds under which an excursion is left out: noise, or a bubble (house rule, no source)."""


@dataclass(frozen=True, slots=True)
class Papers:
    """All of it, ready to be written. signed: who signed the observation, by day, "" for nobody."""

    setup: Setup
    used: str
    excursions: tuple[Excursion, ...]
    events: tuple[EventOfDay, ...]
    journal: tuple[JournalRow, ...]
    forces: tuple[tuple[Span, bool], ...]
    entries: tuple[Entry, ...]
    signed: tuple[tuple[date, str], ...]
    losses: tuple[tuple[date, str], ...]


def papers_of(reader: Reader, run: str = "", loss: int = 100) -> Papers:
    """Read what is needed. loss: dead found in a day from which it is an unexpected loss."""
    forces, days = forces_of(reader, run), days_of(reader, run)
    setup = forces[-1].setup
    assert setup.run is not None, "a table is of a run"
    table = Table(reader, forces, days)
    entries = notebook(reader, setup.run.id)
    by_day = [(day, noted_of(entries, day_span(setup, day))) for day in days]
    begin = day_span(setup, days[0]).start - PROOF if days else 0.0
    end = day_span(setup, days[-1]).end if days else 0.0
    return Papers(
        setup,
        _used(setup, entries),
        tuple(one for one in excursions_of(table) if one.outside >= SHORT),
        table.events,
        tuple(reader.journal(begin, end, by="utc")),
        tuple((f.span, f.setup.run is not None and f.setup.run.watch_set) for f in forces),
        entries,
        tuple((day, noted.signed_by) for day, noted in by_day),
        tuple(
            (day, f"{'~' if noted.dead.is_estimate else ''}{noted.dead.value:g}")
            for day, noted in by_day
            if not isinstance(noted.dead.value, Missing) and noted.dead.value >= loss
        ),
    )


def _used(setup: Setup, entries: Sequence[Entry]) -> str:
    """Animals used: those noted as stocked, else the hatched of all batches."""
    stocked = [
        entry.amount("count")
        for entry in entries
        if entry.note.kind == "animals" and entry.note.said["what"] == "stocked"
    ]
    counts = [found for found in stocked if found is not None and found.value is not None]
    if counts:
        mark = "~" if any(found.is_estimate for found in counts) else ""
        return f"{mark}{sum(found.value or 0.0 for found in counts):g} by notes of stocking"
    assert setup.run is not None
    hatched = [batch.hatched for batch in setup.run.batches if batch.hatched]
    if not hatched:
        return Missing.NOT_NOTED.value
    mark = "~" if any(text.startswith("~") for text in hatched) else ""
    total = sum(int(text.removeprefix("~")) for text in hatched)
    blank = len(setup.run.batches) - len(hatched)
    return f"{mark}{total} hatched" + (f"; batches not counted: {blank}" if blank else "")


def lines(papers: Papers) -> Iterator[str]:
    """The paper as text."""
    setup, run = papers.setup, papers.setup.run
    assert run is not None
    yield f"Run {run.id}, {setup.rig.label}, {', '.join(run.vessels)}. Times: {setup.zone.key}."
    yield f"Protocol: {run.protocol or 'not written in run.toml'}"
    approved = "not written in run.toml" if run.approved is None else str(run.approved)
    yield f"Animals approved: {approved}. Used: {papers.used}."
    yield ""
    yield f"Excursions ({len(papers.excursions)}; returns under 10 min do not end one)"
    for one in papers.excursions:
        yield from _excursion(papers, one)
    yield ""
    yield "Unexpected losses: " + ("" if papers.losses else "none noted")
    for day, dead in papers.losses:
        about = [str(event.number) for event in papers.events if _is_on(setup, event, day)]
        events = f"event {', '.join(about)}" if about else "no event that day"
        yield f"  {day:%a %d %b %Y}: {dead} dead found, {events}"
    yield ""
    count = sum(bool(who) for _, who in papers.signed)
    yield f"Daily observation: signed on {count} of {len(papers.signed)} days"
    for day, who in papers.signed:
        yield f"  {day:%a %d %b %Y}: {who or 'NOT SIGNED'}"


def _is_on(setup: Setup, event: EventOfDay, day: date) -> bool:
    span = day_span(setup, day)
    return span.start <= event.first_sign < span.end


def _excursion(papers: Papers, one: Excursion) -> Iterator[str]:
    local = papers.setup.local
    start, end = local(one.span.start), local(one.span.end)
    yield f"  {start:%a %d %b %Y %H:%M:%S} to {end:%d %b %H:%M:%S}: {one.what} ({one.tag})"
    told = [f"outside {one.outside / 60.0:.0f} min"]
    if one.peak is not None:
        told += [f"furthest {one.peak:.2f} C", f"{one.beyond / 3600.0:.2f} degree-hours beyond"]
    yield f"    {', '.join(told)}"
    event = cause_of(papers.events, one)
    cause = f"event {event.number}, first {event.cause}" if event else "no event in the record"
    yield f"    cause: {cause}; done: {_done(papers.journal, event)}"
    yield f"    dead found within 24 h after: {dead_after(papers.entries, one.span.end)}"
    yield f"    watch {watch_at(papers.forces, one.span.start)}; {path_at(papers, one.span.start)}"


def cause_of(events: Sequence[EventOfDay], one: Excursion) -> EventOfDay | None:
    """The event that was open when it began, or that began within it; the latest of several."""
    fitting = [
        event
        for event in events
        if event.first_sign < one.span.end
        and (event.closed is None or event.closed > one.span.start)
    ]
    return max(fitting, key=lambda event: event.first_sign, default=None)


def _done(journal: Sequence[JournalRow], event: EventOfDay | None) -> str:
    """What people answered, without their names."""
    if event is None:
        return "nothing noted"
    said = [
        f"{row.state}{f' ({row.text})' if row.state == 'done' and row.text else ''}"
        for row in journal
        if row.event == event.number and row.what == "answer"
    ]
    return ", ".join(dict.fromkeys(said)) or "nothing noted"


def dead_after(entries: Sequence[Entry], end: float) -> str:
    """Dead found in the 24 hours after a moment; not noted is no zero."""
    dead = noted_of(entries, Span(end, end + DAY)).dead
    if isinstance(dead.value, Missing):
        return "not countable" if dead.uncounted else dead.value.value
    return f"{'~' if dead.is_estimate else ''}{dead.value:g}"


def watch_at(forces: Sequence[tuple[Span, bool]], utc: float) -> str:
    """Whether the watch was set, by the set-up in force."""
    for span, is_set in forces:
        if span.start <= utc < span.end:
            return "set" if is_set else "STOOD DOWN"
    return "not in force"


def path_at(papers: Papers, utc: float) -> str:
    """The last proof before a moment that a text reaches a person, if it is recent enough."""
    proven = [
        row
        for row in papers.journal
        if row.state == "path proven" and utc - PROOF <= row.moment.utc <= utc
    ]
    if not proven:
        return "no proof of the path to people in the 8 days before"
    last = proven[-1]
    return f"path to people proven {papers.setup.local(last.moment.utc):%d %b %H:%M} ({last.cause})"
