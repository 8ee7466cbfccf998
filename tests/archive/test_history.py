"""Sums over minutes, hours and any other width agree with the readings they are made of."""

import math
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.keeping import PATIENCE, at, keeping, tables
from monitor.archive import Reader, Rollup
from monitor.inputs import Moment, Reading

TAG = "HD1.level"
HOUR = 3600.0
UNEVEN = 1_789_999_877.25
"""Offset of a wall clock whose minutes do not begin with those of watch time."""

Sums = dict[tuple[int, float], list[float]]


def one(moment: Moment, value: float | None, problem: str = "") -> Reading:
    """A reading of the one tag that these tests use."""
    return Reading(TAG, moment, value, problem)


def by_hand(readings: Sequence[Reading], width: float, in_utc: bool) -> Sums:
    """Values that count by cell; a cell of UTC may hold readings of several boots."""
    cells: Sums = defaultdict(list)
    for reading in readings:
        if reading.value is not None and not reading.problem:
            moment = reading.moment
            time = moment.utc if in_utc else moment.elapsed
            start = math.floor(round(time * 1000.0) / round(width * 1000.0)) * width
            cells[0 if in_utc else moment.boot, start].append(reading.value)
    return cells


def agree(expected: Sums, found: Sequence[Rollup], in_utc: bool) -> None:
    """Each cell is there once, in order, with the sums of its readings."""
    keys = [
        (0, roll.moment.utc) if in_utc else (roll.moment.boot, roll.moment.elapsed)
        for roll in found
    ]
    assert sorted(expected) == keys
    for key, roll in zip(keys, found, strict=True):
        values = expected[key]
        assert (len(values), min(values), max(values)) == (roll.n, roll.low, roll.high)
        assert math.isclose(math.fsum(values), roll.total, rel_tol=1e-9, abs_tol=1e-9)


STEPS = st.lists(
    st.tuples(
        st.sampled_from((0, 500, 1000, 1000, 59_000, 240_000, 2_900_000)),
        st.integers(0, 4000).map(lambda tenths: tenths / 10),
        st.sampled_from(("", "", "", "missing", "odd word")),
        st.sampled_from(("go on", "go on", "go on", "go on", "flush", "new boot", "step")),
    ),
    max_size=40,
)


@settings(max_examples=25)
@given(
    STEPS,
    st.sampled_from((1.0, 60.0, 300.0, 450.0, HOUR)),
    st.sampled_from(("elapsed", "utc")),
    st.integers(0, 9000),
    st.integers(0, 20_000),
)
def test_sums_agree_with_the_readings(
    tmp_path_factory: pytest.TempPathFactory,
    steps: list[tuple[int, float, str, str]],
    width: float,
    by: str,
    start: int,
    length: int,
) -> None:
    """For any cells and any span, over boots and steps of the clock, sums are those by hand."""
    path = tmp_path_factory.mktemp("sums") / "record.db"
    now_ms, boot, ahead = 0, 1, UNEVEN
    with keeping(path) as kept:
        for step_ms, value, problem, deed in steps:
            now_ms += step_ms
            boot += deed == "new boot"
            ahead += 777.125 * (deed == "step")
            moment = at(now_ms / 1000.0, boot, ahead)
            missing = problem == "missing"
            new = one(moment, None if missing else value, "" if missing else problem)
            kept.writer.readings([new], {})
            if deed == "flush":
                kept.writer.flush()
    in_utc = by == "utc"
    begin = start + (UNEVEN if in_utc else 0.0)
    with Reader(path) as reader:
        readings = (
            reader.readings(TAG, begin, begin + length, by="utc")
            if in_utc
            else reader.readings(TAG, begin, begin + length)
        )
        found = reader.rollup(TAG, begin, begin + length, width, "utc" if in_utc else "elapsed")
        agree(by_hand(readings, width, in_utc), found, in_utc)
        agree(by_hand(reader.readings(TAG), HOUR, False), reader.hours(TAG), False)


def test_a_span_may_cut_a_row(tmp_path: Path) -> None:
    """A span inside one row and one cell gives the sums of the span, not of the row."""
    path = tmp_path / "record.db"
    with keeping(path) as kept:
        kept.writer.readings([one(at(float(i)), float(i)) for i in range(200)], {})
    with Reader(path) as reader:
        (found,) = reader.rollup(TAG, 20.0, 23.0, HOUR)
    assert (3, 20.0, 63.0, 22.0, 21.0) == (found.n, found.low, found.total, found.high, found.mean)


def test_hours_made_before_stay_right(tmp_path: Path) -> None:
    """Hours summed into their table, hours not yet summed, late rows and several boots agree."""
    path = tmp_path / "record.db"
    with keeping(path) as kept:
        for minute in range(15 * 60):
            boot = 1 if minute < 8 * 60 else 2
            kept.writer.readings([one(at(60.0 * minute, boot), minute % 97 / 10)], {})
        assert kept.writer.flush().wait(PATIENCE)
        kept.writer.readings([one(at(60.0 * 50 + 7, 2), 999.0)], {})
        kept.writer.readings([one(at(60.0 * 50 + 7), 999.0)], {})
        assert kept.writer.flush().wait(PATIENCE)
        with Reader(path) as reader:
            found = reader.hours(TAG)
            expected = by_hand(reader.readings(TAG), HOUR, False)
            part = reader.hours(TAG, 2.5 * HOUR, 4.0 * HOUR)
    made = tables(path, "SELECT boot, until_ms FROM hours_made ORDER BY boot")
    assert [(1, 21_600_000), (2, 43_200_000)] == made
    agree(expected, found, False)
    assert [2 * HOUR, 3 * HOUR] == [roll.moment.elapsed for roll in part]


def test_an_hour_with_nothing_that_counts_is_left_out(tmp_path: Path) -> None:
    """Where every reading is missing there is no sum, and no division by nothing."""
    path = tmp_path / "record.db"
    with keeping(path) as kept:
        kept.writer.readings([one(at(float(i)), None, "no answer") for i in range(9)], {})
    with Reader(path) as reader:
        assert [] == reader.hours(TAG)
        assert [] == reader.rollup(TAG, 0.0, 100.0, 60.0)
        assert 9 == len(reader.readings(TAG))
        assert [] == reader.readings("no such tag")
