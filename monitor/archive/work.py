"""What the writer is handed, and the ticket that tells what became of it."""

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from monitor.archive.gathering import Load
from monitor.archive.records import Boot, Delivery, Note, Offset, SetupVersion
from monitor.archive.store import Store, Witness
from monitor.effects import JournalRow, Text

ALARMING = frozenset({"condition", "alarm", "event"})
"""Journal rows that take the gathered readings to the disk with them: those are the evidence."""


class Ticket:
    """A commit under way. error: why the last try failed, "" while none did."""

    def __init__(self) -> None:
        self.error = ""
        self._kept = False
        self._known = threading.Event()

    def wait(self, timeout: float) -> bool:
        """Whether it is on the disk, after at most so many seconds; False at once if a try failed.

        What failed because of the disk is tried again, so that False may become True.
        """
        self._known.wait(timeout)
        return self._kept

    def keep(self) -> None:
        self._kept, self.error = True, ""
        self._known.set()

    def fail(self, error: str) -> None:
        self.error = error
        self._known.set()


@dataclass(slots=True)
class Work:
    """What belongs into one transaction. `flush` takes all gathered readings along."""

    ticket: Ticket = field(default_factory=Ticket)
    durable: Mapping[str, object] | None = None
    journal: Sequence[JournalRow] = ()
    texts: Sequence[tuple[Text, tuple[str, ...]]] = ()
    setup: SetupVersion | None = None
    delivery: Delivery | None = None
    notes: Sequence[Note] = ()
    flush: bool = False

    @property
    def alarming(self) -> bool:
        return self.flush or any(row.what in ALARMING for row in self.journal)

    def write(self, store: Store) -> Witness | None:
        witnesses = [store.journal(self.journal)]
        witnesses += [store.text(text, channels) for text, channels in self.texts]
        if self.setup is not None:
            witnesses.append(store.setup(self.setup))
        if self.notes:
            witnesses.append(store.notes(self.notes))
        if self.durable is not None:
            store.state(self.durable)
        if self.delivery is not None:
            store.delivery(self.delivery)
        return next(filter(None, witnesses), None)


@dataclass(frozen=True, slots=True)
class Batch:
    """What is taken to the disk in one transaction."""

    works: tuple[Work, ...]
    load: Load
    offsets: tuple[Offset, ...]
    boot: Boot | None


def drop_superseded(works: Sequence[Work]) -> None:
    """Only the newest durable state is worth its memory while the disk refuses."""
    newest = next((work for work in reversed(works) if work.durable is not None), None)
    for work in works:
        if work is not newest:
            work.durable = None
