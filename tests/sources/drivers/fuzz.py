"""Broken inputs for every parser of the drivers. Run: python tests/sources/drivers/fuzz.py 10000000

Each input is a sound one that was damaged: bytes changed, cut out, doubled, put together from two
of them, or made up. A parser may return or say what it refuses; anything else that it raises leaves
here with the input. The seed decides all inputs, so that a find can be made again.
"""

import random
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

from monitor.sources import addresses, payload, pulses, sysfs
from monitor.sources.modbus import TYPES, decode
from monitor.sources.onewire import crc8, parse_answer
from monitor.sources.polled import NoReading
from monitor.sources.power_status import _ENTRY, _VALUE
from monitor.sources.ups import check_status

MOST = 400
"""Bytes of an input: parsers bound what they take by themselves, and that is tested elsewhere."""

ODD = (
    b"\x00",
    b"\xff\xfe",
    b"nan",
    b"-inf",
    b"1e999",
    b"[",
    b"{",
    b'"',
    b"\\",
    b" ",
    b"\n",
    b"9" * 40,
)


@dataclass(frozen=True)
class Parser:
    """One parser, with sound inputs and what it may raise."""

    name: str
    sound: tuple[bytes, ...]
    call: Callable[[bytes], object]
    refuses: tuple[type[Exception], ...]


def _text(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")


def _registers(data: bytes) -> object:
    words = [int.from_bytes(data[i : i + 2], "big") for i in range(1, len(data) - 1, 2)][:5]
    kind = tuple(TYPES)[data[0] % len(TYPES)] if data else next(iter(TYPES))
    return decode(words, kind, ("high-first", "low-first")[len(data) % 2])


def _ups_line(data: bytes) -> object:
    line = data.decode("ascii")
    found = _VALUE.fullmatch(line)
    check_status((found[3] if found else line).split())
    return _ENTRY.fullmatch(line)


def _answer(data: bytes, thousandths: int) -> bytes:
    """The two lines of a thermometer whose checksum fits."""
    crc = crc8(data)
    shown = (data + bytes((crc,))).hex(" ")
    return f"{shown} : crc={crc:02x} YES\n{shown} t={thousandths}\n".encode("ascii")


PARSERS = (
    Parser(
        "onewire answer",
        (
            _answer(bytes.fromhex("c3014b467fff0c10"), 28187),
            _answer(bytes.fromhex("5ffe4b467fff0c10"), -26062),
            b"ff ff ff ff ff ff ff ff ff : crc=c9 NO\nff ff ff ff ff ff ff ff ff t=85000\n",
        ),
        parse_answer,
        (NoReading,),
    ),
    Parser(
        "payload, number",
        (b"26.5", b" -1.5e3 ", b"12,5"),
        lambda data: payload.parse(data, (), state=False),
        (),
    ),
    Parser(
        "payload, field",
        (b'{"a": {"b": [1.5, "on"]}}', b'{"a": {"b": null}, "c": 1e5}', b"[[[[1]]]]"),
        lambda data: payload.parse(data, ("a", "b", "0"), state=False),
        (),
    ),
    Parser(
        "payload, state",
        (b"ON", b"closed", b"1", b"true"),
        lambda data: payload.parse(data, (), state=True),
        (),
    ),
    Parser(
        "topic and field",
        (b"lt1/flow", b'lt1/state#a."b.c".0', b"#", b"a/+/b"),
        lambda data: payload.parse_address(_text(data)),
        (ValueError,),
    ),
    Parser(
        "address and keys",
        (b"adc/voltage0 sensor=loop shunt_ohm=100", b"'\"clamp/Chiller line\"'", b"17 pull=up"),
        lambda data: addresses.split(_text(data)),
        (ValueError,),
    ),
    Parser(
        "device and channel",
        (b"adc@1-0048/voltage0", b"clamp/temp1", b"a@/b"),
        lambda data: sysfs.plain_channel(sysfs.parse_place(_text(data))),
        (ValueError,),
    ),
    Parser(
        "pulse keys",
        (b"p pulses_per_litre=450 gate_s=10 zero_below=0.5", b"p gate_s=-1"),
        lambda data: addresses.read_keys(pulses.PulseKeys, addresses.split(_text(data))[1]),
        (ValueError,),
    ),
    Parser(
        "modbus registers", (b"\x00\x41\xe0\x00\x00", b"\x03\x7f\xc0"), _registers, (NoReading,)
    ),
    Parser(
        "ups line",
        (
            b'VAR su700 ups.status "OL CHRG"',
            b'VAR su700 ups.status "OB LB"',
            b'UPS su700 "a \\" b"',
        ),
        _ups_line,
        (NoReading, UnicodeDecodeError),
    ),
)


def damaged(sound: tuple[bytes, ...], chance: random.Random) -> bytes:
    """One input: a sound one with one to four wounds, or nothing but chance."""
    data = bytearray(chance.choice(sound))
    if chance.random() < 0.05:
        return chance.randbytes(chance.randrange(40))
    for _ in range(chance.randrange(1, 5)):
        at = chance.randrange(len(data) + 1)
        wound = chance.randrange(6)
        if wound == 0 and at < len(data):
            data[at] = chance.randrange(256)
        elif wound == 1:
            del data[at : at + chance.randrange(1, 6)]
        elif wound == 2:
            data[at:at] = data[at : at + 20]
        elif wound == 3:
            data[at:at] = chance.choice(ODD)
        elif wound == 4:
            data = data[:at] + chance.choice(sound)[at:]
        elif at < len(data):
            data[at] ^= 1 << chance.randrange(8)
    return bytes(data[:MOST])


def fuzz(parser: Parser, inputs: int, seed: int) -> tuple[int, int]:
    """Try so many inputs: how many were taken, and how many refused as they may be."""
    chance = random.Random(seed)
    taken = 0
    for _ in range(inputs):
        data = damaged(parser.sound, chance)
        try:
            parser.call(data)
        except parser.refuses:
            continue
        except Exception as error:
            raise AssertionError(f"{parser.name}: {type(error).__name__} for {data!r}") from error
        taken += 1
    return taken, inputs - taken


def main() -> None:
    """Try the parsers with as many inputs each as the command line says."""
    inputs = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    for parser in PARSERS:
        begun = time.process_time()
        taken, refused = fuzz(parser, inputs, seed=inputs)
        spent = time.process_time() - begun
        counts = f"{inputs:>10} inputs{taken:>10} taken{refused:>10} refused"
        sys.stdout.write(f"{parser.name:<20}{counts}{spent:>8.1f} s\n")


if __name__ == "__main__":
    main()
