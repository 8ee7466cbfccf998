"""The page docs/reference/archive.md says enough to read the archive without this program."""

import json
import sqlite3
import struct
import zlib
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.keeping import at, keeping, tables
from monitor.inputs import Reading

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "archive.md"
TAG = "LT1.temp"


def numbers(blob: bytes, count: int) -> list[int]:
    """Signed little-endian numbers, as wide as the unpacked length says."""
    raw = zlib.decompress(blob, -15)
    width = len(raw) // count
    return [
        int.from_bytes(raw[i * width : (i + 1) * width], "little", signed=True)
        for i in range(count)
    ]


def values_by_the_page(row: dict[str, Any], count: int) -> list[float]:
    """The values of a row, as the page tells it."""
    if row["up"] is None:
        raw = zlib.decompress(row["numbers"], -15) if count else b""
        return [struct.unpack("<d", raw[i::count])[0] for i in range(count)]
    if row["numbers"] is None:
        whole = [row["base"]] * count
    elif row["form"] == 0:
        whole = [row["base"] + number for number in numbers(row["numbers"], count)]
    else:
        whole = [row["base"]]
        for step in numbers(row["numbers"], count - 1):
            whole.append(whole[-1] + step)
    return [number * row["up"] / row["down"] for number in whole]


def times_by_the_page(row: dict[str, Any]) -> list[int]:
    """The times of a row in ms, as the page tells it."""
    n = row["n"]
    even = [row["start_ms"] + (i * row["span_ms"] // (n - 1) if n > 1 else 0) for i in range(n)]
    if row["times"] is None:
        return even
    off = numbers(row["times"][1:], n)
    if row["times"][0] == 1:
        off = [sum(off[: i + 1]) for i in range(n)]
    return [time + by for time, by in zip(even, off, strict=True)]


def readings_by_the_page(row: dict[str, Any]) -> list[tuple[int, bytes | None, str]]:
    """Time, value as bits and problem word of each reading of a row."""
    words, missing = [""] * row["n"], [False] * row["n"]
    for first, count, word, without in json.loads(row["problems"] or "[]"):
        for i in range(first, first + count):
            words[i], missing[i] = word, without
    values = iter(values_by_the_page(row, missing.count(False)))
    bits = [None if gone else struct.pack("<d", next(values)) for gone in missing]
    return list(zip(times_by_the_page(row), bits, words, strict=True))


def rows_of(path: Path) -> list[dict[str, Any]]:
    """All rows of readings in the order of their key, with their scales."""
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        query = "SELECT r.*, up, down FROM readings AS r LEFT JOIN scales ON id = scale"
        found = connection.execute(query + " ORDER BY boot, start_ms, tag, part")
        return [dict(row) for row in found]


@settings(max_examples=15)
@given(
    st.lists(
        st.tuples(
            st.sampled_from((0, 1, 1000, 1000, 1003, 2000, 90_000)),
            st.none()
            | st.floats(allow_nan=False, allow_infinity=False)
            | st.integers(-300, 300).map(lambda tenths: tenths / 10),
            st.sampled_from(("", "", "", "no answer")),
        ),
        min_size=1,
        max_size=50,
    )
)
def test_the_page_is_enough_to_read_the_readings(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[int, float | None, str]]
) -> None:
    """A reader written after the page alone finds every reading bit for bit."""
    path = tmp_path_factory.mktemp("page") / "record.db"
    now_ms, expected = 0, []
    with keeping(path) as kept:
        for step_ms, value, problem in steps:
            now_ms += step_ms
            kept.writer.readings([Reading(TAG, at(now_ms / 1000.0), value, problem)], {})
            bits = None if value is None else struct.pack("<d", value)
            expected.append((now_ms, bits, problem))
    assert expected == [entry for row in rows_of(path) for entry in readings_by_the_page(row)]


def test_the_example_of_the_page_is_true(tmp_path: Path) -> None:
    """The row that the page shows is the row that is stored."""
    path = tmp_path / "record.db"
    given_in = [(1.0, 24.3, ""), (2.0, 24.4, ""), (3.0, None, "no answer"), (4.0, 23.9, "")]
    with keeping(path) as kept:
        kept.writer.readings([Reading(TAG, at(t), value, word) for t, value, word in given_in], {})
    (row,) = rows_of(path)
    shown = " ".join(PAGE.read_text("utf-8").split())
    for name in ("form", "base", "start_ms", "span_ms", "n", "left_out", "low", "total", "high"):
        assert f"`{name}` {row[name]:.0f}" in shown
    assert f"deflate(`{zlib.decompress(row['numbers'], -15).hex(' ')}`)" in shown
    assert f"`problems` `{row['problems']}`" in shown
    assert (1.0, 10.0, None) == (row["up"], row["down"], row["times"])


def test_every_table_is_on_the_page(tmp_path: Path) -> None:
    """The page names each table of the archive, and no other."""
    path = tmp_path / "record.db"
    with keeping(path):
        pass
    found = {
        name for (name,) in tables(path, "SELECT name FROM sqlite_schema WHERE type = 'table'")
    }
    lines = PAGE.read_text("utf-8").split("## Tables")[1].split("## A row")[0].splitlines()
    named = {line.split("`")[1] for line in lines if line.startswith("| `")}
    assert found == named
