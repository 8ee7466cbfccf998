"""Recordings: what is read, what becomes a failed reading, and what is refused in which words."""

from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.errors import RecordingError
from monitor.inputs import Answer, Moment, Reading
from monitor.recording import LONGEST_LINE, Row, read_answers, read_rows, read_utc
from monitor.rig import Rig, Tag
from monitor.units import unit_of

MIDNIGHT = 1_792_299_600.0
"""2026-10-18T00:00:00-05:00 in UTC seconds."""

FULL_WIDTH_ONE = "\N{FULLWIDTH DIGIT ONE}"

Write = Callable[[str | bytes], Path]


@pytest.fixture
def rig() -> Rig:
    """A rig with two tags."""
    tags = (
        Tag("LT1.flow", "flow", "siphon", unit_of("flow"), "bus"),
        Tag("T1", "temperature", "LT1", unit_of("temperature"), "bus"),
    )
    return Rig("board", "rig", "Ostrel", "America/Chicago", tags=tags)


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Makes a file of this text or these bytes."""

    def make(content: str | bytes) -> Path:
        path = tmp_path / "night.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return make


def values(rows: list[Row]) -> list[tuple[float, str, float | None, str]]:
    """The readings of some rows as short tuples."""
    return [
        (reading.moment.elapsed, reading.tag, reading.value, reading.problem)
        for row in rows
        for reading in row.readings
    ]


def test_rows_become_readings(write: Write, rig: Rig) -> None:
    """Each filled cell is a reading of its tag in the unit of the tag; an empty one is none."""
    path = write(
        "time,T1,LT1.flow\n2026-10-18T00:00:00-05:00,26.5,6.0\n2026-10-18T00:00:05-05:00,,5.9\n"
    )
    first = Moment(1, 100.0, MIDNIGHT)

    assert [
        Row(2, first, [Reading("T1", first, 26.5), Reading("LT1.flow", first, 6.0)]),
        Row(
            3,
            Moment(1, 105.0, MIDNIGHT + 5.0),
            [Reading("LT1.flow", Moment(1, 105.0, MIDNIGHT + 5.0), 5.9)],
        ),
    ] == list(read_rows(path, rig, 100.0))


def test_semicolons_and_decimal_commas(write: Write, rig: Rig) -> None:
    """With semicolons between the cells a decimal comma is read as a decimal point."""
    path = write("T1;time\n26,5;2026-10-18T05:00:00Z\n26.25;2026-10-18T05:00:01Z\n")

    assert [(0.0, "T1", 26.5, ""), (1.0, "T1", 26.25, "")] == values(list(read_rows(path, rig, 0)))


@pytest.mark.parametrize(
    "cell",
    ["NULL", "nan", "inf", "1e999", "1_000", "0x10", "two", "-", "1.2.3", "1\0", FULL_WIDTH_ONE],
)
def test_cell_that_is_no_number_is_a_failed_reading(cell: str, write: Write, rig: Rig) -> None:
    """What is not plainly a number is never taken for one."""
    path = write(f"time,T1\n2026-10-18T05:00:00Z,{cell}\n")

    assert [(0.0, "T1", None, "not a number")] == values(list(read_rows(path, rig, 0.0)))


@pytest.mark.parametrize("cell", ["1,5", "1.234,5", "1,234.5", "1,234,567"])
def test_thousands_are_not_guessed(cell: str, write: Write, rig: Rig) -> None:
    """Of commas only a single one with semicolons between the cells is a decimal comma."""
    path = write(f"time;T1\n2026-10-18T05:00:00Z;{cell}\n")
    expected = (0.0, "T1", 1.5, "") if cell == "1,5" else (0.0, "T1", None, "not a number")

    assert [expected] == values(list(read_rows(path, rig, 0.0)))


def test_byte_order_mark_and_line_ends(write: Write, rig: Rig) -> None:
    """A byte order mark, CR LF and a last line without an end are what spreadsheets write."""
    path = write("\ufefftime,T1\r\n2026-10-18T05:00:00Z,26.5\r\n\r\n2026-10-18T05:00:01Z,26.6")

    assert [(0.0, "T1", 26.5, ""), (1.0, "T1", 26.6, "")] == values(list(read_rows(path, rig, 0)))


def test_damaged_byte_costs_one_cell(write: Write, rig: Rig) -> None:
    """A byte that is no UTF-8 spoils its cell and nothing else."""
    path = write(b"time,T1,LT1.flow\n2026-10-18T05:00:00Z,2\xff6,6\n2026-10-18T05:00:01Z,26,6\n")

    assert [
        (0.0, "T1", None, "not a number"),
        (0.0, "LT1.flow", 6.0, ""),
        (1.0, "T1", 26.0, ""),
        (1.0, "LT1.flow", 6.0, ""),
    ] == values(list(read_rows(path, rig, 0.0)))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "night.csv:1: the file is empty"),
        (b"\n\n", "night.csv:1: the file is empty"),
        (b"T1\n26\n", "night.csv:1: there is no column time"),
        (b"datetime;T1\n", "night.csv:1: there is no column time"),
        (b"time\n2026-10-18T05:00:00Z\n", "night.csv:1: there is no column beside time"),
        (b"time,T1,T1\n", "night.csv:1: named twice: T1"),
        (b"time,time,T1\n", "night.csv:1: named twice: time"),
        (b"time,T9,\n", r"unknown: T9, \(empty name\); .*LT1.flow, T1. Rename"),
        (b"time,T1\n2026-10-18T05:00:00Z\n", "night.csv:2: 1 cells, but the first line names 2"),
        (b"time,T1\n\n2026-10-18T05:00:00Z,1,2\n", "night.csv:3: 3 cells"),
        (b"time,T1\n2026-10-18 05:00:00,1\n", "night.csv:2: time: .* does not tell its offset"),
        (b"time,T1\n18.10.2026 05:00,1\n", "night.csv:2: time: .* is no ISO 8601 time"),
        (b"time,T1\n,1\n", "night.csv:2: time: '' is no ISO 8601 time"),
        (b"time,T1\n2026-10-18T05:00:0\0Z,1\n", "night.csv:2: time"),
        (b'time,T1\n2026-10-18T05:00:00Z,"1\n', "night.csv:3: no CSV"),
        (b'time,T1\n2026-10-18T05:00:00Z,"1"x\n', "night.csv:2: no CSV"),
        (b"time,T1\n" + b"x" * (LONGEST_LINE + 1), "night.csv:2: longer than 65536 characters"),
        ("time,T1\n".encode("utf-16"), "night.csv:1: not UTF-8 text"),
        (b"\0" * 4096, "night.csv:1: not UTF-8 text"),
        (
            b"time,T1\n2026-10-18T05:00:00Z,1\n2062-10-18T05:00:00Z,1\n",
            "night.csv:3: more than a year after",
        ),
    ],
)
def test_unreadable_recordings_name_file_line_and_remedy(
    content: bytes, words: str, write: Write, rig: Rig
) -> None:
    """What cannot be read is refused with file, line and what to do."""
    with pytest.raises(RecordingError, match=words):
        list(read_rows(write(content), rig, 0.0))


def test_rows_before_a_bad_one_are_read(write: Write, rig: Rig) -> None:
    """A bad line ends the reading there, not before."""
    path = write("time,T1\n2026-10-18T05:00:00Z,1\nyesterday,2\n")
    rows = read_rows(path, rig, 0.0)

    assert 2 == next(rows).line
    with pytest.raises(RecordingError, match=r"night\.csv:3"):
        next(rows)


def test_missing_file_is_named(tmp_path: Path, rig: Rig) -> None:
    """A file that is not there is named, without a traceback."""
    with pytest.raises(RecordingError, match=r"none\.csv: No such file"):
        list(read_rows(tmp_path / "none.csv", rig, 0.0))


def test_folder_is_no_recording(tmp_path: Path, rig: Rig) -> None:
    """A folder in place of a file is told as such."""
    with pytest.raises(RecordingError, match="Is a directory"):
        list(read_rows(tmp_path, rig, 0.0))


def test_repeated_time_is_no_step(write: Write, rig: Rig) -> None:
    """Two rows of one time are two rows of one moment."""
    row = "2026-10-18T05:00:00Z,1\n"
    rows = list(read_rows(write("time,T1\n" + row + row), rig, 0.0))

    assert [(0.0, 0.0), (0.0, 0.0)] == [(row.moment.elapsed, row.step) for row in rows]


def test_repeated_hour_is_a_step_of_the_wall(write: Write, rig: Rig) -> None:
    """When the clock of the logger goes back an hour, watch time goes on by the usual distance."""
    stamps = ["00:45", "00:50", "00:55", "00:00", "00:05"]
    rows = list(
        read_rows(
            write("time,T1\n" + "".join(f"2026-10-18T{at}:00-05:00,1\n" for at in stamps)), rig, 0.0
        )
    )

    assert [0.0, 300.0, 600.0, 900.0, 1200.0] == [row.moment.elapsed for row in rows]
    assert [0.0, 0.0, 0.0, -3600.0, 0.0] == [row.step for row in rows]
    assert MIDNIGHT + 300.0 == rows[-1].moment.utc


def test_summer_time_is_no_step(write: Write, rig: Rig) -> None:
    """With offsets written out, the hour that occurs twice is two hours."""
    path = write("time,T1\n2026-11-01T01:59:59-05:00,1\n2026-11-01T01:00:00-06:00,2\n")

    assert [(0.0, 0.0), (1.0, 0.0)] == [
        (row.moment.elapsed, row.step) for row in read_rows(path, rig, 0.0)
    ]


def test_first_distance_of_a_clock_that_goes_back_at_once(write: Write, rig: Rig) -> None:
    """Where no distance is known yet, a second is taken."""
    path = write("time,T1\n2026-10-18T05:00:00Z,1\n2026-10-18T04:00:00Z,2\n")

    assert [(0.0, 0.0), (1.0, -3601.0)] == [
        (row.moment.elapsed, row.step) for row in read_rows(path, rig, 0.0)
    ]


@pytest.mark.parametrize("text", ["2026-10-18T00:00:00-05:00", "2026-10-18 05:00:00Z"])
def test_times_with_an_offset_are_read(text: str) -> None:
    """Any ISO 8601 time with its offset is read."""
    assert MIDNIGHT == read_utc(text)


@pytest.mark.parametrize("text", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_times_at_the_end_of_the_calendar_are_no_crash(text: str) -> None:
    """A time that UTC cannot hold is told as such, or read; nothing else comes out."""
    try:
        utc = read_utc(text)
    except ValueError as error:
        assert "out of range" in str(error)
    else:
        assert abs(utc) > 1e10


def test_answers_are_read_in_order_of_time(write: Write) -> None:
    """Answers may stand in any order in their file."""
    path = write(
        '{"time": "2026-10-18T02:00:00-05:00", "kind": "here", "who": "oskel"}\n\n'
        '{"time": "2026-10-18T01:22:00-05:00", "kind": "take", "who": "tavrin", "event": 41,'
        ' "minutes": 30, "text": "on my way"}\n'
    )
    first, second = MIDNIGHT + 82 * 60.0, MIDNIGHT + 7200.0

    assert [
        (
            first,
            Answer(Moment(1, 0.0, first), "take", "tavrin", 41, 30.0, "on my way", "script"),
        ),
        (second, Answer(Moment(1, 0.0, second), "here", "oskel", way="script")),
    ] == read_answers(path)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("{", "night.csv:1: no JSON"),
        ("[" * 100_000, "longer than"),
        ("[" * 60_000, "no JSON"),
        ("[]", "no JSON object"),
        ('{"kind": "take", "who": "tavrin"}', "night.csv:1: time: must be given"),
        ('{"time": 5, "kind": "take", "who": "tavrin"}', "time: must be given as text"),
        ('{"time": "2026-10-18T01:00:00", "kind": "take", "who": "x"}', "night.csv:1: time: "),
        ('{"time": "2026-10-18T01:00Z", "kind": "go", "who": "x"}', "kind: 'go' is unknown"),
        ('{"time": "2026-10-18T01:00Z", "kind": "take"}', "who: must be given"),
        ('{"time": "", "kind": "take", "who": "x", "event": "41"}', "event: must be a whole"),
        ('{"time": "", "kind": "take", "who": "x", "event": true}', "event: must be a whole"),
        ('{"time": "", "kind": "take", "who": "x", "minutes": NaN}', "minutes: must be"),
        ('{"time": "", "kind": "take", "who": "x", "minutes": -1}', "minutes: must be"),
        ('{"time": "", "kind": "take", "who": "x", "text": 1}', "text: must be given"),
        ('{"time": "", "kind": "take", "whom": "x"}', "whom: unknown key"),
    ],
)
def test_unreadable_answers_name_line_and_key(line: str, words: str, write: Write) -> None:
    """A line of answers that cannot be taken is refused with its number, key and remedy."""
    with pytest.raises(RecordingError, match=words):
        read_answers(write(line + "\n"))
