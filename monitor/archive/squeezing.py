"""Whole numbers to few bytes and back. Pure."""

import sys
import zlib
from array import array
from typing import Any

WIDTHS = (("b", 7), ("h", 15), ("i", 31), ("q", 63))
CODES = {1: "b", 2: "h", 4: "i", 8: "q"}


def narrow(numbers: list[int]) -> bytes:
    """Whole numbers as the narrowest little-endian integers that hold them all."""
    low, high = min(numbers), max(numbers)
    code = next(code for code, bits in WIDTHS if -(1 << bits) <= low and high < 1 << bits)
    return little_endian(array(code, numbers))


def widen(blob: bytes, count: int) -> "array[int]":
    """What `narrow` and `deflate` made of `count` numbers. ValueError or zlib.error if damaged."""
    return widened(inflate(blob), count)


def widened(raw: bytes, count: int) -> "array[int]":
    """What `narrow` made of `count` numbers. ValueError if damaged."""
    width, rest = divmod(len(raw), count)
    if rest or width not in CODES:
        raise ValueError(f"{count} numbers expected, {len(raw)} bytes found")
    return from_little_endian(CODES[width], raw)


def little_endian(numbers: "array[Any]") -> bytes:
    """The numbers of an array, lowest byte first on every machine."""
    if sys.byteorder == "big":
        numbers = numbers[:]
        numbers.byteswap()
    return numbers.tobytes()


def from_little_endian(code: str, raw: bytes) -> "array[Any]":
    """The array that `little_endian` was given."""
    numbers: array[Any] = array(code, raw)
    if sys.byteorder == "big":
        numbers.byteswap()
    return numbers


def deflate(raw: bytes) -> bytes:
    """Raw deflate (RFC 1951), as text or by letter frequency alone, whichever is shorter."""
    packed = []
    for strategy in (zlib.Z_DEFAULT_STRATEGY, zlib.Z_HUFFMAN_ONLY):
        deflater = zlib.compressobj(9, zlib.DEFLATED, -15, 9, strategy)
        packed.append(deflater.compress(raw) + deflater.flush())
    return min(packed, key=len)


def inflate(blob: bytes) -> bytes:
    """What `deflate` was given. zlib.error if damaged."""
    return zlib.decompress(blob, wbits=-15)
