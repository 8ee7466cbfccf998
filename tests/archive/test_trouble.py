"""A disk that refuses costs time, not the record; every trouble is told, and its end."""

import os
import sqlite3
import stat
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from archive.keeping import (
    BEGIN,
    KEPT_AGAIN,
    PATIENCE,
    Faults,
    Kept,
    Told,
    at,
    keeping,
    reading,
    row,
    tables,
    text,
)
from monitor.archive import Reader, SetupVersion, Writer, gathering, opening
from monitor.errors import ArchiveError

NOBODY = 65_534
DISK_ERROR = sqlite3.OperationalError("disk I/O error")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the archive of a test is kept."""
    return tmp_path / "record.db"


@pytest.fixture
def faults(monkeypatch: pytest.MonkeyPatch) -> Faults:
    """Connections that can be made to fail."""
    made = Faults()
    monkeypatch.setattr(opening, "_connect", made.connect)
    return made


def all_is_kept(kept: Kept, path: Path, states: int) -> None:
    """Every journal row in order, and the newest state."""
    assert kept.writer.commit({"number": states}, [row(float(states))]).wait(PATIENCE)
    with Reader(path) as reader:
        assert [float(i) for i in range(states + 1)] == [r.moment.elapsed for r in reader.journal()]
        assert {"number": states} == reader.durable()


def test_a_full_disk_fails_the_ticket_and_is_outlived(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the disk is full tickets say so; afterwards all is kept, and it is told once."""
    pages = [10_000]
    connect = opening._connect

    def limited(uri: str) -> sqlite3.Connection:
        connection = connect(uri)
        connection.execute(f"PRAGMA max_page_count={pages[0]}")
        return connection

    monkeypatch.setattr(opening, "_connect", limited)
    with keeping(path) as kept:
        assert kept.writer.commit({"number": 0}, [row(0.0)]).wait(PATIENCE)
    pages[0] = 1
    with keeping(path) as kept:
        long = "x" * 200_000
        kept.writer.readings([reading(1.0, 3.5)], {})
        failed = kept.writer.commit({"number": 1, "long": long}, [row(1.0)])
        again = kept.writer.commit({"number": 2, "long": long}, [row(2.0)])
        for ticket in (failed, again):
            assert not ticket.wait(PATIENCE)
            assert "database or disk is full" == ticket.error
        pages[0] = 10_000
        all_is_kept(kept, path, 3)
        assert failed.wait(0.0)
        assert again.wait(0.0)
        assert ("", "") == (failed.error, again.error)
    assert [("database or disk is full", False), KEPT_AGAIN] == kept.told.news
    with Reader(path) as reader:
        assert [reading(1.0, 3.5)] == reader.readings("LT1.flow")


@pytest.mark.parametrize(
    ("statement", "error"),
    [
        ("BEGIN", DISK_ERROR),
        ("INSERT INTO journal", sqlite3.OperationalError("attempt to write a readonly database")),
        ("COMMIT", DISK_ERROR),
        ("INSERT INTO journal", MemoryError()),
    ],
    ids=["begin", "read-only", "commit", "no memory"],
)
def test_any_refusal_is_outlived(
    path: Path, faults: Faults, statement: str, error: Exception
) -> None:
    """Wherever the transaction breaks off, it is done again as a whole."""
    with keeping(path) as kept:
        assert kept.writer.commit({"number": 0}, [row(0.0)]).wait(PATIENCE)
        faults.refuse(statement, error)
        tickets = [kept.writer.commit({"number": i}, [row(float(i))]) for i in range(1, 5)]
        assert [False] * 4 == [ticket.wait(PATIENCE) for ticket in tickets]
        assert {str(error) or "MemoryError"} == {ticket.error for ticket in tickets}
        faults.heal()
        all_is_kept(kept, path, 5)
    assert [False, True] == [over for _, over in kept.told.news]


def test_a_commit_that_failed_but_was_kept_is_not_doubled(path: Path, faults: Faults) -> None:
    """Where the sync fails after the log was written, the transaction is found and left alone."""
    with keeping(path) as kept:
        assert kept.writer.commit({"number": 0}, [row(0.0)]).wait(PATIENCE)
        faults.after = lambda sql: DISK_ERROR if sql == "COMMIT" else None
        kept.writer.readings([reading(0.5, 3.5), reading(0.5, 3.5)], {})
        ticket = kept.writer.commit({"number": 1}, [row(1.0, "alarm")])
        assert not ticket.wait(PATIENCE)
        faults.heal()
        all_is_kept(kept, path, 2)
        assert ticket.wait(0.0)
    with Reader(path) as reader:
        assert [reading(0.5, 3.5)] * 2 == reader.readings("LT1.flow")


def test_buffers_stay_bounded(path: Path, faults: Faults, monkeypatch: pytest.MonkeyPatch) -> None:
    """While nothing can be written the oldest readings give way, counted; journal rows never do."""
    monkeypatch.setattr(gathering, "MOST_ROWS", 5)
    with keeping(path) as kept:
        assert kept.writer.flush().wait(PATIENCE)
        faults.refuse("BEGIN", DISK_ERROR)
        for number in range(40):
            elapsed = 400.0 * number
            kept.writer.readings([reading(elapsed, float(number))], {})
            kept.writer.commit({"number": number}, [row(elapsed)])
        assert not kept.writer.flush().wait(PATIENCE)
        faults.heal()
        assert kept.writer.flush().wait(PATIENCE)
        lost = kept.writer.readings_lost
    with Reader(path) as reader:
        found = [r.value for r in reader.readings("LT1.flow")]
        assert [400.0 * number for number in range(40)] == [
            r.moment.elapsed for r in reader.journal()
        ]
        assert {"number": 39} == reader.durable()
    assert 40 == len(found) + lost
    assert 0 < lost
    assert 39.0 == found[-1]
    assert (f"kept again; lost meanwhile: {lost} readings, 0 flags", True) == kept.told.news[-1]


def test_a_folder_that_is_not_there_yet(path: Path) -> None:
    """Where the archive cannot even be made, the watch starts; what it wrote comes in later."""
    late = path.parent / "card" / "record.db"
    with keeping(late) as kept:
        assert "unable to open database file" == kept.opening.trouble
        earlier = kept.opening.earlier
        assert earlier is not None
        assert (BEGIN, int(BEGIN // 60) + 1) == (earlier.last.elapsed, kept.boot)
        assert not kept.writer.commit({"number": 0}, [row(0.0)]).wait(PATIENCE)
        late.parent.mkdir()
        all_is_kept(kept, late, 1)
    assert [("unable to open database file", False), KEPT_AGAIN] == kept.told.news
    with keeping(late, "next") as kept:
        assert int(BEGIN // 60) + 2 == kept.boot


@pytest.fixture
def locked() -> Iterator[Callable[[bool], Path]]:
    """A folder that can be made read-only, also for root, who has to become nobody for it."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        is_root = os.geteuid() == 0

        def lock(shut: bool) -> Path:
            if is_root:
                os.seteuid(0)
            for name in (*folder.iterdir(), folder):
                writable = stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH if not shut else 0
                name.chmod(0o555 | writable)
            if is_root:
                os.seteuid(NOBODY)
            return folder

        yield lock
        lock(False)
        if is_root:
            os.seteuid(0)


def test_a_read_only_folder_is_outlived(locked: Callable[[bool], Path]) -> None:
    """On a card gone read-only the watch starts, says so, and writes when it can again."""
    path = locked(False) / "record.db"
    with keeping(path) as kept:
        assert kept.writer.commit({"number": 0}, [row(0.0)]).wait(PATIENCE)
    locked(True)
    with keeping(path) as kept:
        ticket = kept.writer.commit({"number": 1}, [row(1.0)])
        assert not ticket.wait(PATIENCE)
        assert "readonly" in ticket.error
        locked(False)
        all_is_kept(kept, path, 2)
        assert ticket.wait(0.0)
    assert [False, True] == [over for _, over in kept.told.news]


def grown(path: Path) -> None:
    """A small archive with a bit of everything, closed."""
    with keeping(path) as kept:
        for second in range(0, 3000, 3):
            kept.writer.readings([reading(float(second), second / 10)], {})
        version = SetupVersion(1, at(1.0), "oskel", "begin", {"rig.toml": "x" * 9000})
        kept.writer.commit({"number": 1}, [row(1.0)], [(text(1), ("mail",))], (), version)


def garbage(data: bytes) -> bytes:
    """Nothing of a database is left."""
    return b"\x00\xff not a database " * (len(data) // 18)


def without_header(data: bytes) -> bytes:
    """The first bytes are wiped, as by a write that was cut off."""
    return bytes(200) + data[200:]


def cut_short(data: bytes) -> bytes:
    """The second half is missing, as where a copy was broken off."""
    return data[: len(data) // 2 + 77]


def torn_middle(data: bytes) -> bytes:
    """Four pages after the first are nonsense."""
    return data[:4096] + b"\xa5" * 16_384 + data[4096 + 16_384 :]


def without_last_page(data: bytes) -> bytes:
    """One page is missing at the end."""
    return data[:-4096]


DAMAGES = [garbage, without_header, cut_short, without_last_page, torn_middle]


def wreck(path: Path, table: str) -> None:
    """Make nonsense of the first page of a table."""
    ((page,),) = tables(path, f"SELECT rootpage FROM sqlite_schema WHERE name = '{table}'")
    assert isinstance(page, int)
    with path.open("r+b") as file:
        file.seek(4096 * (page - 1))
        file.write(b"\xa5" * 4096)


@pytest.mark.parametrize("table", ["setups", "texts", "outbox", "state", "names"])
def test_a_broken_page_of_what_must_last_is_found_at_once(path: Path, table: str) -> None:
    """Damage in a table that the watch lives on is found at the start, not when it is needed."""
    grown(path)
    wreck(path, table)
    with keeping(path) as kept:
        assert path.with_name("record.db.damaged-20260921T150000Z") == kept.opening.set_aside


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_archive_is_set_aside(path: Path, damage: Callable[[bytes], bytes]) -> None:
    """A damaged file is renamed whole, with the time in its name, and a new one is begun."""
    grown(path)
    damaged = damage(path.read_bytes())
    path.write_bytes(damaged)
    with keeping(path) as kept:
        aside = path.with_name("record.db.damaged-20260921T150000Z")
        assert (aside, None, "") == (
            kept.opening.set_aside,
            kept.opening.earlier,
            kept.opening.trouble,
        )
        assert kept.writer.commit({"number": 2}, [row(2.0)]).wait(PATIENCE)
    assert damaged == aside.read_bytes()
    with Reader(path) as reader:
        assert [] == reader.problems()
        assert {"number": 2} == reader.durable()


def test_a_second_damage_at_the_same_time_gets_its_own_name(path: Path) -> None:
    """Nothing that was set aside is ever overwritten."""
    for content in (b"one" * 999, b"two" * 999):
        path.write_bytes(content)
        opening.set_aside(path, BEGIN)
    names = ["record.db.damaged-20260921T150000Z", "record.db.damaged-20260921T150000Z-1"]
    assert names == sorted(file.name for file in path.parent.iterdir())


def test_damage_under_way_begins_a_new_archive(path: Path, faults: Faults) -> None:
    """Damage found while writing sets the file aside; the new one has state, set-up and boot."""
    broken = sqlite3.DatabaseError("database disk image is malformed")
    broken.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    version = SetupVersion(1, at(1.0), "oskel", "begin", {"rig.toml": ""})
    with keeping(path) as kept:
        kept.writer.readings([reading(1.0, 3.5)], {})
        assert kept.writer.commit({"number": 1}, [row(1.0)], setup=version).wait(PATIENCE)
        faults.before = lambda sql: broken if sql.startswith("INSERT INTO journal") else None
        ticket = kept.writer.commit(None, [row(2.0)])
        assert not ticket.wait(PATIENCE)
        faults.heal()
        assert kept.writer.flush().wait(PATIENCE)
        assert ticket.wait(0.0)
    (aside,) = path.parent.glob("record.db.damaged-*Z")
    with Reader(aside) as old, Reader(path) as new:
        assert [row(1.0)] == old.journal()
        assert [row(2.0)] == new.journal()
        assert ({"number": 1}, [version]) == (new.durable(), new.setups())
        assert old.boots() == new.boots()
        assert [reading(1.0, 3.5)] == new.readings("LT1.flow")
    set_aside = f"the archive was damaged and is set aside as {aside.name}"
    expected = [("database disk image is malformed", False), (set_aside, False)]
    assert [*expected, KEPT_AGAIN] == kept.told.news


def foreign(path: Path) -> str:
    """A database of another program."""
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE fish (name TEXT)")
    connection.close()
    return "is a database of something else"


def newer(path: Path) -> str:
    """An archive with a schema that this program does not know yet."""
    grown(path)
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version=999")
    connection.close()
    return "was made by a newer program"


@pytest.mark.parametrize("make", [foreign, newer])
def test_a_file_of_others_is_left_alone(path: Path, make: Callable[[Path], str]) -> None:
    """A whole database that is not ours, or newer than this program, is refused and untouched."""
    wrong = make(path)
    before = path.read_bytes()
    with keeping(path) as kept:
        assert wrong in kept.opening.trouble
        assert not kept.writer.commit({}).wait(PATIENCE)
    with pytest.raises(ArchiveError, match=wrong):
        Reader(path)
    assert before == path.read_bytes()


def test_a_reader_needs_an_archive(path: Path) -> None:
    """Where there is none, or no database at all, the error names the file and the remedy."""
    with pytest.raises(ArchiveError, match=r"no archive at .*record.db; the watch makes it"):
        Reader(path)
    path.write_bytes(b"garbage" * 1000)
    with pytest.raises(ArchiveError, match=r"record.db cannot be read: file is not a database"):
        Reader(path)
    path.write_bytes(b"")
    with pytest.raises(ArchiveError, match="start the watch once"):
        Reader(path)


def test_a_page_that_breaks_later_is_told_by_the_reader(path: Path) -> None:
    """A reader on a broken page raises an error of the archive, never one of the database."""
    grown(path)
    wreck(path, "readings")
    with Reader(path) as reader:
        assert reader.problems()
        with pytest.raises(ArchiveError, match=r"record.db cannot be read: .* malformed"):
            reader.readings("LT1.flow")


def test_closing_on_a_dead_disk_ends(path: Path, faults: Faults) -> None:
    """A writer that cannot write its last rows says so and ends all the same."""
    told = Told()
    writer = Writer(path, "ostrel-1", "ostrel-hill", told)
    writer.start(BEGIN)
    writer.open_boot("first", 0.0)
    assert writer.flush().wait(PATIENCE)
    writer.readings([reading(1.0, 3.5)], {})
    faults.refuse("BEGIN", DISK_ERROR)
    assert not writer.close(PATIENCE)
    assert [("disk I/O error", False)] == told.news


def test_a_listener_that_fails_harms_nothing(path: Path, faults: Faults) -> None:
    """An error in what is told of the trouble does not end the writer."""

    def listener(wrong: str, over: bool) -> None:
        raise ValueError(wrong, over)

    writer = Writer(path, "ostrel-1", "ostrel-hill", listener)
    writer.start(BEGIN)
    faults.refuse("BEGIN", DISK_ERROR)
    assert not writer.commit({"number": 1}).wait(PATIENCE)
    faults.heal()
    assert writer.commit({"number": 2}).wait(PATIENCE)
    assert writer.close(PATIENCE)
