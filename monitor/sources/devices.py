"""What hangs on this board: devices that a source could read, found in the kernel's own folders.

Nothing is opened but the small files that hold names; listing changes nothing.
"""

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.rig import Rig
from monitor.setup import SourceSetup
from monitor.sources import sysfs
from monitor.sources.polled import NoReading

CHEAP_FIRST = (
    "gpio", "onewire", "counter", "iio", "power_supply", "hwmon", "ups", "modbus", "http", "mqtt",
)  # fmt: skip
"""Kinds of source as a hatchery comes to have them, the cheapest first."""

_SENSOR = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")


@dataclass(frozen=True, slots=True)
class Device:
    """A device that is there. kind: of the source that reads it; name: as an address names it."""

    kind: str
    name: str
    path: Path


def devices(root: Path) -> list[Device]:
    """Every device below a root ("/" on a board), cheap kinds first. A missing folder has none."""
    sys, dev = root / "sys", root / "dev"
    found = [
        *(Device("gpio", str(path), path) for path in _entries(dev, "gpiochip")),
        *(
            Device("onewire", path.name, path)
            for path in _entries(sys / "bus/w1/devices")
            if _SENSOR.fullmatch(path.name)
        ),
        *_named("counter", _entries(sys / "bus/counter/devices", "counter")),
        *_named("iio", _entries(sys / "bus/iio/devices", "iio:device")),
        *(Device("power_supply", path.name, path) for path in _entries(sys / "class/power_supply")),
        *_named("hwmon", _entries(sys / "class/hwmon", "hwmon")),
        *(Device("modbus", str(path), path) for path in _entries(dev / "serial/by-id")),
    ]
    return sorted(found, key=lambda device: CHEAP_FIRST.index(device.kind))


def unused(found: Iterable[Device], rig: Rig, sources: Iterable[SourceSetup]) -> list[Device]:
    """Those that no tag and no source names. A serial line may be anybody's, also a modem's."""
    named = {kind: _names(kind, rig, tuple(sources)) for kind in CHEAP_FIRST}
    return [device for device in found if device.name not in named[device.kind]]


def _names(kind: str, rig: Rig, sources: tuple[SourceSetup, ...]) -> set[str]:
    own = [source for source in sources if source.kind == kind]
    ids = {source.id for source in own}
    names = {str(value) for source in own for _, value in source.options}
    if kind == "gpio" and any("chip" not in dict(source.options) for source in own):
        names.add("/dev/gpiochip0")
    for tag in rig.tags:
        if tag.source in ids:
            place = tag.address.strip("\"'").partition("/")[0].partition("@")[0]
            names |= {place, place.lower()}
    return names


def _named(kind: str, paths: Iterable[Path]) -> Iterator[Device]:
    for path in paths:
        try:
            name = sysfs.text(path / "name")
        except NoReading:
            name = ""
        yield Device(kind, name or f"(no name) {path.name}", path)


def _entries(folder: Path, begin: str = "") -> list[Path]:
    try:
        names = sorted(os.listdir(folder))
    except OSError:
        return []  # no such bus on this board, or not to be looked at
    return [folder / name for name in names if name.startswith(begin)]
