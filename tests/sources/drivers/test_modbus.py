"""Modbus: numbers in registers, and real servers by network and by serial line."""

import asyncio
import os
import select
import struct
import threading
import tty
from collections.abc import Coroutine, Iterator
from typing import Any, TypeVar, cast

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from monitor.sources.modbus import PROBLEMS, TYPES, decode
from monitor.sources.polled import NoReading
from sources.drivers.stage import StageClock, build, first, listen, tag
from sources.drivers.worlds import HOST, FrameServer

Result = TypeVar("Result")

REGISTERS = [0x40C0, 0x0000, 0xFFCE, 0x8000, 0x0002, 0x0001, 0x7FC0, 0x0000, 1, 0]
"""6.0 as float32; -50; the mark of a failed sensor; 65,538 low word first; no number; states."""


@pytest.mark.parametrize(
    ("registers", "kind", "order", "value"),
    [
        ([0x0000], "int16", "high-first", 0.0),
        ([0xFFFF], "int16", "high-first", -1.0),
        ([0xFFFF], "uint16", "high-first", 65_535.0),
        ([0x0001, 0x0002], "uint32", "high-first", 65_538.0),
        ([0x0002, 0x0001], "uint32", "low-first", 65_538.0),
        ([0xFFFF, 0xFFFF], "int32", "high-first", -1.0),
        ([0x40C0, 0x0000], "float32", "high-first", 6.0),
        ([0x0000, 0x40C0], "float32", "low-first", 6.0),
        ([0x4018, 0, 0, 0], "float64", "high-first", 6.0),
        ([0, 0, 0, 0x4018], "float64", "low-first", 6.0),
    ],
)
def test_numbers(registers: list[int], kind: str, order: str, value: float) -> None:
    """Each way to lay down a number is read as it was meant."""
    assert value == decode(registers, kind, order)


@pytest.mark.parametrize(
    ("registers", "kind", "problem"),
    [
        ([0x7FC0, 0], "float32", "not a number"),
        ([0x7F80, 0], "float32", "not a number"),
        ([0xFF80, 0], "float32", "not a number"),
        ([], "uint16", "wrong answer"),
        ([1, 2], "uint16", "wrong answer"),
        ([1], "float32", "wrong answer"),
        ([65_536], "uint16", "wrong answer"),
        ([-1], "uint16", "wrong answer"),
    ],
)
def test_registers_that_are_no_number(registers: list[int], kind: str, problem: str) -> None:
    """NaN, infinity, and too few or too many registers are no number."""
    with pytest.raises(NoReading, match=problem):
        decode(registers, kind, "high-first")


@given(st.lists(st.integers(0, 0xFFFF), min_size=4, max_size=4), st.sampled_from(sorted(TYPES)))
def test_orders_mirror_each_other(registers: list[int], kind: str) -> None:
    """Registers in the other order with the other word for it give the same, and are finite."""
    some = registers[: struct.calcsize(TYPES[kind]) // 2]
    try:
        value = decode(some, kind, "high-first")
    except NoReading as trouble:
        assert "not a number" == trouble.problem
    else:
        assert value == decode(some[::-1], kind, "low-first")


class Loop:
    """An event loop in a thread, for the servers of the library."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()

    def do(self, work: Coroutine[Any, Any, Result]) -> Result:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(10.0)

    def close(self) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()


@pytest.fixture(scope="module")
def loop() -> Iterator[Loop]:
    """The loop that all servers share."""
    running = Loop()
    yield running
    running.close()


def device(unit: int) -> SimDevice:
    """A unit with our registers as holding and as input registers, and 16 bits of each kind."""
    bits = [number % 3 == 0 for number in range(16)]
    return SimDevice(
        id=unit,
        simdata=(
            [SimData(0, values=bits, datatype=DataType.BITS)],
            [SimData(0, values=bits, datatype=DataType.BITS)],
            [SimData(0, values=REGISTERS, datatype=DataType.REGISTERS)],
            [SimData(0, values=REGISTERS, datatype=DataType.REGISTERS)],
        ),
    )


@pytest.fixture
def tcp(loop: Loop) -> Iterator[dict[str, object]]:
    """A real server by network; gives the options to reach it."""

    async def start() -> ModbusTcpServer:
        server = ModbusTcpServer(device(1), address=(HOST, 0))
        await server.serve_forever(background=True)
        return server

    server = loop.do(start())
    port = cast(asyncio.Server, server.transport).sockets[0].getsockname()[1]
    yield {"host": HOST, "port": port, "timeout": 1.0}
    loop.do(server.shutdown())  # type: ignore[no-untyped-call]


TAGS = (
    tag("QS", "flow", "1/holding/0 type=float32"),
    tag("TO", "temperature", "1/input/2 type=int16 scale=0.1"),
    tag("TX", "temperature", "1/holding/3 type=int16 fault=-32768"),
    tag("N", "number", "1/holding/4 type=uint32 order=low-first"),
    tag("NAN", "number", "1/holding/6 type=float32"),
    tag("ON", "mains", "1/holding/8"),
    tag("OFF", "mains", "1/holding/9"),
    tag("ODD", "mains", "1/holding/4"),
    tag("C1", "float", "1/coil/9"),
    tag("C0", "float", "1/discrete/10"),
    tag("GONE", "number", "1/holding/100"),
)
EXPECTED = {
    "QS": (6.0, ""),
    "TO": (-5.0, ""),
    "TX": (None, "sensor fault"),
    "N": (65_538.0, ""),
    "NAN": (None, "not a number"),
    "ON": (1.0, ""),
    "OFF": (0.0, ""),
    "ODD": (None, "not a state"),
    "C1": (1.0, ""),
    "C0": (0.0, ""),
    "GONE": (None, "no such register"),
}


def test_a_real_server_by_network(tcp: dict[str, object]) -> None:
    """Numbers, states and an exception of a real server come through on one connection."""
    assert EXPECTED == first(build("modbus", tcp, *TAGS))


class Wire:
    """Two serial ports joined by a wire, each a pseudo-terminal."""

    def __init__(self) -> None:
        pairs = [os.openpty() for _ in range(2)]
        self._ends = [master for master, _ in pairs]
        self._others = [other for _, other in pairs]
        for other in self._others:
            tty.setraw(other)
        self.ports = [os.ttyname(other) for other in self._others]
        self._stop, self._stopped = os.pipe()
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()

    def close(self) -> None:
        os.write(self._stopped, b"x")
        self._thread.join()
        for number in (*self._ends, *self._others, self._stop, self._stopped):
            os.close(number)

    def _carry(self) -> None:
        other = {self._ends[0]: self._ends[1], self._ends[1]: self._ends[0]}
        while True:
            ready, _, _ = select.select([*self._ends, self._stop], [], [])
            if self._stop in ready:
                return
            for end in ready:
                os.write(other[end], os.read(end, 4096))


@pytest.fixture
def wire() -> Iterator[Wire]:
    """A wire between two serial ports."""
    laid = Wire()
    yield laid
    laid.close()


def test_a_real_server_by_serial_line(loop: Loop, wire: Wire) -> None:
    """The same comes through by RTU on a serial line; a unit that is not there gives no answer."""

    async def start() -> ModbusSerialServer:
        server = ModbusSerialServer([device(1)], port=wire.ports[0], baudrate=115_200)
        await server.serve_forever(background=True)
        return server

    server = loop.do(start())
    options = {"device": wire.ports[1], "baud": 115_200, "timeout": 0.5}
    try:
        assert EXPECTED == first(build("modbus", options, *TAGS))
    finally:
        loop.do(server.shutdown())  # type: ignore[no-untyped-call]


def test_a_serial_line_without_anybody(wire: Wire) -> None:
    """On a line where nobody answers each read ends with its time, and the source goes on."""
    options = {"device": wire.ports[1], "timeout": 0.1}
    heard = listen(build("modbus", options, tag("Q", "flow", "1/holding/0")), StageClock(25.0))
    assert [(None, "no answer")] * 3 == [item[2:] for item in heard]


def test_a_serial_port_that_is_not_there() -> None:
    """Without the port, such as a stick that was pulled, there is no connection."""
    options = {"device": "/dev/serial/by-id/none", "timeout": 0.1}
    found = first(build("modbus", options, tag("Q", "flow", "1/holding/0")))
    assert {"Q": (None, "no connection")} == found


@pytest.fixture
def frames() -> Iterator[FrameServer]:
    """A server of recorded frames."""
    server = FrameServer()
    yield server
    server.close()


@pytest.mark.parametrize(
    ("code", "problem"),
    [
        (1, "function refused"),
        (2, "no such register"),
        (3, "value refused"),
        (4, "device failed"),
        (5, "device busy"),
        (6, "device busy"),
        (8, "memory error"),
        (10, "gateway has no path"),
        (11, "no answer behind gateway"),
        (99, "refused"),
    ],
)
def test_exception_codes(frames: FrameServer, code: int, problem: str) -> None:
    """Each exception code of a unit has its word."""
    frames.happen({"replies": {"01 03 0000 0001": f"01 83 {code:02x}"}})
    found = first(build("modbus", frames.options, tag("Q", "flow", "1/holding/0")))
    assert {"Q": (None, problem)} == found


@pytest.mark.parametrize(
    "reply",
    [
        "01 03 02 00",  # shorter than it says
        "01 03 04 0000 0000",  # two registers where one was asked for
        "01 03 00",
        "02 03 02 0001",  # of another unit
        "01 04 02 0001",  # of another function
        "01 06 0000 0001",
        "FF",
        "00" * 200,
    ],
)
def test_answers_that_are_none(frames: FrameServer, reply: str) -> None:
    """An answer that does not fit the question is no value, and the next question is asked."""
    frames.happen({"replies": {"01 03 0000 0001": reply, "01 03 0009 0001": "01 03 02 0007"}})
    options = {**frames.options, "timeout": 0.1}
    bad, good = tag("A", "flow", "1/holding/0"), tag("B", "flow", "1/holding/9")
    heard = listen(build("modbus", options, bad, good), StageClock(15.0))
    found = {name: (value, problem) for _, name, value, problem in heard}
    assert None is found["A"][0]
    assert found["A"][1] in ("no answer", "wrong answer")
    assert (7.0, "") == found["B"]


@pytest.mark.long
@given(st.binary(min_size=1, max_size=60))
@settings(
    max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
def test_any_answer_is_a_value_or_a_word(frames: FrameServer, reply: bytes) -> None:
    """Whatever comes back, there is a finite value or a known word."""
    frames.replies[bytes.fromhex("010300000001")] = reply
    options = {**frames.options, "timeout": 0.05}
    value, problem = first(build("modbus", options, tag("Q", "flow", "1/holding/0")))["Q"]
    assert (value is None) == bool(problem)
    assert problem in ("", *PROBLEMS)


def test_only_reading_functions_are_used(frames: FrameServer) -> None:
    """Nothing but the four functions that read is ever asked."""
    first(build("modbus", {**frames.options, "timeout": 0.1}, *TAGS))
    listen(build("modbus", {**frames.options, "timeout": 0.1}, *TAGS[8:]), StageClock(15.0))
    assert {request[2:4] for request in frames.asked} <= {"01", "02", "03", "04"}
    assert {"01", "02", "03", "04"} & {request[2:4] for request in frames.asked}


def test_a_dead_line_is_not_dialled_for_every_tag(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a connection that failed the other tags do not each wait for one of their own."""
    from pymodbus.client import ModbusTcpClient

    dialled: list[str] = []

    def connect(client: ModbusTcpClient) -> bool:
        dialled.append(str(client))
        return False

    monkeypatch.setattr(ModbusTcpClient, "connect", connect)
    source = build("modbus", {"host": HOST}, *TAGS)
    heard = listen(source, StageClock(15.0))
    assert {"no connection"} == {problem for *_, problem in heard}
    assert 2 * len(TAGS) == len(heard)
    assert 2 == len(dialled)
