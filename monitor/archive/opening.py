"""Opening the archive file: connect, look for damage, bring the tables up to date."""

import logging
import sqlite3
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from urllib.parse import quote

from monitor.errors import ArchiveError

log = logging.getLogger(__name__)

APPLICATION_ID = 0x686F6C64
"""Marks the file as an archive of holdwater ("hold" in ASCII)."""

SCHEMA = Path(__file__).parent / "schema"
BUSY_MS = 2000
"""Milliseconds to wait for a lock; only a tool that somebody runs by hand ever takes one."""

CHECKED = ("boots", "offsets", "names", "scales", "state", "setups", "journal", "texts", "outbox",
           "notes")  # fmt: skip
"""Checked page by page at each start. `readings` is left out: a long season would take minutes to
read, and damage there costs old readings, not the watch."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def open_for_writing(path: Path, utc: float) -> tuple[sqlite3.Connection, Path | None]:
    """The only writing connection, tables up to date; and where a damaged file was put, if it was.

    utc: names the file that is set aside. Raises sqlite3.Error or OSError when the place cannot
    be written now, ArchiveError when the file is whole but not for this program.
    """
    try:
        return _open(path), None
    except sqlite3.DatabaseError as error:
        if not is_damage(error):
            raise
    aside = set_aside(path, utc)
    return _open(path), aside


def open_for_reading(path: Path) -> sqlite3.Connection:
    """A connection that cannot write. ArchiveError when there is no archive to read."""
    if not path.exists():
        raise ArchiveError(f"there is no archive at {path}; the watch makes it when it starts")
    connection = _connect(f"file:{quote(str(path.absolute()))}?mode=ro")
    try:
        version = _version(connection, path)
    except sqlite3.Error as error:
        connection.close()
        raise ArchiveError(f"the archive {path} cannot be read: {error}") from error
    except ArchiveError:
        connection.close()
        raise
    if version < len(_steps()):
        connection.close()
        raise ArchiveError(f"the archive {path} is older than this program; start the watch once")
    return connection


def is_damage(error: sqlite3.Error) -> bool:
    """Whether the error says that the file itself is broken (not the disk, not the request)."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def set_aside(path: Path, utc: float) -> Path:
    """Rename the file, and what SQLite keeps beside it, so that nothing of it is lost."""
    stamp = (EPOCH + timedelta(seconds=utc)).strftime("%Y%m%dT%H%M%SZ")
    names = (f"{path.name}.damaged-{stamp}" + (f"-{n}" if n else "") for n in count())
    aside = next(place for place in map(path.with_name, names) if not place.exists())
    for ending in ("-wal", "-shm", ""):
        beside = path.with_name(path.name + ending)
        if beside.exists():
            beside.rename(aside.with_name(aside.name + ending))
    log.error("damaged=%s set_aside=%s", path, aside)
    return aside


def _open(path: Path) -> sqlite3.Connection:
    connection = _connect(f"file:{quote(str(path.absolute()))}?mode=rwc")
    try:
        version = _version(connection, path)
        mode = connection.execute("PRAGMA journal_mode=WAL").fetchone()[0]
        if mode != "wal":
            raise ArchiveError(f"{path.parent} cannot hold the archive: no write-ahead log there")
        connection.execute("PRAGMA synchronous=FULL")
        _bring_up_to_date(connection, version)
        _look_for_damage(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _connect(uri: str) -> sqlite3.Connection:
    """The writer opens in one thread and writes in another, one after the other."""
    return sqlite3.connect(
        uri, uri=True, isolation_level=None, timeout=BUSY_MS / 1000.0, check_same_thread=False
    )


def _version(connection: sqlite3.Connection, path: Path) -> int:
    """How many steps of the schema the file has; 0 for an empty one."""
    mark = connection.execute("PRAGMA application_id").fetchone()[0]
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    assert isinstance(version, int)
    if tables and mark != APPLICATION_ID:
        raise ArchiveError(f"{path} is a database of something else; name another place for it")
    if version > len(_steps()):
        raise ArchiveError(f"the archive {path} was made by a newer program; update this one")
    return version


def _steps() -> list[Path]:
    """Steps of the schema in order; a file of version n has had the first n."""
    return sorted(SCHEMA.glob("*.sql"))


def _bring_up_to_date(connection: sqlite3.Connection, version: int) -> None:
    for number, step in enumerate(_steps()[version:], start=version + 1):
        connection.executescript(
            f"BEGIN IMMEDIATE; {step.read_text('utf-8')}\n"
            f"PRAGMA application_id={APPLICATION_ID}; PRAGMA user_version={number}; COMMIT;"
        )


def _look_for_damage(connection: sqlite3.Connection) -> None:
    """Raise the error of a damaged file where a short look shows damage."""
    for table in CHECKED:
        found = connection.execute(f"PRAGMA quick_check('{table}')").fetchone()[0]
        if found != "ok":
            raise _damage(f"{table}: {found}")
    connection.execute(
        "SELECT * FROM readings ORDER BY boot DESC, start_ms DESC LIMIT 1"
    ).fetchall()


def _damage(text: str) -> sqlite3.DatabaseError:
    error = sqlite3.DatabaseError(text)
    error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return error
