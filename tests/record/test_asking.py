"""Questions in SQL: answered read-only, refused in clear words, harmless in a spreadsheet."""

import json
from pathlib import Path

import pytest

from monitor.archive import Writer
from monitor.effects import JournalRow
from monitor.errors import ArchiveError
from monitor.inputs import Moment
from monitor.record.asking import csv_of, json_of, rows_of

NOW = Moment(1, 100.0, 1792303200.0)


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """An archive with two rows in its journal."""
    path = tmp_path / "record.db"
    writer = Writer(path, "board", "rig", lambda wrong, over: None)
    writer.start(NOW.utc)
    writer.open_boot("boot", 0.0)
    rows = [JournalRow(NOW, "event", "41", state) for state in ("open", "=1+1")]
    assert writer.commit(journal=rows).wait(10.0)
    assert writer.close(10.0)
    return path


def test_rows_are_given(record: Path) -> None:
    """A statement gives its rows, as JSON and as CSV; a formula in a cell is quoted off."""
    rows = rows_of(record, "select subject, state from journal order by state desc")
    assert [{"subject": "41", "state": "open"}, {"subject": "41", "state": "=1+1"}] == rows
    assert rows == [json.loads(line) for line in json_of(rows)]
    assert ["subject,state", "41,open", "41,'=1+1"] == list(csv_of(rows))


@pytest.mark.parametrize(
    "sql",
    [
        "delete from journal",
        "drop table journal",
        "select * from nothing",
        "",
        "select 1; select 2",
    ],
)
def test_changes_and_nonsense_are_refused(record: Path, sql: str) -> None:
    """What would change the archive, or is no question, is refused; the rows stay."""
    with pytest.raises(ArchiveError):
        rows_of(record, sql)
    assert [{"n": 2}] == rows_of(record, "select count(*) as n from journal")


def test_missing_archive_is_told(tmp_path: Path) -> None:
    """A folder without an archive is named, and nothing is created there."""
    with pytest.raises(ArchiveError, match="there is no archive"):
        rows_of(tmp_path / "record.db", "select 1")
    assert [] == list(tmp_path.iterdir())


def test_bytes_are_shown_as_hexadecimal() -> None:
    """Packed readings can be printed."""
    assert ['{"data": "00ff"}'] == list(json_of([{"data": b"\x00\xff"}]))
