"""Temperatures from one-wire sensors, as the kernel's w1_therm driver gives them.

A sensor is addressed by its number, such as `28-0000075565ab`: burnt in, it stays with the sensor.
Each read starts a conversion of up to 750 ms, so a bus of many sensors is slow, not wrong.
Kernel documentation: Documentation/w1/slaves/w1_therm.rst, ABI/stable/sysfs-driver-w1_therm.
"""

import re
import threading
from pathlib import Path
from typing import Literal

from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import sysfs
from monitor.sources.addresses import OPTIONS, FullPath, Sheet, alone, fit
from monitor.sources.base import Complaints, Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value, in_unit

PROBLEMS = (
    *sysfs.PROBLEMS,
    "not a sensor's answer",
    "wrong checksum",
    "bus shorted",
    "power-on value",
    "out of range",
    "bulk read failed",
)
"""Every problem word of this driver."""

FAMILIES = ("10", "22", "28", "3b", "42")
"""Families of sensors that w1_therm serves (its documentation)."""

LOWEST, HIGHEST = -55.0, 125.0
"""What these sensors can say, C (data sheet of the usual one, from memory)."""

POWER_ON = 85.0
"""C: what the memory of a sensor holds before its first conversion (data sheet, from memory)."""

NEAR = 2.0
"""C: a power-on value or a plain zero is believed only this close to the last good reading (common
practice, no source; larval water does not move so far between two readings)."""

STEP = 16.0
"""Steps a degree. The kernel cuts its figure to whole thousandths; the step restores 28.1875."""

BULK_AGE = 2.0
"""Seconds for which a conversion of the whole bus may serve: its values are as old as its start."""
BULK_LONGEST = 2.0
"""Seconds until such a conversion has failed; the slowest sensor takes 0.75, or 0.9 with the
margin that the kernel may add."""
BULK_LOOK = 0.0625

_ID = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")
_ANSWER = re.compile(
    rb"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)\n(?:[0-9a-f]{2} ){9}t=(-?[0-9]{1,6})\n?"
)


@checked(frozen=True, slots=True, config=OPTIONS)
class OneWireOptions:
    """form: which file is read; w1_slave shows the bytes, temperature can be read in bulk.

    resolution: bits to set in each sensor, 9 to 12, None to leave it as it is.
    """

    form: Literal["w1_slave", "temperature"] = "w1_slave"
    resolution: Literal[9, 10, 11, 12] | None = None
    bulk: bool = False
    root: FullPath = "/sys"


def onewire(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """The one-wire buses of the board. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(OneWireOptions)
    sensors = sheet.points(_sensor)
    if read is not None and read.bulk and read.form != "temperature":
        sheet.problem("bulk", "needs the other form", 'Set form = "temperature"')
    options = sheet.sound(read)
    return PolledSource(
        setup.id, sheet.tags, lambda clock, tell: _Buses(options, sensors, clock, tell)
    )


def _sensor(tag: Tag) -> str:
    fit(tag, "temperature")
    number = alone(tag.address).lower()
    if not _ID.fullmatch(number):
        raise ValueError("is not the number of a sensor, such as 28-0000075565ab")
    if number[:2] not in FAMILIES:
        raise ValueError(f"is not a thermometer: those begin with {', '.join(FAMILIES)}")
    return number


class _Buses:
    """All one-wire buses of the board, and what is remembered of each sensor."""

    def __init__(
        self, options: OneWireOptions, sensors: dict[str, str], clock: Clock, tell: Complaints
    ) -> None:
        self._options = options
        self._sensors = sensors
        self._folder = Path(options.root, "bus/w1/devices")
        self._tell = tell
        self._bulk = _BulkRead(self._folder, clock)
        self._last: dict[str, float] = {}
        self._resolved: set[str] = set()

    def read(self, tag: Tag) -> Value:
        sensor = self._sensors[tag.id]
        try:
            celsius = self._celsius(sensor)
        except NoReading:
            self._resolved.discard(sensor)  # it may have been unplugged: RAM, so set it again
            raise
        self._last[sensor] = celsius
        return in_unit(tag, celsius), ""

    def close(self) -> None:
        """Nothing is kept open."""

    def _celsius(self, sensor: str) -> float:
        folder = self._folder / sensor
        if self._options.resolution is not None and sensor not in self._resolved:
            self._resolve(sensor, folder / "resolution")
        if self._options.form == "w1_slave":
            celsius = parse_answer(sysfs.read_bytes(folder / "w1_slave"))
        else:
            if self._options.bulk:
                self._bulk.serve(sensor)
            celsius = sysfs.whole(folder / "temperature") / 1000.0
        celsius = round(celsius * STEP) / STEP
        near = abs(celsius - self._last.get(sensor, 1e9)) <= NEAR
        if not LOWEST <= celsius <= HIGHEST:
            raise NoReading("out of range", celsius)
        if celsius == POWER_ON and not near:
            raise NoReading("power-on value", celsius)
        if celsius == 0.0 and self._options.form == "temperature" and not near:
            raise NoReading("bus shorted", "plain zero; the form w1_slave could tell it from 0 C")
        return celsius

    def _resolve(self, sensor: str, file: Path) -> None:
        try:
            sysfs.write(file, str(self._options.resolution))
        except OSError as error:
            self._tell.note("resolution not set", error)
        self._resolved.add(sensor)


class _BulkRead:
    """Conversions of all sensors at once: `trigger` starts one, and each sensor may use it once."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        self._folder = folder
        self._clock = clock
        self._started = -1e9
        self._served: set[str] = set()

    def serve(self, sensor: str) -> None:
        """See to it that there is a fresh conversion for this sensor. Raises NoReading."""
        now = self._clock.now().elapsed
        if sensor in self._served or now - self._started > BULK_AGE:
            self._convert()
            self._served.clear()
            self._started = now
        self._served.add(sensor)

    def _convert(self) -> None:
        files = sorted(self._folder.glob("w1_bus_master*/therm_bulk_read"))
        if not files:
            raise NoReading("bulk read failed", f"no therm_bulk_read under {self._folder}")
        for file in files:
            try:
                sysfs.write(file, "trigger")
            except OSError as error:
                raise NoReading("bulk read failed", error) from error
        until = self._clock.now().elapsed + BULK_LONGEST
        while any(sysfs.whole(file) == -1 for file in files):
            if self._clock.now().elapsed >= until:
                raise NoReading("bulk read failed", f"still busy after {BULK_LONGEST} s")
            self._clock.wait(threading.Event(), self._clock.now().elapsed + BULK_LOOK)


def parse_answer(answer: bytes) -> float:
    """Temperature in C from the two lines of w1_slave. Raises NoReading.

    The nine bytes are checked with an own checksum too: where it fails, the kernel shows a
    temperature that it has kept from earlier. A shorted bus reads as zeros, whose checksum fits;
    a bus without an answer reads as ones.
    """
    found = _ANSWER.fullmatch(answer)
    if found is None:
        raise NoReading("not a sensor's answer" if answer else "empty", answer[:80])
    scratchpad = bytes.fromhex(found[1].decode("ascii"))
    if scratchpad == bytes(9):
        raise NoReading("bus shorted", "all bytes are zero")
    if scratchpad == b"\xff" * 9:
        raise NoReading("no answer", "all bits are one")
    if found[2] == b"NO" or crc8(scratchpad) != 0:
        raise NoReading("wrong checksum", found[1])
    return int(found[3]) / 1000.0


def crc8(data: bytes) -> int:
    """Checksum of the one-wire bus: x8 + x5 + x4 + 1, lowest bit first, from zero.

    Zero over data that carry their own checksum at the end. Source: CRC-8/MAXIM-DOW.

    >>> hex(crc8(b"123456789"))
    '0xa1'
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0x8C if crc & 1 else 0)
    return crc
