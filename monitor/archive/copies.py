"""Copies of the archive on another medium, and putting one back in its place.

A copy is made through SQLite's backup interface while the watch runs: it is consistent as of one
moment, and it is checked before it counts. Names of copies carry the time in UTC, so that they
sort, and keep apart over a change of the clock.
"""

import os
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from monitor.archive.opening import open_for_reading
from monitor.errors import ArchiveError

NAME = re.compile(r"record-\d{8}T\d{6}Z\.db")
PAGES = 500
"""Pages copied in one go (2 MB); between two of them the watch may write."""

Progress = Callable[[int, int], None]
"""Called with pages done and pages in all."""


def copy_to(archive: Path, folder: Path, utc: float, keep: int, progress: Progress) -> Path:
    """Copy the archive into a folder, check the copy, and keep only the newest `keep` copies.

    ArchiveError says what was wrong; then no copy that is not whole is left behind, and no older
    copy was touched.
    """
    at = datetime.fromtimestamp(utc, UTC)
    target = folder / f"record-{at:%Y%m%dT%H%M%S}Z.db"
    part = target.with_suffix(".part")
    try:
        folder.mkdir(mode=0o750, parents=True, exist_ok=True)
        with closing(open_for_reading(archive)) as source, closing(sqlite3.connect(part)) as copy:
            copy.execute("pragma synchronous = off")  # it is synced as a whole below
            source.backup(
                copy, pages=PAGES, progress=lambda _, left, total: progress(total - left, total)
            )
            copy.execute("pragma journal_mode = delete")  # one file, with nothing beside it
        check(part)
        _sync(part)
        part.chmod(0o640)
        part.replace(target)
        _sync(folder)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise ArchiveError(f"{target}: could not be written: {error}") from error
    except ArchiveError:
        part.unlink(missing_ok=True)
        raise
    for old in copies_in(folder)[:-keep]:
        old.unlink(missing_ok=True)
    return target


def copies_in(folder: Path) -> list[Path]:
    """The copies in a folder, the oldest first."""
    found = [path for path in folder.iterdir() if NAME.fullmatch(path.name)]
    return sorted(found, key=lambda path: path.name)


def check(path: Path) -> None:
    """Read a whole archive through; ArchiveError when anything in it is damaged."""
    try:
        with closing(
            sqlite3.connect(f"file:{quote(str(path.absolute()))}?mode=ro", uri=True)
        ) as file:
            said = [row[0] for row in file.execute("pragma integrity_check(10)")]
    except sqlite3.Error as error:
        raise ArchiveError(f"{path}: is damaged: {error}") from error
    if said != ["ok"]:
        raise ArchiveError(f"{path}: is damaged: {said[0]}")


def restore(copy: Path, archive: Path, utc: float) -> Path | None:
    """Put a copy in the place of the archive; where the old one was put, if there was one.

    The caller sees to it that no watch runs. ArchiveError when the copy is not whole or not an
    archive; then nothing has changed.
    """
    check(copy)
    open_for_reading(copy).close()
    part = archive.with_suffix(".part")
    try:
        archive.parent.mkdir(mode=0o750, parents=True, exist_ok=True)
        with (
            closing(
                sqlite3.connect(f"file:{quote(str(copy.absolute()))}?mode=ro", uri=True)
            ) as source,
            closing(sqlite3.connect(part)) as target,
        ):
            source.backup(target)
        _sync(part)
        part.chmod(0o640)
        aside = None
        if archive.exists():
            at = datetime.fromtimestamp(utc, UTC)
            aside = archive.with_name(f"{archive.name}.before-{at:%Y%m%dT%H%M%SZ}")
            for tail in ("", "-wal", "-shm"):
                old = archive.with_name(archive.name + tail)
                if old.exists():
                    old.replace(aside.with_name(aside.name + tail))
        part.replace(archive)
        _sync(archive.parent)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise ArchiveError(f"{archive}: could not be put back: {error}") from error
    return aside


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
