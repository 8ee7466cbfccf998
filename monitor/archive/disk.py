"""The archive file from the writer's side: one try to write a batch, and what a failure means."""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from monitor.archive.boots import earlier_boot, load_boots
from monitor.archive.opening import is_damage, open_for_writing, set_aside
from monitor.archive.records import Boot, Offset
from monitor.archive.store import Store, Witness
from monitor.archive.work import Batch, Work
from monitor.clock import EarlierBoot


@dataclass(frozen=True, slots=True)
class Doubt:
    """A transaction whose commit failed: the card may have kept it all the same."""

    batch: Batch
    witness: Witness
    errors: list[str]


Part = Callable[[], Witness | None]


class Disk:
    """Opens the file when it can, and writes batches. Any error raised means: try again later."""

    def __init__(self, path: Path, board: str, rig: str) -> None:
        self.transactions = 0
        self._path = path
        self._board, self._rig = board, rig
        self._store: Store | None = None
        self._damaged = False
        self._is_new = False
        self._doubt: Doubt | None = None
        self._kept = Work()
        self._kept_offsets: list[Offset] = []

    def open(self, utc: float) -> Path | None:
        """Open the file unless it is open; where a damaged one was put, if one was found.

        utc: the present, to name what is set aside.
        """
        if self._store is not None:
            return None
        aside = None
        if self._damaged:
            aside = set_aside(self._path, utc)
            self._damaged, self._is_new = False, True
        connection, found = open_for_writing(self._path, utc)
        self._is_new = self._is_new or found is not None
        self._store = Store(connection, self._board, self._rig)
        return aside or found

    def look_back(self) -> tuple[Boot | None, EarlierBoot | None]:
        """The last boot that was counted, and what is known of the time before."""
        assert self._store is not None
        boots = load_boots(self._store.db)
        return boots[-1] if boots else None, earlier_boot(self._store.db)

    def write(self, batch: Batch) -> list[str]:
        """One transaction; for each work of the batch, then for its other parts, "" or why that
        can never be stored."""
        store = self._store
        assert store is not None
        doubt = self._doubt
        if doubt is not None and doubt.batch is batch and store.holds(doubt.witness):
            self._done(batch)
            return doubt.errors
        store.begin()
        witness, errors = self._write_parts(store, batch)
        self._doubt = None if witness is None else Doubt(batch, witness, errors)
        store.commit()
        self.transactions += 1
        self._done(batch)
        return errors

    def give_up(self, error: Exception) -> None:
        """After a failed try: close, so that the next one starts from the file as it is."""
        self._damaged = isinstance(error, sqlite3.Error) and is_damage(error)
        self.close()

    def close(self) -> None:
        if self._store is not None:
            store, self._store = self._store, None
            store.close()

    def _write_parts(self, store: Store, batch: Batch) -> tuple[Witness | None, list[str]]:
        if self._is_new:  # the file was replaced under way: what must last goes into the new one
            self._kept.write(store)
            store.offsets(self._kept_offsets)
        parts: list[Part] = [partial(work.write, store) for work in batch.works]
        parts += [partial(store.rows, batch.load.rows), partial(store.flags, batch.load.flags)]
        parts.append(partial(store.offsets, batch.offsets))
        if batch.boot is not None:
            parts.append(partial(store.boot, batch.boot))
        results = [_apart(store, part) for part in parts]
        witness = next((witness for witness, _ in results if witness is not None), None)
        return witness, [error for _, error in results]

    def _done(self, batch: Batch) -> None:
        self._doubt, self._is_new = None, False
        self._kept_offsets += batch.offsets
        for work in batch.works:
            if work.durable is not None:
                self._kept.durable = work.durable
            if work.setup is not None:
                self._kept.setup = work.setup


def _apart(store: Store, write: Part) -> tuple[Witness | None, str]:
    """Write one part so that a part that can never be stored takes no other down with it."""
    store.mark()
    try:
        witness = write()
    except Exception as error:
        if not _is_unfit(error):
            raise
        store.undo_marked()
        return None, f"{type(error).__name__}: {error}"
    store.keep_marked()
    return witness, ""


def _is_unfit(error: Exception) -> bool:
    """Whether what was to be stored is at fault, and not the disk or the file."""
    if isinstance(error, sqlite3.Error):
        unfit = sqlite3.IntegrityError, sqlite3.DataError, sqlite3.ProgrammingError
        return isinstance(error, unfit)
    return not isinstance(error, OSError | MemoryError)
