"""Readings go into a row and come out as they were."""

import math
import random
import struct
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.archive.packing import LARGEST_BLOB, Packed, Scale, pack, unpack
from monitor.errors import ArchiveError

FINITE = st.floats(allow_nan=False, allow_infinity=False)
ON_A_SCALE = st.tuples(
    st.integers(-5000, 5000), st.sampled_from((1.0, 7.5, 16.0, 37.5, 100.0))
).map(lambda pair: pair[0] / pair[1])
VALUES = st.none() | FINITE | ON_A_SCALE
PROBLEMS = st.sampled_from(("", "", "", "no answer", "power-on value", "\ud800 \x00 \"'"))
ROWS = st.lists(st.tuples(st.integers(-(2**50), 2**50), VALUES, PROBLEMS), min_size=1)
EVEN = [1000 * i for i in range(300)]
FINE = [""] * 300


def bits(value: float | None) -> bytes | None:
    """A value as bits, so that -0.0 differs from 0.0."""
    return None if value is None else struct.pack("<d", value)


def there_and_back(
    times: Sequence[int], values: Sequence[float | None], problems: Sequence[str]
) -> tuple[list[int], list[bytes | None], list[str]]:
    """All of it, unpacked from the rows it was packed into."""
    back: tuple[list[int], list[bytes | None], list[str]] = ([], [], [])
    for row in pack(times, values, problems):
        row_times, row_values, row_problems = unpack(row)
        back[0].extend(row_times)
        back[1].extend(map(bits, row_values))
        back[2].extend(row_problems.get(i, "") for i in range(row.n))
    return back


@given(ROWS)
def test_readings_come_back_bit_for_bit(rows: list[tuple[int, float | None, str]]) -> None:
    """Any times, values and problem words come back exactly and in order of delivery."""
    times, values, problems = map(list, zip(*rows, strict=True))
    expected = (times, list(map(bits, values)), problems)
    assert expected == there_and_back(times, values, problems)


@given(st.lists(st.tuples(st.integers(0, 5000), ON_A_SCALE), min_size=1, max_size=400))
def test_repeated_and_uneven_times_come_back(steps: list[tuple[int, float]]) -> None:
    """Readings a few milliseconds apart, at once, or after a gap keep their times."""
    times = [sum(step for step, _ in steps[: i + 1]) for i in range(len(steps))]
    values = [value for _, value in steps]
    assert (times, list(map(bits, values)), [""] * len(steps)) == there_and_back(
        times, values, [""] * len(steps)
    )


@pytest.mark.parametrize(
    ("values", "scale"),
    [
        ([24.3, 24.4, 23.9], Scale(1.0, 10.0)),
        ([31.05, 31.35], Scale(1.0, 20.0)),
        ([24.0625, 24.125], Scale(1.0, 16.0)),
        ([71 / 7.5, 73 / 7.5, 72 / 7.5], Scale(1.0, 7.5)),
        ([220 * 0.027, 223 * 0.027, 222 * 0.027], Scale(0.027, 1.0)),
        ([1.0, 0.0, 1.0], Scale(1.0, 1.0)),
        ([-0.0, 1.0], None),
        ([math.pi, math.e], None),
        ([1e300, 1.0], None),
        ([5e-324], None),
    ],
)
def test_a_scale_is_found_where_it_is_exact(values: list[float], scale: Scale | None) -> None:
    """Quantised values become whole numbers of their quantum, others stay floating-point."""
    (row,) = pack(EVEN[: len(values)], values, FINE[: len(values)])
    assert scale == row.scale
    assert list(map(bits, values)) == list(map(bits, unpack(row)[1]))


@given(ROWS)
def test_no_row_is_too_large_and_none_is_lost(rows: list[tuple[int, float | None, str]]) -> None:
    """Rows are split until their blobs fit a page, whatever is in them."""
    times, values, problems = map(list, zip(*rows, strict=True))
    packed = pack(times, values, problems)
    assert len(rows) == sum(row.n for row in packed)
    sizes = [len(row.numbers or b"") + len(row.times or b"") for row in packed if row.n > 1]
    assert [] == [size for size in sizes if size > LARGEST_BLOB]


def test_a_noisy_floating_point_tag_is_split() -> None:
    """Three hundred doubles without a scale take more than one row."""
    chance = random.Random(3)
    rows = pack(EVEN, [chance.gauss(24.0, 0.1) for _ in EVEN], FINE)
    assert 1 < len(rows)


@pytest.mark.parametrize(
    ("values", "most"),
    [
        ([1.0] * 300, 0),
        ([float(i) for i in range(300)], 20),
        ([round(random.Random(i).gauss(310, 0.8), 1) for i in range(300)], 240),
    ],
    ids=["constant", "ramp", "level with 0.8 mm noise in steps of 0.1 mm"],
)
def test_a_usual_row_is_small(values: list[float], most: int) -> None:
    """A constant costs nothing, a ramp next to nothing, a noisy level 0.8 bytes a reading."""
    (row,) = pack(EVEN, values, FINE)
    assert None is row.times
    assert most >= len(row.numbers or b"")


@given(ROWS)
def test_sums_cover_what_counts(rows: list[tuple[int, float | None, str]]) -> None:
    """Lowest and highest are exact; a reading without a value or with a problem is left out."""
    times, values, problems = map(list, zip(*rows, strict=True))
    for row in pack(times, values, problems):
        _, row_values, row_problems = unpack(row)
        counted = [v for i, v in enumerate(row_values) if v is not None and i not in row_problems]
        assert row.n - row.left_out == len(counted)
        sums = row.sums()
        if sums is None:
            assert [] == counted
        else:
            assert (len(counted), min(counted), max(counted)) == (sums.n, sums.low, sums.high)


@given(st.lists(ON_A_SCALE, min_size=1))
def test_a_sum_is_that_of_the_readings(values: list[float]) -> None:
    """The sum kept in a row is the sum of its readings."""
    (row,) = pack(list(range(len(values))), values, [""] * len(values))
    sums = row.sums()
    assert sums is not None
    assert math.isclose(math.fsum(values), sums.total, rel_tol=1e-12, abs_tol=1e-12)


@pytest.mark.parametrize("blob", [b"", b"\x00", b"not deflate", b"\x03\x00"])
def test_a_damaged_row_is_an_error(blob: bytes) -> None:
    """A blob that does not hold what the row says is told, not guessed at."""
    (good,) = pack([0, 7, 9, 30], [1.5, 2.5, 0.5, 9.5], [""] * 4)
    for damaged in ({"numbers": blob}, {"times": blob}, {"problems": "[[0"}, {"scale": None}):
        fields = {name: getattr(good, name) for name in Packed.__slots__}
        with pytest.raises(ArchiveError, match="row of readings cannot be read"):
            unpack(Packed(**(fields | damaged)))
