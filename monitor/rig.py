"""The rig as described: vessels, lines, circuits and tags. Frozen plain data in SI units.

A rig is a net of vessels joined by lines. A header tank that feeds a larval tank by a siphon and
is fed from a sump by a pump is one shape; a single flow sensor on a loop is another. Every part
is optional, and so is every tag.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from monitor.units import Unit

VESSEL_KINDS = ("larval tank", "header", "sump", "broodstock tank", "culture", "room", "other")
LINE_KINDS = ("siphon", "pump", "overflow", "air", "loop")


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel that holds water (or the room, which holds air).

    area: plan area, m2. lip: height of the overflow lip above the vessel floor, m.
    rim: height of the rim above the floor, m. volume: litres at the lip, as m3.
    """

    id: str
    kind: str
    area: float | None = None
    lip: float | None = None
    rim: float | None = None
    volume: float | None = None


@dataclass(frozen=True, slots=True)
class DrainTest:
    """Endurance as measured: supply stopped, time until the siphon broke.

    flow in m3/s, endurance in s, float_to_break in s (None where there is no float).
    """

    flow: float
    endurance: float
    float_to_break: float | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A line between two vessels.

    head: for a siphon, height from the larval surface to the header lip, m.
    break_level: measured level in the source vessel at which the siphon breaks, m.
    pump_flow: what a pump delivers, m3/s. mouth: level in its source at which it draws air, m.
    circuit: the circuit that feeds the pump.
    """

    id: str
    kind: str
    source: str | None = None
    target: str | None = None
    bore: float | None = None
    head: float | None = None
    break_level: float | None = None
    pump_flow: float | None = None
    mouth: float | None = None
    circuit: str | None = None
    drain_test: DrainTest | None = None


@dataclass(frozen=True, slots=True)
class Tag:
    """One measurement point.

    measures: a key of units.UNITS. of: the vessel, line or circuit it belongs to.
    calibration: shown value = raw * gain + zero, with the version in force.
    sensor_range: what the sensor can say at all; usual_range: what is credible here.
    max_step, max_rate: largest credible change between two readings (SI) and per second.
    every: how often a reading is due, s. stale: silence after which it counts as silent, s.
    median: length of the running median that smooths it (1 = none).
    height: for a float, the level at which it opens, m.
    is_owed: whether it has to come; what people enter without an agreed pace is not, and never
        silent.
    followed: whether small or slow changes of it are to be told.
    """

    id: str
    measures: str
    of: str
    unit: Unit
    source: str
    address: str = ""
    every: float = 10.0
    stale: float = 60.0
    gain: float = 1.0
    zero: float = 0.0
    calibration: int = 1
    quantum: float | None = None
    sensor_range: tuple[float, float] | None = None
    usual_range: tuple[float, float] | None = None
    max_step: float | None = None
    max_rate: float | None = None
    spike: tuple[float, float] | None = None
    flat_after: float | None = None
    start_up_values: tuple[float, ...] = ()
    median: int = 1
    height: float | None = None
    followed: bool = False
    is_owed: bool = True


@dataclass(frozen=True)
class Rig:
    """The installation, with its names as they appear in texts (at most 8 letters)."""

    board: str
    id: str
    label: str
    zone: str
    vessels: tuple[Vessel, ...] = ()
    lines: tuple[Line, ...] = ()
    circuits: tuple[str, ...] = ()
    tags: tuple[Tag, ...] = ()

    @cached_property
    def vessel(self) -> dict[str, Vessel]:
        return {vessel.id: vessel for vessel in self.vessels}

    @cached_property
    def line(self) -> dict[str, Line]:
        return {line.id: line for line in self.lines}

    @cached_property
    def tag(self) -> dict[str, Tag]:
        return {tag.id: tag for tag in self.tags}

    @cached_property
    def _by_place(self) -> dict[tuple[str, str], tuple[Tag, ...]]:
        places: dict[tuple[str, str], tuple[Tag, ...]] = {}
        for tag in self.tags:
            places[tag.measures, tag.of] = (*places.get((tag.measures, tag.of), ()), tag)
        return places

    def tags_for(self, measures: str, of: str | None) -> tuple[Tag, ...]:
        """All tags that measure this quantity of this vessel, line or circuit."""
        return self._by_place.get((measures, of), ()) if of is not None else ()

    def tag_for(self, measures: str, of: str | None) -> Tag | None:
        """The first tag that measures this quantity there, or None."""
        found = self.tags_for(measures, of)
        return found[0] if found else None

    @cached_property
    def siphons(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.kind == "siphon")

    @cached_property
    def pumps(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.kind == "pump")

    def pump_into(self, vessel: str | None) -> Line | None:
        """The pump line that supplies a vessel, or None."""
        return next((line for line in self.pumps if line.target == vessel), None)

    def kinds(self, kinds: Iterable[str]) -> tuple[Vessel, ...]:
        wanted = set(kinds)
        return tuple(vessel for vessel in self.vessels if vessel.kind in wanted)
