"""Readings from instruments that speak Modbus, by network (TCP) or serial line (RTU).

Addressed by unit, table and register, then how the number is laid down: `1/holding/100
type=float32 order=low-first`. Only the four functions that read are ever used. Source: MODBUS
Application Protocol Specification V1.1b3.
"""

import logging
import math
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources.addresses import KEYS, OPTIONS, FullPath, Sheet, read_keys, split
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value
from monitor.units import STATES

if TYPE_CHECKING:
    from pymodbus.client import ModbusSerialClient, ModbusTcpClient

EXCEPTIONS = {
    1: "function refused",
    2: "no such register",
    3: "value refused",
    4: "device failed",
    5: "device busy",
    6: "device busy",
    8: "memory error",
    10: "gateway has no path",
    11: "no answer behind gateway",
}
"""Exception codes of a unit (specification, section 7)."""

PROBLEMS = (
    *dict.fromkeys(EXCEPTIONS.values()),
    "refused",
    "no connection",
    "no answer",
    "wrong answer",
    "not a number",
    "not a state",
    "sensor fault",
)
"""Every problem word of this driver."""

TYPES = {"int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "float32": "f", "float64": "d"}
"""How a number is laid down in registers of 16 bits, with its code in `struct`."""

BITS = ("coil", "discrete")
"""Tables of single bits; the others hold registers."""

AGAIN = 5.0
"""Seconds after a connection that failed until the next attempt: a dead line then costs the other
tags of this source little (common practice, no source)."""


@checked(frozen=True, slots=True, config=OPTIONS)
class ModbusOptions:
    """host for TCP, or device for a serial line with baud, parity and stop_bits. timeout in s."""

    host: str = ""
    port: Annotated[int, Field(ge=1, le=65_535)] = 502
    device: FullPath | None = None
    baud: Annotated[int, Field(ge=300, le=1_000_000)] = 9600
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    timeout: Annotated[float, Field(ge=0.05, le=10.0)] = 1.0


@checked(frozen=True, slots=True, config=KEYS)
class ModbusKeys:
    """order: which of two registers comes first. scale: what the number is multiplied with.

    fault: the raw number that means a failed sensor.
    """

    type: Literal["int16", "uint16", "int32", "uint32", "float32", "float64"] = "uint16"
    order: Literal["high-first", "low-first"] = "high-first"
    scale: Annotated[float, Field(allow_inf_nan=False)] = 1.0
    fault: float | None = None


@dataclass(frozen=True, slots=True)
class Point:
    """One number in the memory of a unit."""

    unit: int
    table: str
    register: int
    keys: ModbusKeys

    @property
    def is_bit(self) -> bool:
        return self.table in BITS

    @property
    def count(self) -> int:
        """Registers it takes."""
        return struct.calcsize(TYPES[self.keys.type]) // 2


def modbus(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """One network unit or serial line. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(ModbusOptions)
    points = sheet.points(_point)
    sheet.needs("pymodbus", "modbus")
    if read is not None and bool(read.host) == (read.device is not None):
        sheet.problem("host", "is wanted, or device, and not both", "host for TCP, device for RTU")
    if read is not None and read.device is not None:
        sheet.needs("serial", "serial")
    options = sheet.sound(read)
    return PolledSource(setup.id, sheet.tags, lambda clock, _tell: _Units(options, points, clock))


def _point(tag: Tag) -> Point:
    text, given = split(tag.address)
    parts = text.split("/")
    if len(parts) != 3 or parts[1] not in (*BITS, "holding", "input"):
        raise ValueError("is not UNIT/TABLE/REGISTER; tables: holding, input, coil, discrete")
    unit, register = _whole(parts[0], 255), _whole(parts[2], 65_535)
    keys = read_keys(ModbusKeys, given)
    if parts[1] in BITS:
        if tag.measures not in (*STATES, "number"):
            raise ValueError(f"gives a state, but the tag measures {tag.measures}")
        if given:
            raise ValueError(f"has {', '.join(given)}, of no use with a {parts[1]}")
    return Point(unit, parts[1], register, keys)


def _whole(text: str, most: int) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 6) or int(text) > most:
        raise ValueError(f"has {text!r} where a number from 0 to {most} belongs")
    return int(text)


def decode(registers: list[int], kind: str, order: str) -> float:
    """A number from its registers, each with its high byte first. Raises NoReading.

    >>> decode([0x41E0, 0], "float32", "high-first")
    28.0
    """
    layout = f">{TYPES[kind]}"
    words = registers if order == "high-first" else registers[::-1]
    if len(words) != struct.calcsize(layout) // 2 or any(not 0 <= w <= 0xFFFF for w in words):
        raise NoReading("wrong answer", f"{len(words)} registers for {kind}")
    value = float(struct.unpack(layout, struct.pack(f">{len(words)}H", *words))[0])
    if not math.isfinite(value):
        raise NoReading("not a number", value)
    return value


class _Units:
    """The units on one connection, which is opened when first needed and again when it is lost."""

    def __init__(self, options: ModbusOptions, points: dict[str, Point], clock: Clock) -> None:
        self._options = options
        self._points = points
        self._clock = clock
        self._client: ModbusTcpClient | ModbusSerialClient | None = None
        self._not_before = -math.inf

    def read(self, tag: Tag) -> Value:
        point = self._points[tag.id]
        keys = point.keys
        if point.is_bit:
            return float(self._ask(point)[0]), ""
        value = decode(self._ask(point), keys.type, keys.order)
        if value == keys.fault:
            raise NoReading("sensor fault", value)
        value = float(f"{value * keys.scale:.12g}")
        if tag.measures in STATES and value not in (0.0, 1.0):
            raise NoReading("not a state", value)
        return value, ""

    def close(self) -> None:
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]

    def _ask(self, point: Point) -> list[int]:
        """The registers, or the one bit, of a point.

        After an answer that did not come, or does not fit, the connection is made anew: a late
        answer must not be taken for that to the next question.
        """
        try:
            return self._values(point)
        except NoReading as trouble:
            if trouble.problem in ("no answer", "wrong answer"):
                self.close()
            raise

    def _values(self, point: Point) -> list[int]:
        from pymodbus.exceptions import ModbusException

        client = self._connected()
        function, ask = {
            "coil": (1, client.read_coils),
            "discrete": (2, client.read_discrete_inputs),
            "holding": (3, client.read_holding_registers),
            "input": (4, client.read_input_registers),
        }[point.table]
        count = 1 if point.is_bit else point.count
        try:
            answer = ask(point.register, count=count, device_id=point.unit)
        except (ModbusException, OSError) as error:
            raise NoReading("no answer", error) from error
        if answer.function_code & 0x7F != function:  # which the library does not look at
            raise NoReading("wrong answer", f"function {answer.function_code} for {function}")
        if answer.isError():
            code = getattr(answer, "exception_code", 0)
            raise NoReading(EXCEPTIONS.get(code, "refused"), f"exception {code}")
        found = [int(bit) for bit in answer.bits[:1]] if point.is_bit else answer.registers
        if len(found) != count:
            raise NoReading("wrong answer", f"{len(found)} values for {count}")
        return list(found)

    def _connected(self) -> "ModbusTcpClient | ModbusSerialClient":
        if self._client is None:
            self._client = self._make()
        if not self._client.connected:
            now = self._clock.now().elapsed
            if now < self._not_before:
                raise NoReading("no connection", "the next attempt is still to come")
            if not self._client.connect():
                self._not_before = self._clock.now().elapsed + AGAIN
                where = self._options.device or f"{self._options.host}:{self._options.port}"
                raise NoReading("no connection", where)
        return self._client

    def _make(self) -> "ModbusTcpClient | ModbusSerialClient":
        from pymodbus.client import ModbusSerialClient, ModbusTcpClient

        # It logs every failure at length; ours is the one line a minute that is wanted.
        logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)
        options = self._options
        if options.device is None:
            return ModbusTcpClient(
                options.host, port=options.port, timeout=options.timeout, retries=0
            )
        return ModbusSerialClient(
            options.device,
            baudrate=options.baud,
            parity=options.parity,
            stopbits=options.stop_bits,
            timeout=options.timeout,
            retries=0,
        )
