"""What the tests of the archive share: moments, readings, and writers that are closed again."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from monitor.archive import Opening, Writer
from monitor.effects import JournalRow, Text
from monitor.inputs import Moment, Reading

BEGIN = 1_790_002_800.0
"""UTC seconds at elapsed 0 of the first boot: 21 Sep 2026, 15:00."""

PATIENCE = 20.0
"""Seconds after which a test fails that waits for another thread or process."""


def at(elapsed: float, boot: int = 1, ahead: float = BEGIN, trusted: bool = True) -> Moment:
    """A moment whose wall clock is `ahead` of watch time."""
    return Moment(boot, elapsed, elapsed + ahead, trusted)


def reading(elapsed: float, value: float | None, tag: str = "LT1.flow") -> Reading:
    """A reading of the first boot."""
    return Reading(tag, at(elapsed), value)


def row(
    elapsed: float, what: str = "answer", subject: str = "41", state: str = "taken"
) -> JournalRow:
    """A journal row; an answer leaves gathered readings where they are."""
    return JournalRow(at(elapsed), what, subject, state)


def text(number: int, elapsed: float = 0.0) -> Text:
    """A text of event 41 that expires after an hour."""
    body = f"41 supply lost, text {number}"
    return Text(number, 41, "tavrin", "supply lost", "urgent", body, at(elapsed), elapsed + 3600.0)


KEPT_AGAIN = ("kept again; lost meanwhile: 0 readings, 0 flags", True)


@dataclass
class Told:
    """What the writer told of the record, in order; complete once it is closed."""

    news: list[tuple[str, bool]] = field(default_factory=list)

    def __call__(self, wrong: str, over: bool) -> None:
        self.news.append((wrong, over))


@dataclass
class Kept:
    """A running writer with all that its start gave."""

    writer: Writer
    told: Told
    opening: Opening
    boot: int


@contextmanager
def keeping(path: Path, boot_id: str = "first", base: float = 0.0) -> Iterator[Kept]:
    """A writer that has begun a boot, closed at the end."""
    told = Told()
    writer = Writer(path, "ostrel-1", "ostrel-hill", told)
    opening = writer.start(BEGIN)
    yield Kept(writer, told, opening, writer.open_boot(boot_id, base))
    writer.close(PATIENCE)


def tables(path: Path, query: str) -> list[tuple[object, ...]]:
    """What any SQLite tool would find."""
    connection = sqlite3.connect(path)
    try:
        return connection.execute(query).fetchall()
    finally:
        connection.close()


class Faults:
    """Makes connections whose statements can be made to fail, as on a dying card."""

    def __init__(self) -> None:
        self.before: Callable[[str], Exception | None] = lambda statement: None
        self.after: Callable[[str], Exception | None] = lambda statement: None
        faults = self

        class Faulty(sqlite3.Connection):
            """A connection that asks the test before and after each statement."""

            def execute(self, sql: str, *values: object) -> sqlite3.Cursor:
                faults.throw(faults.before(sql))
                cursor = super().execute(sql, *values)  # type: ignore[arg-type]
                faults.throw(faults.after(sql))
                return cursor

        self._kind = Faulty

    def throw(self, error: Exception | None) -> None:
        if error is not None:
            raise error

    def connect(self, uri: str) -> sqlite3.Connection:
        """In place of the archive's own connect."""
        return sqlite3.connect(
            uri, uri=True, isolation_level=None, check_same_thread=False, factory=self._kind
        )

    def refuse(self, beginning: str, error: Exception) -> None:
        """Let every statement that begins so fail, until `heal`."""
        self.before = lambda sql: error if sql.startswith(beginning) else None

    def heal(self) -> None:
        self.before = self.after = lambda statement: None
