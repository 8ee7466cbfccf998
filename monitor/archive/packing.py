"""Readings of one tag to a compact row and back, exactly. Pure: no clock, no disk.

Times are whole milliseconds. Values come back bit for bit: a row is kept as whole numbers of a
scale only if every value in it is rebuilt from them exactly, else as floating-point numbers. A
missing value and a problem word keep their place.
"""

import json
import math
import zlib
from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby, pairwise
from typing import NamedTuple

from monitor.archive.squeezing import (
    deflate,
    from_little_endian,
    inflate,
    little_endian,
    narrow,
    widen,
    widened,
)
from monitor.errors import ArchiveError

LARGEST_BLOB = 800
"""Bytes of one row's blobs above which it is split in two: in a table without row ids SQLite puts
what goes beyond about 1,000 bytes of a row on a page of its own, 4 kB (file format, section 1.6).
"""

LARGEST_WHOLE = 2.0**52
"""Whole numbers stay below this, so that a double holds each one, and their half too."""

DIVISORS = (1.0, 2.0, 4.0, 5.0, 8.0, 10.0, 16.0, 20.0, 50.0, 100.0, 256.0, 1e3, 1e4, 1e5, 1e6)
"""Scales tried first, coarsest first: value = whole number / divisor. They cover decimal figures
as text delivers them and the binary steps of converters."""

BY_DIFFERENCE, BY_STEP = 0, 1

NEAREST = 20
NEAR = bytes(number % 256 for number in range(-NEAREST, NEAREST + 1))
"""Times that lie off by no more than so many ms, as bytes: looked for all at once."""


class Scale(NamedTuple):
    """Value = whole number * up / down."""

    up: float
    down: float


class Sums(NamedTuple):
    """Over the readings that have a value and no problem word."""

    n: int
    low: float
    total: float
    high: float


@dataclass(frozen=True, slots=True)
class Packed:
    """Readings of one tag as the table `readings` holds them; scale None means plain doubles."""

    start_ms: int
    span_ms: int
    n: int
    left_out: int
    low: float | None
    total: float | None
    high: float | None
    scale: Scale | None
    form: int
    base: int
    numbers: bytes | None
    times: bytes | None
    problems: str | None

    def sums(self) -> Sums | None:
        """Sums in the unit of the tag; None if no reading counts."""
        if self.low is None or self.total is None or self.high is None:
            return None
        up, down = self.scale or (1.0, 1.0)
        low, total, high = (number * up / down for number in (self.low, self.total, self.high))
        return Sums(self.n - self.left_out, low, total, high)


def pack(
    times_ms: Sequence[int], values: Sequence[float | None], problems: Sequence[str]
) -> list[Packed]:
    """One row, or several where one would be too large, of readings in order of delivery.

    Values are finite or None; "" is no problem.
    """
    row = _pack(times_ms, values, problems)
    size = len(row.numbers or b"") + len(row.times or b"")
    if size <= LARGEST_BLOB or row.n == 1:
        return [row]
    half = row.n // 2
    return pack(times_ms[:half], values[:half], problems[:half]) + pack(
        times_ms[half:], values[half:], problems[half:]
    )


def _pack(
    times_ms: Sequence[int], values: Sequence[float | None], problems: Sequence[str]
) -> Packed:
    present = array("d", (value for value in values if value is not None))
    scale, form, base, numbers = _pack_values(present)
    counted = [v for v, word in zip(values, problems, strict=True) if v is not None and not word]
    low, total, high = _sums(counted, scale)
    start, span = min(times_ms), max(times_ms) - min(times_ms)
    return Packed(
        start,
        span,
        len(times_ms),
        len(times_ms) - len(counted),
        low,
        total,
        high,
        scale,
        form,
        base,
        numbers,
        _pack_times(times_ms, start, span),
        _pack_problems(values, problems),
    )


def unpack(row: Packed) -> tuple[list[int], list[float | None], dict[int, str]]:
    """Times in ms, values, and problem words by position. ArchiveError if the row is damaged."""
    try:
        times = _unpack_times(row)
        missing, problems = _unpack_problems(row.problems)
        values = _unpack_values(row, row.n - len(missing))
    except (zlib.error, ValueError, TypeError, LookupError, ZeroDivisionError) as error:
        raise ArchiveError(f"a row of readings cannot be read: {error}") from error
    if not missing:
        return times, list(values), problems
    rest = iter(values)
    return times, [None if i in missing else next(rest) for i in range(row.n)], problems


def spacing(n: int, span_ms: int, times: bytes | None) -> tuple[float, float]:
    """Bounds of the time from one reading to the next, ms, without a list of times.

    n, span_ms, times: as in `Packed`. (0, 0) for a single reading. ArchiveError if damaged.
    """
    if n < 2:
        return 0.0, 0.0
    even = span_ms / (n - 1)
    if times is None:
        return even, even
    try:
        raw = inflate(times[1:])
        if len(raw) == n and not raw.translate(None, NEAR):
            least, most = -NEAREST, NEAREST
        else:
            off = set(widened(raw, n)[times[0] :])  # the first change is from nothing
            least, most = min(off), max(off)
    except (zlib.error, ValueError) as error:
        raise ArchiveError(f"a row of readings cannot be read: {error}") from error
    if times[0] == BY_STEP:
        return even + least - 1.0, even + most + 1.0  # the grid is rounded to 1 ms
    return even - (most - least) - 1.0, even + (most - least) + 1.0


def _sums(
    counted: list[float], scale: Scale | None
) -> tuple[float, float, float] | tuple[None, None, None]:
    """Lowest, sum, highest; in whole numbers of the scale where there is one."""
    if not counted:
        return None, None, None
    if scale is None:
        return min(counted), sum(counted), max(counted)
    whole = [round(value * scale.down / scale.up) for value in counted]
    return float(min(whole)), float(sum(whole)), float(max(whole))


def _pack_values(present: "array[float]") -> tuple[Scale | None, int, int, bytes | None]:
    """Scale, form, base and blob of the values that are there."""
    if not present:
        return None, BY_DIFFERENCE, 0, None
    for scale in _scales(present):
        whole = _whole(present, scale)
        if whole is not None:
            return scale, *_pack_whole(whole)
    raw = little_endian(present)
    planes = b"".join(raw[place::8] for place in range(8))
    return None, BY_DIFFERENCE, 0, deflate(planes)


def _unpack_values(row: Packed, count: int) -> Sequence[float]:
    if row.scale is None:
        planes = inflate(row.numbers) if row.numbers is not None else b""
        if len(planes) != 8 * count:
            raise ValueError(f"{count} values expected, {len(planes)} bytes found")
        raw = bytearray(len(planes))
        for place in range(8):
            raw[place::8] = planes[place * count : (place + 1) * count]
        return from_little_endian("d", bytes(raw))
    (up, down), base = row.scale, row.base
    if row.numbers is None:
        return [base * up / down] * count
    if row.form == BY_STEP:
        whole = accumulate(widen(row.numbers, count - 1), initial=base)
        return [number * up / down for number in whole]
    return [(base + difference) * up / down for difference in widen(row.numbers, count)]


def _scales(values: "array[float]") -> Iterator[Scale]:
    """Scales worth a try: the usual divisors, then what the smallest gap between values says."""
    for divisor in DIVISORS:
        yield Scale(1.0, divisor)
    gap = min((b - a for a, b in pairwise(sorted(set(values)))), default=0.0)
    if 1.0 / LARGEST_WHOLE < gap < LARGEST_WHOLE:
        yield Scale(float(f"{gap:.9g}"), 1.0)
        yield Scale(1.0, float(f"{1.0 / gap:.9g}"))


def _whole(values: "array[float]", scale: Scale) -> list[int] | None:
    """The values as whole numbers of a scale, or None if one would not come back exactly."""
    up, down = scale
    numbers = []
    for value in values:
        near = value * down / up
        if not abs(near) < LARGEST_WHOLE:
            return None
        number = round(near)
        if number * up / down != value or (number == 0 and math.copysign(1.0, value) < 0.0):
            return None
        numbers.append(number)
    return numbers


def _pack_whole(whole: list[int]) -> tuple[int, int, bytes | None]:
    """Form, base and blob. Noise packs best as differences from the middle, a trend as steps."""
    low, high = min(whole), max(whole)
    if low == high:
        return BY_DIFFERENCE, low, None
    middle = (low + high) // 2
    differences = deflate(narrow([number - middle for number in whole]))
    steps = deflate(narrow([b - a for a, b in pairwise(whole)]))
    if len(steps) < len(differences):
        return BY_STEP, whole[0], steps
    return BY_DIFFERENCE, middle, differences


def _pack_times(times: Sequence[int], start: int, span: int) -> bytes | None:
    """How far each reading lies off an even grid: as such, or as the change of it, by a first byte.

    The first suits readings that jitter about a beat, the second a beat that wanders.
    """
    grid = _even_grid(start, span, len(times))
    off = [at - even for at, even in zip(times, grid, strict=True)]
    if not any(off):
        return None
    changes = [off[0], *(after - before for before, after in pairwise(off))]
    return min(
        bytes([BY_DIFFERENCE]) + deflate(narrow(off)),
        bytes([BY_STEP]) + deflate(narrow(changes)),
        key=len,
    )


def _unpack_times(row: Packed) -> list[int]:
    grid = _even_grid(row.start_ms, row.span_ms, row.n)
    if row.times is None:
        return grid
    off: Iterable[int] = widen(row.times[1:], row.n)
    if row.times[0] == BY_STEP:
        off = accumulate(off)
    return [even + by for even, by in zip(grid, off, strict=True)]


def _even_grid(start: int, span: int, n: int) -> list[int]:
    gaps = max(1, n - 1)
    if span and span % gaps == 0:
        return list(range(start, start + span + 1, span // gaps))
    return [start + i * span // gaps for i in range(n)]


def _pack_problems(values: Sequence[float | None], problems: Sequence[str]) -> str | None:
    """Runs of [first position, how many, problem word, whether the value is missing]."""
    runs: list[list[object]] = []
    marks = [(value is None, word) for value, word in zip(values, problems, strict=True)]
    position = 0
    for (missing, word), group in groupby(marks):
        count = len(list(group))
        if missing or word:
            runs.append([position, count, word, missing])
        position += count
    return json.dumps(runs) if runs else None


def _unpack_problems(text: str | None) -> tuple[set[int], dict[int, str]]:
    """Positions without a value, and problem words by position."""
    missing: set[int] = set()
    problems: dict[int, str] = {}
    for first, count, word, without_value in json.loads(text) if text else ():
        positions = range(first, first + count)
        if without_value:
            missing.update(positions)
        if word:
            problems.update(dict.fromkeys(positions, word))
    return missing, problems
