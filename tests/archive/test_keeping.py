"""What is handed to the writer is in the archive, and stays as it is."""

import sqlite3
import struct
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.keeping import BEGIN, KEPT_AGAIN, PATIENCE, at, keeping, reading, row, tables, text
from monitor.archive import Note, Reader, SetupVersion, opening
from monitor.archive.opening import open_for_writing
from monitor.archive.reader import JOURNAL
from monitor.effects import Flag
from monitor.errors import ArchiveError
from monitor.inputs import Reading

HOSTILE = "\ud800 \x00 '; DROP TABLE journal; -- \u202e \U0001f41f \n\r\t" + "x" * 5000
STEPS = st.lists(
    st.tuples(
        st.sampled_from(("LT1.flow", "HD1.level", "LT1.temp")),
        st.sampled_from((0, 0, 1, 999, 1000, 1000, 1000, 5003, 301_000, 4_000_000)),
        st.none() | st.floats(allow_nan=False, allow_infinity=False) | st.integers(0, 400).map(
            lambda tenths: tenths / 10
        ),
        st.sampled_from(("", "", "no answer")),
        st.sampled_from(("go on", "go on", "flush", "new calibration", "new run")),
    ),
    max_size=60,
)  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the archive of a test is kept."""
    return tmp_path / "record.db"


def plain(found: Reading) -> tuple[str, float, bytes | None, str]:
    """A reading with its value as bits, so that -0.0 differs from 0.0."""
    value = None if found.value is None else struct.pack("<d", found.value)
    return found.tag, found.moment.elapsed, value, found.problem


@pytest.mark.long
@settings(max_examples=25)
@given(STEPS)
def test_every_reading_is_kept_as_delivered(
    tmp_path_factory: pytest.TempPathFactory,
    steps: list[tuple[str, int, float | None, str, str]],
) -> None:
    """Whatever comes when, across intervals, flushes, runs and calibrations: all of it is there."""
    path = tmp_path_factory.mktemp("kept") / "record.db"
    now_ms, calibration, run = 0, 1, "2026-1"
    given_in: list[tuple[Reading, int, str]] = []
    with keeping(path) as kept:
        for tag, step_ms, value, problem, deed in steps:
            now_ms += step_ms
            calibration += deed == "new calibration"
            run = "2026-2" if deed == "new run" else run
            new = Reading(tag, at(now_ms / 1000.0), value, problem)
            given_in.append((new, calibration, run))
            kept.writer.readings([new], {tag: calibration}, run)
            if deed == "flush":
                kept.writer.flush()
    with Reader(path) as reader:
        for tag in {new.tag for new, _, _ in given_in}:
            own = [entry for entry in given_in if entry[0].tag == tag]
            assert [plain(new) for new, _, _ in own] == list(map(plain, reader.readings(tag)))
            marks = [
                (part.calibration, part.run, part.rig)
                for part in reader.series(tag)
                for _ in part.elapsed
            ]
            assert [(number, name, "ostrel-hill") for _, number, name in own] == marks


@pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), float("-inf"), "7.5", 10**400], ids=str
)
def test_what_is_no_number_is_kept_as_missing(path: Path, value: object) -> None:
    """A value that is no finite number becomes a missing one, and its problem says what it was."""
    with keeping(path) as kept:
        kept.writer.readings([Reading("LT1.flow", at(1.0), value)], {})  # type: ignore[arg-type]
    with Reader(path) as reader:
        (found,) = reader.readings("LT1.flow")
    assert None is found.value
    assert f"not a finite number: {value}"[:60] == found.problem[:60]


@pytest.mark.parametrize("elapsed", [float("nan"), float("inf"), 1e300])
def test_a_reading_without_a_time_is_counted_as_lost(path: Path, elapsed: float) -> None:
    """A reading whose time is nonsense cannot be kept; it is counted and harms no other."""
    with keeping(path) as kept:
        kept.writer.readings([reading(elapsed, 1.0), reading(5.0, 2.0)], {})
        assert 1 == kept.writer.readings_lost
    with Reader(path) as reader:
        assert [2.0] == [found.value for found in reader.readings("LT1.flow")]


def test_times_that_go_back_harm_nothing(path: Path) -> None:
    """Readings that come out of order are all kept and read by watch time."""
    times = [50.0, 10.0, 900.0, 20.0, 310.0, 300.0, 10.0]
    with keeping(path) as kept:
        kept.writer.readings([reading(elapsed, float(i)) for i, elapsed in enumerate(times)], {})
    with Reader(path) as reader:
        found = [(r.moment.elapsed, r.value) for r in reader.readings("LT1.flow")]
    assert sorted((elapsed, float(i)) for i, elapsed in enumerate(times)) == found


def test_one_commit_keeps_all_its_parts(path: Path) -> None:
    """Durable state, journal, texts, flags and set-up come back as they were given."""
    event = replace(
        row(12.5, "event", "41", "open"),
        grade="urgent",
        cause="mains lost",
        who="tavrin",
        evidence=(("LH", "37.0 cm"), ("limit", "36.0 cm")),
        text="supply lost",
    )
    version = SetupVersion(3, at(12.0), "oskel", "new limit", {"rig.toml": "[rig]\n"})
    flag = Flag("HD1.level", 11.25, 4, "gross range")
    with keeping(path) as kept:
        kept.writer.readings([reading(11.25, 1.0, "HD1.level")], {})
        ticket = kept.writer.commit(
            {"next_event": 42}, [event], [(text(7, 12.5), ("mail", "modem"))], [flag], version
        )
        assert ticket.wait(PATIENCE)
        with Reader(path) as reader:
            assert {"next_event": 42} == reader.durable()
            assert [event] == reader.journal()
            assert [version] == reader.setups()
            assert [replace(flag, boot=1)] == reader.flags("HD1.level")
            rows = reader.outbox(only_open=True)
    assert [(text(7, 12.5), "mail", 12.5), (text(7, 12.5), "modem", 12.5)] == [
        (entry.text, entry.channel, entry.next_try) for entry in rows
    ]
    assert [("waiting", 0)] * 2 == [(entry.state, entry.attempts) for entry in rows]


def test_the_newest_durable_state_is_the_one(path: Path) -> None:
    """Of many states in a row the last one is found again."""
    with keeping(path) as kept:
        for number in range(20):
            kept.writer.commit({"number": number})
    with Reader(path) as reader:
        assert {"number": 19} == reader.durable()


@pytest.mark.parametrize(
    ("outcome", "next_try", "state", "attempts", "then"),
    [
        ("accepted", None, "accepted", 1, None),
        ("refused", None, "refused", 1, None),
        ("unknown", 90.0, "unknown", 1, 90.0),
        ("unknown", None, "unknown", 1, None),
        ("retry", 90.0, "waiting", 1, 90.0),
        ("retry", None, "waiting", 1, 60.0),
        ("given up", None, "given up", 0, None),
        ("expired", None, "expired", 0, None),
    ],
)
def test_the_outbox_follows_the_delivery(
    path: Path, outcome: str, next_try: float | None, state: str, attempts: int, then: float | None
) -> None:
    """Each outcome leaves its state; a row is open while it has a next try."""
    with keeping(path) as kept:
        kept.writer.commit(texts=[(text(1), ("mail", "modem"))])
        ticket = kept.writer.delivery(1, "mail", outcome, "550 no", at(60.0), next_try)
        assert ticket.wait(PATIENCE)
    with Reader(path) as reader:
        mail, modem = reader.outbox()
        waiting = [entry.channel for entry in reader.outbox(only_open=True)]
    assert (state, attempts, then) == (mail.state, mail.attempts, mail.next_try)
    assert ("550 no", at(60.0)) == (mail.detail, mail.moment)
    assert ("waiting", 0, 0.0) == (modem.state, modem.attempts, modem.next_try)
    assert (["mail", "modem"] if then is not None else ["modem"]) == waiting


@pytest.mark.parametrize(
    ("number", "channel", "outcome"), [(1, "mail", "lost"), (2, "mail", "accepted")]
)
def test_a_report_on_nothing_is_refused(
    path: Path, number: int, channel: str, outcome: str
) -> None:
    """An unknown outcome, or a text that was never stored, fails its ticket and is told."""
    with keeping(path) as kept:
        kept.writer.commit(texts=[(text(1), ("mail",))])
        ticket = kept.writer.delivery(number, channel, outcome, "", at(60.0))
        assert not ticket.wait(PATIENCE)
        assert ticket.error.startswith("ValueError: no ")
        assert kept.writer.commit({"after": 1}).wait(PATIENCE)
    assert [(ticket.error, False), KEPT_AGAIN] == kept.told.news


def test_a_number_used_twice_takes_nothing_else_down(path: Path) -> None:
    """A second set-up of one version is refused and told; what comes with it is kept."""
    first = SetupVersion(1, at(1.0), "oskel", "begin", {"rig.toml": "a"})
    second = replace(first, files={"rig.toml": "b"})
    with keeping(path) as kept:
        assert kept.writer.commit(setup=first).wait(PATIENCE)
        wrong = kept.writer.commit(setup=second)
        right = kept.writer.commit({"number": 2})
        assert not wrong.wait(PATIENCE)
        assert right.wait(PATIENCE)
    with Reader(path) as reader:
        assert [first] == reader.setups()
        assert {"number": 2} == reader.durable()


def test_hostile_text_is_kept(path: Path) -> None:
    """Half characters, NULs, quotes and long words harm nothing; half characters are escaped."""
    shown = HOSTILE.replace("\ud800", "\\ud800")
    hostile = replace(row(1.0, subject=HOSTILE), evidence=((HOSTILE, HOSTILE),), text=HOSTILE)
    with keeping(path) as kept:
        kept.writer.readings([Reading(HOSTILE, at(1.0), 1.0, HOSTILE)], {HOSTILE: 2}, HOSTILE)
        ticket = kept.writer.commit({"note": HOSTILE}, [hostile], [(text(1), (shown,))])
        assert ticket.wait(PATIENCE)
    with Reader(path) as reader:
        expected = replace(hostile, subject=shown, text=shown)
        assert [expected] == reader.journal()
        assert {"note": HOSTILE} == reader.durable()
        assert [HOSTILE] == [found.problem for found in reader.readings(shown)]
        assert [shown] == [entry.channel for entry in reader.outbox()]


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE journal SET who = 'nobody'", "the journal is only added to"),
        ("DELETE FROM journal", "the journal is only added to"),
        (
            "INSERT OR REPLACE INTO journal"
            " SELECT id, boot, elapsed, what, '42', state, grade, cause, who, evidence, text, 0"
            " FROM journal",
            "the journal is only added to",
        ),
        ("UPDATE flags SET flag = 1", "quality flags are only added to"),
        ("DELETE FROM flags", "quality flags are only added to"),
        ("UPDATE setups SET who = 'nobody'", "set-up versions are only added to"),
        ("DELETE FROM setups", "set-up versions are only added to"),
        ("UPDATE readings SET low = 0", "readings are never rewritten"),
    ],
)
def test_the_record_refuses_changes(path: Path, statement: str, told: str) -> None:
    """Journal, flags, set-ups and readings cannot be altered, whatever tool is used."""
    version = SetupVersion(1, at(1.0), "oskel", "begin", {})
    with keeping(path) as kept:
        kept.writer.readings([reading(1.0, 3.0)], {})
        kept.writer.commit(
            {}, [row(1.0, "alarm")], (), [Flag("LT1.flow", 1.0, 3, "spike")], version
        )
    connection = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match=told):
        connection.execute(statement)
    connection.close()


def test_an_alarm_takes_the_readings_along(path: Path) -> None:
    """A journal row of an alarm writes what is gathered in the same transaction; an answer not."""
    with keeping(path) as kept:
        kept.writer.readings([reading(1.0, 3.0)], {})
        assert kept.writer.commit(None, [row(1.0, "answer")]).wait(PATIENCE)
        with Reader(path) as reader:
            assert [] == reader.readings("LT1.flow")
        done = kept.writer.transactions
        assert kept.writer.commit(None, [row(2.0, "alarm")]).wait(PATIENCE)
        assert done + 1 == kept.writer.transactions
        with Reader(path) as reader:
            assert [reading(1.0, 3.0)] == reader.readings("LT1.flow")


def test_flags_wait_with_the_readings(path: Path) -> None:
    """Flags handed in alone are written with the next transaction, and once only."""
    flag = Flag("LT1.flow", 1.0, 3, "spike")
    with keeping(path) as kept:
        kept.writer.readings([reading(1.0, 3.0)], {})
        kept.writer.flags([flag, flag])
        kept.writer.flush()
    with Reader(path) as reader:
        assert [replace(flag, boot=1)] == reader.flags("LT1.flow")


def commit_frames(log: Path) -> int:
    """Transactions in a write-ahead log. SQLite file format, section 4: a frame that ends one holds
    the size of the database, and a frame of this log, not of an older one, the log's salt."""
    data = log.read_bytes()
    page, salt = int.from_bytes(data[8:12], "big"), data[16:24]
    heads = [data[start : start + 16] for start in range(32, len(data), page + 24)]
    return sum(head[8:] == salt and any(head[4:8]) for head in heads)


@pytest.mark.long
def test_an_hour_takes_few_transactions(path: Path) -> None:
    """Twenty tags at 1 Hz for an hour are 12 intervals: no more transactions than that, in sync."""
    tags = [f"T{i}" for i in range(20)]
    with keeping(path) as kept:
        kept.writer.commit({})
        assert kept.writer.flush().wait(PATIENCE)
        log = path.with_name(path.name + "-wal")
        before, counted = commit_frames(log), kept.writer.transactions
        for second in range(3600):
            kept.writer.readings([reading(float(second), 1.0, tag) for tag in tags], {})
        assert kept.writer.flush().wait(PATIENCE)
        assert 12 >= kept.writer.transactions - counted
        assert kept.writer.transactions - counted == commit_frames(log) - before


def test_what_lasts_is_synced(path: Path) -> None:
    """The writing connection uses the write-ahead log with synchronous=FULL (2)."""
    connection, _ = open_for_writing(path, BEGIN)
    pragmas = ("journal_mode", "synchronous")
    modes = [connection.execute(f"PRAGMA {name}").fetchone()[0] for name in pragmas]
    connection.close()
    assert ["wal", 2] == modes


def test_restarts_go_on_from_the_last_moment(path: Path) -> None:
    """A restart within a boot has its number and base; a new boot the next number."""
    with keeping(path, "first", -3.0) as kept:
        assert (None, 1) == (kept.opening.earlier, kept.boot)
        kept.writer.readings([reading(7.0, 1.0), reading(8.0, 1.0)], {})
        kept.writer.commit(None, [row(5.0)])
    with keeping(path, "first", -3.0) as kept:
        earlier = kept.opening.earlier
        assert earlier is not None
        assert ("first", -3.0, at(8.0)) == (earlier.boot_id, earlier.base, earlier.last)
        assert 1 == kept.boot
    with keeping(path, "second", 2.0) as kept:
        assert 2 == kept.boot
    with Reader(path) as reader:
        assert [(1, "first", -3.0), (2, "second", 2.0)] == [
            (boot.number, boot.boot_id, boot.base) for boot in reader.boots()
        ]


@pytest.mark.parametrize("latest", ["reading", "journal", "delivery"])
def test_the_last_moment_is_the_latest_of_all(path: Path, latest: str) -> None:
    """Watch time goes on from the latest of readings, journal and deliveries."""
    moments = {"reading": 5.0, "journal": 6.0, "delivery": 7.0, latest: 90.0}
    with keeping(path) as kept:
        kept.writer.readings([reading(1.0, 1.0), reading(moments["reading"], 1.0)], {})
        kept.writer.commit(None, [row(moments["journal"])], [(text(1), ("mail",))])
        kept.writer.delivery(1, "mail", "accepted", "", at(moments["delivery"]))
    with keeping(path) as kept:
        earlier = kept.opening.earlier
    assert earlier is not None
    assert at(90.0) == earlier.last


def test_retiming_rewrites_no_row(path: Path) -> None:
    """When the clock becomes trusted, earlier readings get their true UTC and stay as stored."""
    late = BEGIN - 9000.0
    with keeping(path) as kept:
        for second in range(0, 7200, 60):
            moment = at(float(second), ahead=late, trusted=False)
            kept.writer.readings([Reading("HD1.level", moment, second / 10)], {})
        assert kept.writer.flush().wait(PATIENCE)
        raw = tables(path, "SELECT * FROM readings")
        with Reader(path) as reader:
            assert at(60.0, ahead=late, trusted=False) == reader.readings("HD1.level")[1].moment
        kept.writer.readings([Reading("HD1.level", at(7200.0), 720.0)], {})
        assert kept.writer.flush().wait(PATIENCE)
        with Reader(path) as reader:
            assert at(60.0) == reader.readings("HD1.level")[1].moment
            by_utc = reader.readings("HD1.level", BEGIN + 60.0, BEGIN + 180.0, by="utc")
            assert [6.0, 12.0] == [found.value for found in by_utc]
            assert [] == reader.readings("HD1.level", late, late + 7200.0, by="utc")
            (hour, *_) = reader.hours("HD1.level")
            minute = reader.rollup("HD1.level", BEGIN + 60.0, BEGIN + 120.0, 60.0, by="utc")
        assert at(0.0) == hour.moment
        assert [(at(60.0).utc, 1, 6.0)] == [(m.moment.utc, m.n, m.mean) for m in minute]
    assert raw == tables(path, "SELECT * FROM readings")[: len(raw)]


def test_a_reader_sees_what_is_committed(path: Path) -> None:
    """A reader beside the running writer sees each commit once its ticket says so."""
    with keeping(path) as kept:
        assert kept.writer.commit({"number": 0}).wait(PATIENCE)
        with Reader(path) as reader:
            for number in range(1, 20):
                assert kept.writer.commit({"number": number}, [row(float(number))]).wait(PATIENCE)
                assert {"number": number} == reader.durable()
                assert number == len(reader.journal())


def test_the_journal_is_found_by_event_and_span(path: Path) -> None:
    """Rows of one event, or of a span of watch time or of UTC, in the order they were written."""
    rows = [row(1.0), row(2.0, "alarm", "supply lost"), row(3.0, subject="42"), row(4.0)]
    rows = [replace(item, event=number) for item, number in zip(rows, (41, 0, 42, 41), strict=True)]
    with keeping(path) as kept:
        kept.writer.commit(None, rows)
    with Reader(path) as reader:
        assert rows == reader.journal()
        assert [rows[0], rows[3]] == reader.journal(event=41)
        assert rows[1:3] == reader.journal(2.0, 4.0)
        assert rows[1:3] == reader.journal(BEGIN + 2.0, BEGIN + 4.0, by="utc")
        assert [rows[0]] == reader.journal(0.0, 3.5, event=41)


def test_a_plain_view_shows_names_and_values(path: Path) -> None:
    """Any SQLite tool can read tag, span and mean without knowing the encoding."""
    with keeping(path) as kept:
        kept.writer.readings([reading(float(i), 5.5 + i / 10) for i in range(3)], {}, "2026-1")
    (found,) = tables(
        path, "SELECT rig, run, tag, start, span, n, low, mean, high FROM readings_plain"
    )
    assert ("ostrel-hill", "2026-1", "LT1.flow", 0.0, 2.0, 3, 5.5) == found[:7]
    assert [5.6, 5.7] == pytest.approx(found[7:])


# Older archives, and notes


def test_an_older_archive_is_brought_up_to_date(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Journal rows of a file of the first version get their event; its readings stay."""
    steps = opening._steps()
    with monkeypatch.context() as older:
        older.setattr(opening, "_steps", lambda: steps[:1])
        older.setattr(opening, "CHECKED", opening.CHECKED[:-1])
        connection, _ = open_for_writing(path, BEGIN)
        connection.executemany(
            "INSERT INTO journal VALUES (?, 1, ?, ?, ?, 'open', '', '', '', '[]', '')",
            [(1, 1.0, "event", "41"), (2, 2.0, "answer", "hold S1"), (3, 3.0, "text", "7")],
        )
        connection.execute("INSERT INTO offsets VALUES (1, 1, 0.0, ?, 1)", (BEGIN,))
        connection.close()
    with pytest.raises(ArchiveError, match="older than this program; start the watch once"):
        Reader(path)
    open_for_writing(path, BEGIN)[0].close()
    with Reader(path) as reader:
        assert [41, 0, 0] == [row.event for row in reader.journal(by="utc")]
        assert [] == reader.notes()
    with pytest.raises(sqlite3.IntegrityError, match="only added to"):
        tables(path, "UPDATE journal SET event = 0")


def test_journal_rows_of_a_span_are_found_without_reading_them_all(path: Path) -> None:
    """A span of UTC is looked up by boot and time, also with a thousand days of rows."""
    with keeping(path) as kept:
        rows = [replace(row(float(i)), event=i % 7) for i in range(20)]
        assert kept.writer.commit(journal=rows).wait(PATIENCE)
        with Reader(path) as reader:
            assert rows[5:8] == reader.journal(BEGIN + 5.0, BEGIN + 8.0, by="utc")
    span = {"boot": 1, "first": 5000, "last": 8000}
    with closing(sqlite3.connect(path)) as db:
        plan = db.execute(f"EXPLAIN QUERY PLAN {JOURNAL}", span).fetchall()
    assert "journal_by_time (boot=? AND elapsed>? AND elapsed<?)" in str(plan)


def test_a_note_is_kept_as_it_was_written(path: Path) -> None:
    """A note and its amendment both stand, by the time they tell of; none can be changed."""
    first = Note(1, at(9.0), BEGIN - 60.0, "OH-07", "dead found", "tavrin", "command", {"n": "~25"})
    second = replace(
        first, number=2, said={"n": "31"}, amends=1, reason="counted", origin="a.csv:3"
    )
    with keeping(path) as kept:
        assert kept.writer.notes([second, first]).wait(PATIENCE)
        with Reader(path) as reader:
            assert [first, second] == reader.notes("OH-07")
            assert [] == reader.notes("OH-08")
            assert 2 == reader.last_note()
        again = kept.writer.notes([replace(first, number=3), first])
        assert not again.wait(PATIENCE)
        with Reader(path) as reader:
            assert 2 == reader.last_note()
    for change in ("UPDATE notes SET said = ''", "DELETE FROM notes"):
        with pytest.raises(sqlite3.IntegrityError, match="notes are only added to"):
            tables(path, change)


@pytest.mark.long
def test_a_view_of_a_long_span_is_made_of_hours(path: Path) -> None:
    """Forty days in 30 points: each covers 32 hours, with its lowest, mean and highest."""
    days = 40
    with keeping(path) as kept:
        kept.writer.readings([reading(600.0 * i, float(i // 144)) for i in range(144 * days)], {})
    with Reader(path) as reader:
        points = reader.view("LT1.flow", BEGIN, BEGIN + 86_400.0 * days, 30)
        short = reader.view("LT1.flow", BEGIN, BEGIN + 36_000.0, 30)
        shorter = reader.view("LT1.flow", BEGIN, BEGIN + 18_000.0, 90)
    assert 30 == len(points)
    assert (0.0, 1.0, 192) == (points[0].low, points[0].high, points[0].n)
    assert 0.25 == points[0].mean
    assert 115_200.0 == points[0].width == points[1].moment.utc - points[0].moment.utc
    assert (30, 1200.0) == (len(short), short[0].width)
    assert 60 == sum(point.n for point in short)
    assert (30, 200.0) == (len(shorter), shorter[0].width)
