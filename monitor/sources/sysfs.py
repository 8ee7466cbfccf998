"""Reading the kernel's tree of devices (sysfs): one small file, one value.

Numbers of devices (`hwmon3`, `iio:device0`) change from boot to boot, so a device is found by its
name, and by its place on the bus where several have one name. The tree is asked each time: a
device that is plugged in again is found again.
"""

import errno
import os
import re
from dataclasses import dataclass
from pathlib import Path

from monitor.sources import payload
from monitor.sources.polled import NoReading

LONGEST = 4096
"""Bytes of one file: the kernel gives at most a page (Documentation/filesystems/sysfs.rst)."""

PROBLEMS = (
    "no answer",
    "no permission",
    "no data",
    "read error",
    "two of this name",
    "empty",
    "too long",
    "not text",
    "not a number",
    "number too large",
)
"""Every problem word that finding a device and reading a file may give."""

_GONE = (errno.ENOENT, errno.ENOTDIR, errno.ENODEV, errno.ENXIO, errno.ELOOP)
_WHOLE = re.compile(r"[+-]?[0-9]{1,20}")
_CHANNEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]*")


def read_bytes(path: Path) -> bytes:
    """The content of a file. NoReading if there is none, or far too much."""
    try:
        with path.open("rb", buffering=0) as file:
            content = file.read(LONGEST + 1)
    except OSError as error:
        raise failed(error) from error
    if len(content) > LONGEST:
        raise NoReading("too long", path)
    return content


def exists(path: Path) -> bool:
    """Whether there is such a file; no where that cannot be found out."""
    return os.path.exists(path)


def write(path: Path, word: str) -> None:
    """Write a setting into a file that is there; OSError if it cannot be."""
    with path.open("r+b", buffering=0) as file:
        file.write(word.encode("ascii"))


def failed(error: OSError) -> NoReading:
    """What went wrong with a file, as a problem word."""
    if error.errno in _GONE:
        return NoReading("no answer", error)
    if isinstance(error, PermissionError):
        return NoReading("no permission", error)
    return NoReading("no data" if error.errno == errno.ENODATA else "read error", error)


def text(path: Path) -> str:
    """A word or line in a file, without the blanks around it."""
    try:
        return read_bytes(path).decode("utf-8").strip()
    except UnicodeDecodeError as error:
        raise NoReading("not text", path) from error


def number(path: Path) -> float:
    """A decimal number in a file."""
    value, problem = payload.parse(read_bytes(path), (), state=False)
    if value is None:
        raise NoReading(problem if problem in PROBLEMS else "not a number", path)
    return value


def whole(path: Path) -> int:
    """A whole number in a file, exact beyond what a float holds."""
    word = text(path)
    if not _WHOLE.fullmatch(word):
        raise NoReading("not a number" if word else "empty", path)
    return int(word)


@dataclass(frozen=True, slots=True)
class Place:
    """One channel of a device. at: a part of its path, where several devices have one name."""

    name: str
    at: str
    channel: str

    def __str__(self) -> str:
        return f"{self.name}@{self.at}" if self.at else self.name


def parse_place(place: str) -> Place:
    """Read `NAME/CHANNEL` or `NAME@PLACE/CHANNEL`. ValueError with words fit to be shown."""
    device, parted, channel = place.partition("/")
    name, at_given, at = device.partition("@")
    if not parted or not name or not channel or (at_given and not at):
        raise ValueError("is not written NAME/CHANNEL or NAME@PLACE/CHANNEL")
    return Place(name, at, channel)


def plain_channel(place: Place) -> None:
    """Complain of a channel that could not be part of the name of a file."""
    if not _CHANNEL.fullmatch(place.channel):
        raise ValueError(f"has {place.channel!r}, which is not the name of a channel")


def find(folder: Path, prefix: str, place: Place) -> Path:
    """The directory of the one device with this name, and with this place in its path."""
    names: list[str] = []
    found: list[Path] = []
    try:
        entries = sorted(entry for entry in os.listdir(folder) if entry.startswith(prefix))
    except OSError as error:
        raise failed(error) from error
    for entry in entries:
        device = folder / entry
        try:
            name = text(device / "name")
        except NoReading:
            continue  # a device without a readable name is not the one that is looked for
        names.append(name)
        if name == place.name and (not place.at or place.at in device.resolve().parts):
            found.append(device)
    if not found:
        raise NoReading("no answer", f"no device {place}; there are: {', '.join(names) or 'none'}")
    if len(found) > 1:
        paths = ", ".join(str(device.resolve()) for device in found)
        raise NoReading("two of this name", f"write {place.name}@PLACE, a part of: {paths}")
    return found[0]
