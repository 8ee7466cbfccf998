"""Voltages, currents, pressures and light from converter chips: kernel interface IIO.

Addressed by the name of the chip and the channel, then what hangs on it: `adc/voltage0
sensor=loop shunt_ohm=100 low=0 high=100`. Kernel documentation: ABI/testing/sysfs-bus-iio.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass as checked

from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import convert, sysfs
from monitor.sources.addresses import KEYS, OPTIONS, FullPath, Sheet, fit, read_keys, split
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import PolledSource, Value, in_unit

PROBLEMS = (*sysfs.PROBLEMS, *convert.PROBLEMS)
"""Every problem word of this driver."""

QUANTITIES = {
    "voltage": ("voltage", 1e3),
    "current": ("current", 1e3),
    "temp": ("temperature", 1e3),
    "pressure": ("pressure", 1e-3),
    "humidityrelative": ("share", 1e5),
    "illuminance": ("light", 1.0),
}
"""What a kind of channel measures, and how many of the kernel's units make one of SI: it gives mV,
mA, thousandths of a degree, kPa, thousandths of a percent, and lux."""

NEEDED = {
    "plain": (),
    "raw": (),
    "loop": ("low or low_kpa",),
    "ratio": ("low or low_kpa", "supply or supply_v"),
}
ALLOWED = {
    "plain": ("salinity", "water_c", "air"),
    "raw": (),
    "loop": ("shunt_ohm", "low", "high", "low_kpa", "high_kpa", "salinity", "water_c"),
    "ratio": (
        *("supply", "supply_v", "low_share", "high_share"),
        *("low", "high", "low_kpa", "high_kpa", "salinity", "water_c"),
    ),
}
"""Keys by what hangs on the channel."""

_CHANNEL = re.compile(r"([a-z]+)[0-9]*(?:-[a-z]+[0-9]*)?(?:_[a-z0-9]+)?")

Number = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Positive = Annotated[float, Field(gt=0.0, le=1e6)]


@checked(frozen=True, slots=True, config=OPTIONS)
class IioOptions:
    """root: where the kernel's tree is."""

    root: FullPath = "/sys"


@checked(frozen=True, slots=True, config=KEYS)
class IioKeys:
    """What hangs on a channel, and how its signal is read.

    low, high: value in the unit of the tag at the ends of the range; low_kpa, high_kpa: pressure
    there, where a level is wanted. supply: channel that measures the supply, or supply_v: its
    volts. air: channel of a barometer. water_c: temperature of the water, C.
    """

    sensor: Literal["plain", "raw", "loop", "ratio"] = "plain"
    shunt_ohm: Positive | None = None
    low: Number | None = None
    high: Number | None = None
    low_kpa: Number | None = None
    high_kpa: Number | None = None
    supply: str = ""
    supply_v: Positive | None = None
    low_share: Share = 0.1
    high_share: Share = 0.9
    air: str = ""
    salinity: Annotated[float, Field(ge=0.0, le=42.0)] = 35.0
    water_c: Annotated[float, Field(ge=-2.0, le=40.0)] = 26.0


@dataclass(frozen=True, slots=True)
class Channel:
    """Where a channel is, and its kind."""

    place: sysfs.Place
    kind: str


@dataclass(frozen=True, slots=True)
class Point:
    """One tag: its channel, what hangs on it, and the second channel that may be needed."""

    channel: Channel
    keys: IioKeys
    other: Channel | None


def iio(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """The converters of the board. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(IioOptions)
    points = sheet.points(_point)
    folder = Path(sheet.sound(read).root, "bus/iio/devices")
    return PolledSource(setup.id, sheet.tags, lambda _clock, _tell: _Converters(folder, points))


def _point(tag: Tag) -> Point:
    text, given = split(tag.address)
    channel = _channel(text)
    keys = read_keys(IioKeys, given)
    _check_keys(keys, given)
    if keys.sensor in ("plain", "raw"):
        _check_plain(tag, channel, keys)
    else:
        _check_range(tag, channel, keys)
    second = keys.supply or keys.air
    other = _channel(second) if second else None
    if other is not None and other.kind != channel.kind:
        raise ValueError(f"compares {channel.kind} with {other.kind}")
    return Point(channel, keys, other)


def _channel(text: str) -> Channel:
    place = sysfs.parse_place(text)
    found = _CHANNEL.fullmatch(place.channel)
    if found is None or found[1] not in QUANTITIES:
        raise ValueError(f"names no channel of {', '.join(QUANTITIES)}, such as voltage0")
    return Channel(place, found[1])


def _check_keys(keys: IioKeys, given: dict[str, str]) -> None:
    """Keys that are of no use here, or missing."""
    for key in given:
        if key != "sensor" and key not in ALLOWED[keys.sensor]:
            raise ValueError(f"has {key}, which is of no use with sensor={keys.sensor}")
    for wanted in NEEDED[keys.sensor]:
        if len(given.keys() & set(wanted.split(" or "))) != 1:
            raise ValueError(f"needs one of {wanted} with sensor={keys.sensor}")


def _check_plain(tag: Tag, channel: Channel, keys: IioKeys) -> None:
    if keys.sensor == "raw":
        return
    if channel.kind == "pressure" and tag.measures == "level":
        if not keys.air:
            raise ValueError(
                "is a sensor of absolute pressure: weather would move the level by 10 cm. "
                "Give air=NAME/pressure, a barometer beside it"
            )
        return
    if keys.air:
        raise ValueError("has air, which is of use for a level from a pressure only")
    fit(tag, QUANTITIES[channel.kind][0])


def _check_range(tag: Tag, channel: Channel, keys: IioKeys) -> None:
    kinds = ("voltage", "current") if keys.sensor == "loop" else ("voltage",)
    if channel.kind not in kinds:
        raise ValueError(f"has sensor={keys.sensor}, which needs {' or '.join(kinds)}")
    if (channel.kind == "voltage") != (keys.shunt_ohm is not None) and keys.sensor == "loop":
        raise ValueError("needs shunt_ohm with a voltage channel, and only there")
    ends = (keys.low_kpa, keys.high_kpa) if keys.low is None else (keys.low, keys.high)
    if None in ends or ends[0] == ends[1] or len({keys.high is None, keys.low is None}) > 1:
        raise ValueError("needs both ends of the range, low and high, and they differ")
    if keys.low_kpa is not None and tag.measures != "level":
        raise ValueError(f"has low_kpa, but the tag measures {tag.measures}, not level")
    if not keys.low_share < keys.high_share:
        raise ValueError("needs low_share below high_share")


class _Converters:
    """Finds chip and channel anew each time: their numbers may change, their names do not."""

    def __init__(self, folder: Path, points: dict[str, Point]) -> None:
        self._folder = folder
        self._points = points

    def read(self, tag: Tag) -> Value:
        point = self._points[tag.id]
        delivered = self._delivered(point.channel)
        if point.keys.sensor == "raw":
            return delivered, ""
        value = delivered / QUANTITIES[point.channel.kind][1]
        if point.keys.sensor == "plain":
            if point.keys.air:
                value = _level(value - self._other(point), point.keys)
            return in_unit(tag, value), ""
        share, doubt = self._share(point, value)
        return _in_range(tag, share, point.keys), doubt

    def close(self) -> None:
        """Nothing is kept open."""

    def _share(self, point: Point, value: float) -> Value:
        keys = point.keys
        if keys.sensor == "loop":
            return convert.loop_share(value / (keys.shunt_ohm or 1.0))
        supply = keys.supply_v or self._other(point)
        return convert.ratio_share(value, supply, keys.low_share, keys.high_share), ""

    def _other(self, point: Point) -> float:
        assert point.other is not None
        return self._delivered(point.other) / QUANTITIES[point.other.kind][1]

    def _delivered(self, channel: Channel) -> float:
        """(raw + offset) * scale, or the value where the kernel has done that, in its unit."""
        chip = sysfs.find(self._folder, "iio:device", channel.place)
        name = channel.place.channel
        if sysfs.exists(chip / f"in_{name}_input"):
            return sysfs.number(chip / f"in_{name}_input")
        raw = sysfs.number(chip / f"in_{name}_raw")
        offset = _shared(chip, channel, "offset", 0.0)
        return (raw + offset) * _shared(chip, channel, "scale", 1.0)


def _shared(chip: Path, channel: Channel, what: str, absent: float) -> float:
    """Offset or scale: of the channel itself, or one for all channels of its kind."""
    for name in (channel.place.channel, channel.kind):
        if sysfs.exists(chip / f"in_{name}_{what}"):
            return sysfs.number(chip / f"in_{name}_{what}")
    return absent


def _in_range(tag: Tag, share: float, keys: IioKeys) -> float:
    if keys.low is not None and keys.high is not None:
        return float(f"{keys.low + share * (keys.high - keys.low):.12g}")
    assert keys.low_kpa is not None and keys.high_kpa is not None
    kpa = keys.low_kpa + share * (keys.high_kpa - keys.low_kpa)
    return in_unit(tag, _level(kpa * 1e3, keys))


def _level(pascal: float, keys: IioKeys) -> float:
    return convert.depth(pascal, convert.density(keys.salinity, keys.water_c))
