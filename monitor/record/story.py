"""What only the journal knows of a run: its events with their times, feeding holds, silences. Pure.

Rows are told one by one in order of time, so that no more than one day of them is in memory.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime

from monitor.effects import JournalRow
from monitor.inputs import Moment
from monitor.logic.state import Durable
from monitor.record.rows import EventOfDay
from monitor.record.spans import Span, Spans, joined
from monitor.setup import GRADES

HOLD = "hold "
"""Begins the subject of the journal rows of a feeding hold; the line follows."""


@dataclass(slots=True)
class Story:
    """Events by number, and holds by line; times are UTC s.

    silences: when the watch noted that a sensor was silent, which only a running watch can.
    """

    events: dict[int, EventOfDay] = field(default_factory=dict)
    silences: list[float] = field(default_factory=list)
    _opened: dict[int, Moment] = field(default_factory=dict)
    _begun: dict[str, Moment] = field(default_factory=dict)
    _due: dict[str, float] = field(default_factory=dict)
    _ended: dict[str, list[Span]] = field(default_factory=dict)

    def tell(self, row: JournalRow, overrun_after: float) -> None:
        """Take a row. overrun_after: delay of "hold overrun" then in force, s."""
        if row.what in ("answer", "event"):
            if row.subject.startswith(HOLD):
                self._hold(row)
            elif row.subject.isdecimal():
                self._event(row)
        elif row.what == "condition" and row.state == "true":
            name, _, subject = row.subject.partition("/")
            if name == "sensor silent":
                self.silences.append(row.moment.utc)
            elif name == "hold overrun" and subject in self._begun:
                planned = row.moment.utc - overrun_after
                self._due.setdefault(subject, max(self._begun[subject].utc, planned))

    def _hold(self, row: JournalRow) -> None:
        """A hold said anew goes on, with another end; it never lasts beyond the planned one.

        Where the journal has no planned end (older records), "hold overrun" tells it.
        """
        line = row.subject.removeprefix(HOLD)
        if row.state in ("began", "goes on"):
            self._begun.setdefault(line, row.moment)
            self._due.pop(line, None)
            till = dict(row.evidence).get("till")
            if till is not None:
                self._due[line] = datetime.fromisoformat(till).timestamp()
        elif line in self._begun:
            end = min(row.moment.utc, self._due.pop(line, row.moment.utc))
            self._ended.setdefault(line, []).append(Span(self._begun.pop(line).utc, end))

    def _event(self, row: JournalRow) -> None:
        """An event has the first time at which it was taken, and the last at which it ended."""
        number, at = int(row.subject), row.moment.utc
        event = self.events.get(number)
        if event is None:
            if (row.what, row.state) != ("event", "open"):
                return
            event = EventOfDay(number, row.grade, row.cause, at)
            self._opened[number] = row.moment
        if row.what == "answer" and row.state == "taken" and event.taken is None:
            event = replace(event, taken=at)
        elif row.what == "answer" and row.state == "on site" and event.on_site is None:
            event = replace(event, on_site=at)
        elif row.what == "event" and row.state == "flow proven":
            event = replace(event, proven=at)
        elif row.what == "event" and row.state == "closed":
            event = replace(event, closed=at)
        self.events[number] = replace(event, grade=graver(event.grade, row.grade))

    def finished(self, durable: Durable) -> tuple[EventOfDay, ...]:
        """Events by number, each from its first sign, which only the watch's memory has."""
        return tuple(self._finished(number, durable) for number in sorted(self.events))

    def _finished(self, number: int, durable: Durable) -> EventOfDay:
        event, kept = self.events[number], durable.events.get(number)
        if kept is None:
            return event
        sign = min(event.first_sign, self._opened[number].utc_at(kept.first_sign))
        return replace(event, first_sign=sign, grade=graver(event.grade, kept.grade))

    def holds(self, durable: Durable) -> dict[str, Spans]:
        """Holds by line to their planned end, as far as it is known; else until they were over."""
        found = {line: list(spans) for line, spans in self._ended.items()}
        for line, begun in self._begun.items():
            hold = durable.holds.get(line)
            planned = begun.utc_at(hold.end) if hold is not None else begun.utc
            end = min(planned, self._due.get(line, planned))
            found.setdefault(line, []).append(Span(begun.utc, end))
        return {line: joined(spans) for line, spans in found.items()}


def graver(one: str, other: str) -> str:
    """The graver of two grades; one that is unknown is none."""
    return max(one, other, key=lambda grade: GRADES.index(grade) if grade in GRADES else -1)
