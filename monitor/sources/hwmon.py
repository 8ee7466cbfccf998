"""Sensors the board has on itself or on a small converter chip: kernel interface hwmon.

Addressed by the name of the chip and the channel, or the label of the channel: `board/temp1`,
`"board/Pump strip"`. Kernel documentation: Documentation/hwmon/sysfs-interface.rst.
"""

import os
import re
from pathlib import Path

from pydantic.dataclasses import dataclass as checked

from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import sysfs
from monitor.sources.addresses import OPTIONS, FullPath, Sheet, alone, fit
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value, in_unit

PROBLEMS = (*sysfs.PROBLEMS, "sensor fault", "no such channel", "other quantity")
"""Every problem word of this driver."""

QUANTITIES = {
    "temp": ("temperature", 1e3),
    "in": ("voltage", 1e3),
    "curr": ("current", 1e3),
    "humidity": ("share", 1e5),
    "fan": ("number", 1.0),
}
"""What the channels of each kind measure, and how many units of the kernel make one of SI."""

_CHANNEL = re.compile(rf"({'|'.join(QUANTITIES)})[0-9]{{1,3}}")
_LABEL_FILE = re.compile(rf"({_CHANNEL.pattern})_label")


@checked(frozen=True, slots=True, config=OPTIONS)
class HwmonOptions:
    """root: where the kernel's tree is."""

    root: FullPath = "/sys"


def hwmon(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """The chips of the board. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(HwmonOptions)
    places = sheet.points(_place)
    folder = Path(sheet.sound(read).root, "class/hwmon")
    return PolledSource(setup.id, sheet.tags, lambda _clock, _tell: _Chips(folder, places))


def _place(tag: Tag) -> sysfs.Place:
    place = sysfs.parse_place(alone(tag.address))
    if found := _CHANNEL.fullmatch(place.channel):
        fit(tag, QUANTITIES[found[1]][0])
    else:
        fit(tag, *(quantity for quantity, _ in QUANTITIES.values()))
    return place


class _Chips:
    """Finds chip and channel anew each time: their numbers may change, their names do not."""

    def __init__(self, folder: Path, places: dict[str, sysfs.Place]) -> None:
        self._folder = folder
        self._places = places

    def read(self, tag: Tag) -> Value:
        place = self._places[tag.id]
        chip = sysfs.find(self._folder, "hwmon", place)
        kind, channel = _channel(chip, place.channel)
        quantity, units = QUANTITIES[kind]
        if tag.measures not in (quantity, "number"):
            raise NoReading("other quantity", f"{channel} of {chip} gives {quantity}")
        if sysfs.exists(chip / f"{channel}_fault") and sysfs.whole(chip / f"{channel}_fault"):
            raise NoReading("sensor fault", channel)
        return in_unit(tag, sysfs.number(chip / f"{channel}_input") / units), ""

    def close(self) -> None:
        """Nothing is kept open."""


def _channel(chip: Path, wanted: str) -> tuple[str, str]:
    """Kind and name of the channel that is called this, or labelled so."""
    if found := _CHANNEL.fullmatch(wanted):
        return found[1], wanted
    try:
        files = sorted(os.listdir(chip))
    except OSError as error:
        raise sysfs.failed(error) from error
    for file in files:
        found = _LABEL_FILE.fullmatch(file)
        if found and _reads(chip / file, wanted):
            return found[2], found[1]
    raise NoReading("no such channel", f"{chip} has no label {wanted!r}")


def _reads(file: Path, wanted: str) -> bool:
    """Whether a label is the one wanted; one that cannot be read is not."""
    try:
        return sysfs.text(file) == wanted
    except NoReading:
        return False
