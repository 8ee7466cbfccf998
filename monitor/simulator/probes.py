"""What each tag of the simulated rig looks at: the true value, before any noise."""

import math
from collections import deque
from collections.abc import Callable

from monitor.rig import Rig, Tag
from monitor.simulator.physics import World
from monitor.units import L_PER_MIN

Truth = Callable[[], float]
"""The true value now, SI; asked once for each sample."""

FLOAT_GAP = 5e-3
"""A float opens at its height and closes this much higher, m (rig sheet)."""
WITNESS_FLOW, WITNESS_DELAY = 1.5 * L_PER_MIN, 20.0
"""A witness cup is empty below this flow, and shows either change so late, s (rig sheet)."""


class FloatSwitch:
    """1 while there is water above it; opens at its height, closes a little higher."""

    def __init__(self, level: Truth, height: float) -> None:
        self._level, self._height = level, height
        self._closed = level() > height

    def __call__(self) -> float:
        gap = 0.0 if self._closed else FLOAT_GAP
        self._closed = self._level() > self._height + gap
        return float(self._closed)


class WitnessCup:
    """1 while flow keeps the cup full; shows each change some seconds late."""

    def __init__(self, world: World, line: str) -> None:
        self._world, self._line = world, line
        self._shown = self._seen = world.flow(line) >= WITNESS_FLOW
        self._changes: deque[tuple[float, bool]] = deque()

    def __call__(self) -> float:
        now, flows = self._world.elapsed, self._world.flow(self._line) >= WITNESS_FLOW
        if flows is not self._seen:
            self._seen = flows
            self._changes.append((now + WITNESS_DELAY, flows))
        while self._changes and self._changes[0][0] <= now:
            self._shown = self._changes.popleft()[1]
        return float(self._shown)


class Turbine:
    """Mean flow since it was last asked, m3/s: it counts pulses between two readings."""

    def __init__(self, world: World, line: str) -> None:
        self._world, self._line = world, line
        self._volume, self._at = world.delivered(line), world.elapsed

    def __call__(self) -> float:
        volume, at = self._world.delivered(self._line), self._world.elapsed
        passed = at - self._at
        if passed <= 0.0:
            return self._world.flow(self._line)
        mean = (volume - self._volume) / passed
        self._volume, self._at = volume, at
        return mean


def truth_of(tag: Tag, rig: Rig, world: World) -> Truth | None:
    """What a tag looks at, or None where the simulated rig has no such thing."""
    look = LOOKS.get(tag.measures)
    return look(tag, rig, world) if look is not None else None


def _level(tag: Tag, rig: Rig, world: World) -> Truth | None:
    """Level above the floor; in a larval tank above its running level, as such sensors are set."""
    basin = world.water.basins.get(tag.of)
    if basin is None:
        return None
    zero = basin.running if basin.kind == "larval tank" else 0.0
    return lambda: basin.level - zero


def _float(tag: Tag, rig: Rig, world: World) -> Truth | None:
    level = _level(tag, rig, world)
    if level is None or tag.height is None:
        return None
    return FloatSwitch(level, tag.height)


def _flow(tag: Tag, rig: Rig, world: World) -> Truth | None:
    return Turbine(world, tag.of) if world.has_line(tag.of) else None


def _witness(tag: Tag, rig: Rig, world: World) -> Truth | None:
    return WitnessCup(world, tag.of) if world.has_line(tag.of) else None


def _temperature(tag: Tag, rig: Rig, world: World) -> Truth | None:
    vessel = rig.vessel.get(tag.of)
    if vessel is None:
        return None
    if vessel.kind != "room":
        return lambda: world.temperature(vessel)
    swing, period = world.extras.cycle
    room = world.extras.room_circuit

    def return_air() -> float:
        cycle = swing * math.sin(2.0 * math.pi * world.elapsed / period)
        return world.air.room + (cycle if world.powered(room) else 0.0)

    return return_air


LOOKS: dict[str, Callable[[Tag, Rig, World], Truth | None]] = {
    "level": _level,
    "float": _float,
    "flow": _flow,
    "flow witness": _witness,
    "temperature": _temperature,
    "mains": lambda tag, rig, world: lambda: float(world.powered(tag.of)),
    "current": lambda tag, rig, world: lambda: world.current(tag.of),
    "voltage": lambda tag, rig, world: lambda: world.volts,
    "share": lambda tag, rig, world: lambda: world.watch_battery,
    "pressure": lambda tag, rig, world: lambda: world.manifold,
    "light": lambda tag, rig, world: lambda: world.light,
    "wet": lambda tag, rig, world: lambda: float(world.floor_wet),
    "salinity": lambda tag, rig, world: lambda: world.salinity,
}
"""By measured quantity. Ages and bare numbers come from outside the rig and are not played."""
