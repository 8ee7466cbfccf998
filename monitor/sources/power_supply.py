"""Mains and batteries the kernel knows of: adapters, power banks and battery boards.

A supply is addressed by its name under /sys/class/power_supply and the file wanted:
`battery/capacity`. Kernel documentation: ABI/testing/sysfs-class-power.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pydantic.dataclasses import dataclass as checked

from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import sysfs
from monitor.sources.addresses import OPTIONS, FullPath, Sheet, alone, fit
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value, in_unit

PROBLEMS = (*sysfs.PROBLEMS, "status unknown", "out of range")
"""Every problem word of this driver."""

STATUS = {"Charging": 1.0, "Full": 1.0, "Not charging": 1.0, "Discharging": 0.0}
"""Whether mains is there while a battery does this. "Unknown" says nothing."""


@dataclass(frozen=True, slots=True)
class Field:
    """One file of a supply: what it measures, and how it is read, in SI."""

    quantity: str
    read: Callable[[Path], float]


def _online(path: Path) -> float:
    """1 or 2 with an adapter plugged in (2: its charge is adjustable), 0 without."""
    value = sysfs.whole(path)
    if value not in (0, 1, 2):
        raise NoReading("out of range", value)
    return min(1.0, value)


def _status(path: Path) -> float:
    word = sysfs.text(path)
    if word not in STATUS:
        raise NoReading("status unknown" if word else "empty", word[:40])
    return STATUS[word]


def _capacity(path: Path) -> float:
    percent = sysfs.whole(path)
    if not 0 <= percent <= 100:
        raise NoReading("out of range", percent)
    return percent / 100.0


FIELDS = {
    "online": Field("mains", _online),
    "status": Field("mains", _status),
    "capacity": Field("share", _capacity),
    "voltage_now": Field("voltage", lambda path: sysfs.number(path) / 1e6),
    "current_now": Field("current", lambda path: sysfs.number(path) / 1e6),
    "temp": Field("temperature", lambda path: sysfs.number(path) / 10.0),
}
"""The files that can be read; the kernel gives microvolts, microamperes and tenths of a degree."""


@checked(frozen=True, slots=True, config=OPTIONS)
class PowerSupplyOptions:
    """root: where the kernel's tree is."""

    root: FullPath = "/sys"


def power_supply(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """The supplies the kernel knows of. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(PowerSupplyOptions)
    places = sheet.points(_place)
    folder = Path(sheet.sound(read).root, "class/power_supply")
    return PolledSource(setup.id, sheet.tags, lambda _clock, _tell: _Supplies(folder, places))


def _place(tag: Tag) -> tuple[str, str]:
    """Name of the supply, name of the file."""
    name, _, field = alone(tag.address).partition("/")
    if name in ("", ".", "..") or field not in FIELDS:
        raise ValueError(f"is not NAME/FIELD, with one of the fields {', '.join(FIELDS)}")
    fit(tag, FIELDS[field].quantity)
    return name, field


class _Supplies:
    """Reads one file each time; a supply that is plugged in again is found again."""

    def __init__(self, folder: Path, places: dict[str, tuple[str, str]]) -> None:
        self._folder = folder
        self._places = places

    def read(self, tag: Tag) -> Value:
        name, field = self._places[tag.id]
        return in_unit(tag, FIELDS[field].read(self._folder / name / field)), ""

    def close(self) -> None:
        """Nothing is kept open."""
