"""Questions of one's own to the archive, in SQL, with sqlite-utils. For commands only.

The watch never imports this: sqlite-utils brings numpy and pandas in where they are installed.
"""

import csv
import io
import json
import sqlite3
from collections.abc import Iterable, Iterator
from pathlib import Path

from sqlite_utils import Database

from monitor.errors import ArchiveError
from monitor.record.harmless import harmless


def rows_of(path: Path, sql: str) -> list[dict[str, object]]:
    """The rows a statement gives; the file is open read-only, so nothing can be changed.

    Raises ArchiveError with SQLite's own words where the statement or the file is no good.
    """
    if not path.is_file():
        raise ArchiveError(f"{path}: there is no archive; name its folder with --state")
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        try:
            return list(Database(connection).query(sql))
        finally:
            connection.close()
    except (sqlite3.Error, sqlite3.Warning, ValueError) as error:
        raise ArchiveError(
            f"{path}: {error}; docs/reference/archive.md names the tables"
        ) from error


def json_of(rows: Iterable[dict[str, object]]) -> Iterator[str]:
    """One JSON object a row; packed readings and other bytes as hexadecimal."""
    for row in rows:
        yield json.dumps({key: _plain(value) for key, value in row.items()}, ensure_ascii=False)


def csv_of(rows: Iterable[dict[str, object]]) -> Iterator[str]:
    """A head and one line a row. A cell that a spreadsheet would run as a formula is quoted off."""
    head: list[str] | None = None
    for row in rows:
        if head is None:
            head = list(row)
            yield _line([harmless(name) for name in head])
        yield _line([harmless(_plain(row[key])) for key in head])


def _plain(value: object) -> object:
    return value.hex() if isinstance(value, bytes) else value


def _line(cells: Iterable[object]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(list(cells))
    return out.getvalue()
