"""Notes of people as they come in: checked, numbered, and handed to the one writer.

Runs in the short-lived threads of the control socket, beside the scan, and delays nothing.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

from monitor.archive import Note, Reader
from monitor.clock import Clock
from monitor.config.people_sheet import utc
from monitor.config.rules import local_time
from monitor.control import Handler, Request
from monitor.errors import ControlError, RefusedInput
from monitor.inputs import Moment
from monitor.record.gather import runs_of
from monitor.record.notes import WITHDRAWN, Entry, check, standing
from monitor.record.photos import Photos
from monitor.setup import Setup

KEPT_WITHIN = 15.0
"""Seconds in which a note must be on the disk: a tired card takes its time."""

AHEAD = 300.0
"""Seconds by which a note may lie ahead of the clock of the watch: clocks on walls differ."""

WAYS = ("command", "import", "page")


class Ticket(Protocol):
    """A note under way to the disk."""

    error: str

    def wait(self, timeout: float) -> bool:
        """Whether it was kept within so many seconds."""


class NoteDesk:
    """Takes notes on the control socket.

    record: the archive, to see which notes there are. keep: hands notes to the writer. person:
    who is at the other end, or RefusedInput.
    """

    def __init__(
        self,
        record: Path,
        keep: Callable[[Sequence[Note]], Ticket],
        clock: Clock,
        setup: Callable[[], Setup],
        person: Callable[[Request], str],
    ) -> None:
        self._record = record
        self._keep = keep
        self._clock = clock
        self._setup = setup
        self._person = person
        self._photos = Photos(record.parent)
        self._one_by_one = threading.Lock()
        self._last = 0

    @property
    def handlers(self) -> Mapping[str, Handler]:
        """What can be asked, by its word."""
        return {"note": self._note, "photo": self._photo}

    def _note(self, request: Request) -> dict[str, Any]:
        """One note or many; all of them are kept, or none."""
        who, way = self._person(request), request.data.get("way", "command")
        if way not in WAYS:
            raise ControlError(f"way: it is one of {', '.join(WAYS)}")
        given = request.data.get("notes")
        if not isinstance(given, list) or not given:
            raise ControlError("notes: give a list of notes")
        with self._one_by_one, Reader(self._record) as reader:
            run = self._run(request.data.get("run", ""), reader)
            self._last = max(self._last, reader.last_note())
            now = self._clock.now()
            entries = {entry.note.number: entry for entry in standing(reader.notes(run))}
            notes: list[Note] = []
            for data in given:
                number = self._last + 1 + len(notes)
                maker = _Maker(number, now, run, who, str(way), self._setup(), entries)
                notes.append(maker.note(data))
            ticket = self._keep(notes)
            if not ticket.wait(KEPT_WITHIN):
                wrong = ticket.error or f"not on the disk within {KEPT_WITHIN:.0f} s"
                raise ControlError(f"the record did not take it yet: {wrong}; see: holdwater notes")
            self._last = notes[-1].number
        return {"who": who, "run": run, "numbers": [note.number for note in notes]}

    def _run(self, named: object, reader: Reader) -> str:
        """The run that is meant; a run that is over may still get notes."""
        setup = self._setup()
        if named == "" and setup.run is not None:
            return setup.run.id
        known = runs_of(reader)
        if named == "" or not isinstance(named, str) or named not in known:
            names = ", ".join(known) or "none yet; write run.toml and bring it in with apply"
            raise RefusedInput(f"run {named!r}: the record has {names}")
        return named

    def _photo(self, request: Request) -> dict[str, Any]:
        """A piece of a photo; the last one makes the file."""
        self._person(request)
        return {"complete": self._photos.take(request.data)}


class _Maker:
    """Makes one note of what was sent."""

    def __init__(
        self,
        number: int,
        now: Moment,
        run: str,
        who: str,
        way: str,
        setup: Setup,
        entries: Mapping[int, Entry],
    ) -> None:
        self._number = number
        self._now = now
        self._run, self._who, self._way = run, who, way
        self._setup = setup
        self._entries = entries

    def note(self, data: object) -> Note:
        if not isinstance(data, dict):
            raise ControlError("notes: each is an object")
        before = self._amended(data)
        kind = data.get("kind", before.kind if before is not None else "")
        said = data.get("said", {})
        if not isinstance(said, dict) or not all(
            isinstance(part, str) for pair in said.items() for part in pair
        ):
            raise ControlError("said: give an object of fields and their texts")
        if before is not None and kind not in (before.kind, WITHDRAWN):
            raise RefusedInput(f"note {before.number} is {before.kind}; amend it as such")
        check(str(kind), said)
        reason = _words(data, "reason")
        if before is not None and not reason:
            raise RefusedInput("reason: say why; it stands beside the amendment")
        if before is None and kind == WITHDRAWN:
            raise RefusedInput("withdrawn: say which note, as amends")
        return Note(
            self._number,
            self._now,
            self._at(data.get("at"), before),
            self._run,
            str(kind),
            self._who,
            self._way,
            said,
            before.number if before is not None else 0,
            reason,
            _words(data, "origin"),
        )

    def _amended(self, data: Mapping[str, object]) -> Note | None:
        number = data.get("amends", 0)
        if number == 0:
            return None
        if not isinstance(number, int) or isinstance(number, bool):
            raise ControlError("amends: give the number of a note")
        if number not in self._entries:
            raise RefusedInput(f"no note {number} stands in run {self._run}; see: holdwater notes")
        return self._entries[number].note

    def _at(self, at: object, before: Note | None) -> float:
        """UTC s of a local time; without one now, or the time of the note that is amended."""
        if at is None:
            return self._now.utc if before is None else before.at
        wrong = local_time(at) if isinstance(at, str) else "it is no text"
        if wrong:
            raise RefusedInput(f"at: {wrong}")
        assert isinstance(at, str)
        moment = utc(at, self._setup.zone)
        if moment > self._now.utc + AHEAD:
            raise RefusedInput(f"at: {at} lies ahead; a note tells of what has happened")
        return moment


def _words(data: Mapping[str, object], key: str) -> str:
    text = data.get(key, "")
    if not isinstance(text, str) or len(text) > 500:
        raise ControlError(f"{key}: give text of at most 500 characters")
    return text.strip()
