"""Where the water of the simulated rig is: levels, lines and what goes over each lip.

Explicit steps of at most a second. Every line moves volume from one basin to another, so the
water is conserved to rounding; what leaves or enters the rig stands in the ledger.
"""

import math

from monitor.errors import RefusedInput
from monitor.rig import Line, Rig, Vessel
from monitor.simulator.extras import Extras

SETTLE = 1200
"""Half-second steps that bring the lip layers to rest (their time constants are 20 to 30 s)."""


class Basin:
    """A vessel with water in it.

    level: m above its floor; running: the level it settled at. most_over: what the outlet passes
    at most, m3/s (a blocked screen). inflow: a top-up that stands open, m3/s. change: m3 that
    come in this step.
    """

    __slots__ = ("area", "change", "id", "inflow", "kind", "leak", "level", "lip", "lip_volume",
                 "most_over", "rim", "running", "spill", "weir")  # fmt: skip

    def __init__(self, vessel: Vessel, area: float, extras: Extras) -> None:
        self.id, self.kind, self.area = vessel.id, vessel.kind, area
        self.lip, self.rim = vessel.lip, vessel.rim
        self.lip_volume = vessel.volume
        self.weir = extras.weir * math.pi * extras.lip_bore
        self.spill: Basin | None = None
        self.most_over = math.inf
        self.leak = self.inflow = 0.0
        self.change = 0.0
        self.level = self.running = self._first_level(extras)

    def _first_level(self, extras: Extras) -> float:
        if self.lip is not None:
            return self.lip
        if self.kind == "sump":
            return extras.sump_level if self.rim is None else min(extras.sump_level, 0.6 * self.rim)
        if self.lip_volume is not None:
            return self.lip_volume / self.area
        return 0.9 * self.rim if self.rim is not None else 0.5

    @property
    def volume(self) -> float:
        """Water in it, m3; the stated volume holds at the lip where both are known."""
        if self.lip is not None and self.lip_volume is not None:
            return self.lip_volume + self.area * (self.level - self.lip)
        return self.area * self.level

    @property
    def nominal(self) -> float:
        """Water in it at the lip, or as it was at the start where it has none, m3."""
        if self.lip is None:
            return self.area * self.running
        return self.area * self.lip if self.lip_volume is None else self.lip_volume

    def overflow(self, dt: float) -> float:
        """Flow over the lip, m3/s, with what blocks it; never more than stands above it."""
        assert self.lip is not None
        above = self.level - self.lip
        if above <= 0.0:
            return 0.0
        return min(self.weir * above * math.sqrt(above), self.most_over, above * self.area / dt)


class Pump:
    """A pumped line, or a loop that moves no net water (source and target the same).

    backflow: what runs back through an open check valve while the pump stands still, m3/s.
    """

    __slots__ = ("backflow", "circuit", "delivered", "flow", "full", "id", "mouth", "nominal",
                 "riser", "source", "stopped", "supply", "target")  # fmt: skip

    def __init__(
        self, line: Line, source: Basin | None, target: Basin | None, extras: Extras
    ) -> None:
        self.id, self.circuit = line.id, line.circuit
        self.source, self.target = (None, None) if source is target else (source, target)
        self.nominal = extras.pump_flow if line.pump_flow is None else line.pump_flow
        self.supply = self.nominal
        self.full = extras.riser if self.source is not None else 0.0
        self.riser = self.full
        self.mouth = extras.pump_mouth if source is not None and source.kind == "sump" else 0.0
        self.stopped = False
        self.backflow = 0.0
        self.flow = 0.0
        self.delivered = 0.0

    def runs(self, live: dict[str, bool]) -> bool:
        return not self.stopped and (self.circuit is None or live.get(self.circuit, True))

    def flow_now(self, live: dict[str, bool]) -> float:
        """What it delivers at this instant: nothing while the riser fills."""
        dry = self.source is not None and self.source.level <= self.mouth
        full = self.riser >= self.full * (1.0 - 1e-9)
        return self.supply if self.runs(live) and full and not dry else 0.0


class Siphon:
    """A siphon with a valve. setting: flow the valve gives with the header at its lip, m3/s."""

    __slots__ = ("break_level", "delivered", "drop", "flow", "head", "id", "primed", "setting",
                 "slug_flow", "slug_left", "source", "target")  # fmt: skip

    def __init__(self, line: Line, source: Basin, target: Basin | None, extras: Extras) -> None:
        self.id, self.source, self.target = line.id, source, target
        self.head = extras.siphon_head if line.head is None else line.head
        self.break_level = extras.break_level if line.break_level is None else line.break_level
        lip = source.level if source.lip is None else source.lip
        self.drop = self.head - lip
        self.setting = 0.0
        self.primed = True
        self.slug_flow = self.slug_left = 0.0
        self.flow = 0.0
        self.delivered = 0.0

    def flow_now(self) -> float:
        """Flow at this instant, m3/s: setting times the root of the head, or nothing."""
        if not self.primed:
            return self.slug_flow if self.slug_left > 0.0 else 0.0
        head = self.drop + self.source.level
        return self.setting * math.sqrt(head / self.head) if head > 0.0 else 0.0


class Water:
    """All basins and lines of a rig. `step` moves them on by one short step."""

    def __init__(self, rig: Rig, extras: Extras, settings: dict[str, float]) -> None:
        self.basins = {
            vessel.id: Basin(vessel, area, extras)
            for vessel in rig.vessels
            if vessel.kind not in ("room", "other") and (area := _area(vessel)) is not None
        }
        self.pumps = {
            line.id: Pump(line, self._at(line.source), self._at(line.target), extras)
            for line in rig.lines
            if line.kind in ("pump", "loop")
        }
        self.siphons: dict[str, Siphon] = {}
        for line in rig.siphons:
            source = self._at(line.source)
            if source is None:
                raise RefusedInput(
                    f"rig {rig.id}: siphon {line.id} has no source vessel with an area and a lip; "
                    "give it one, or leave the siphon out"
                )
            self.siphons[line.id] = Siphon(line, source, self._at(line.target), extras)
            self.siphons[line.id].setting = settings.get(line.id, 0.0)
        self._join_overflows(rig, extras)
        self._lips = [basin for basin in self.basins.values() if basin.lip is not None]
        self._open = self._sump() or next(iter(self.basins.values()), None)
        self.scale = self.nominal_volume(extras) / extras.reference_volume
        self.evaporation = 0.0
        self.floor = self.evaporated = self.wasted = self.drawn = self.added = 0.0
        self._settle()
        self.evaporation = extras.evaporation * self.scale

    def _at(self, vessel: str | None) -> Basin | None:
        return None if vessel is None else self.basins.get(vessel)

    def _sump(self) -> Basin | None:
        return next((basin for basin in self.basins.values() if basin.kind == "sump"), None)

    def _join_overflows(self, rig: Rig, extras: Extras) -> None:
        """Each lip spills where its overflow line leads, else into the sump, else to waste."""
        for basin in self.basins.values():
            sump = self._sump()
            basin.spill = sump if sump is not basin else None
        for line in rig.lines:
            source = self._at(line.source)
            if line.kind == "overflow" and source is not None:
                source.spill = self._at(line.target)
                if line.bore is not None:
                    source.weir = extras.weir * math.pi * line.bore

    def nominal_volume(self, extras: Extras) -> float:
        """Water of the rig at its running levels without the lip layers, m3."""
        return extras.pipes + sum(basin.nominal for basin in self.basins.values())

    def _settle(self) -> None:
        """Bring the lips to rest at the set flow, with every other level kept; clear the ledger.

        A header that the pump cannot hold at its lip starts at the lip all the same.
        """
        free = [basin for basin in self.basins.values() if basin.lip is None]
        kept = [(basin, basin.level) for basin in free]
        for _ in range(SETTLE):
            self.step(0.5, {})
            for basin, level in kept:
                basin.level = level
        for basin in self._lips:
            basin.level = max(basin.level, basin.lip or 0.0)
        for basin in self.basins.values():
            basin.running = basin.level
        for siphon in self.siphons.values():
            siphon.primed, siphon.delivered = True, 0.0
        for pump in self.pumps.values():
            pump.delivered = 0.0
        self.floor = self.evaporated = self.wasted = self.drawn = self.added = 0.0

    @property
    def volume(self) -> float:
        """All water in basins and risers, m3."""
        return sum(basin.volume for basin in self.basins.values()) + sum(
            pump.riser for pump in self.pumps.values()
        )

    @property
    def unaccounted(self) -> float:
        """Water now, plus all that left, less all that came: constant if water is conserved."""
        left = self.floor + self.evaporated + self.wasted
        return self.volume + left - self.drawn - self.added

    def step(self, dt: float, live: dict[str, bool]) -> None:
        """Move all water on by dt seconds; live: which circuits have mains."""
        for pump in self.pumps.values():
            self._pump(pump, dt, live)
        for siphon in self.siphons.values():
            self._siphon(siphon, dt)
        for basin in self._lips:
            flow = basin.overflow(dt)
            if flow > 0.0:
                self._move(basin, basin.spill, flow * dt)
        if self._open is not None:
            lost = min(self.evaporation * dt, self._open.level * self._open.area)
            self._open.change -= lost
            self.evaporated += lost
        for basin in self.basins.values():
            self._update(basin, dt)
        for siphon in self.siphons.values():
            if siphon.primed and siphon.source.level <= siphon.break_level:
                siphon.primed = False

    def _move(self, source: Basin | None, target: Basin | None, volume: float) -> None:
        if source is None:
            self.drawn += volume
        else:
            source.change -= volume
        if target is None:
            self.wasted += volume
        else:
            target.change += volume

    def _pump(self, pump: Pump, dt: float, live: dict[str, bool]) -> None:
        pump.flow = 0.0
        if not pump.runs(live):
            if pump.riser > 0.0 and pump.source is not None:
                pump.source.change += pump.riser
                pump.riser = 0.0
            if pump.backflow > 0.0 and pump.target is not None:
                volume = _at_most(pump.backflow * dt, pump.target)
                self._move(pump.target, pump.source, volume)
            return
        if pump.source is not None and pump.source.level <= pump.mouth:
            return
        volume = _at_most(pump.supply * dt, pump.source)
        if pump.riser < pump.full:
            filled = min(volume, pump.full - pump.riser)
            pump.riser += filled
            volume -= filled
            if pump.source is not None:
                pump.source.change -= filled
        pump.flow = volume / dt
        pump.delivered += volume
        if pump.source is not None or pump.target is not None:
            self._move(pump.source, pump.target, volume)

    def _siphon(self, siphon: Siphon, dt: float) -> None:
        volume = _at_most(siphon.flow_now() * dt, siphon.source)
        if siphon.slug_left > 0.0:
            volume *= min(1.0, siphon.slug_left / dt)
            siphon.slug_left -= dt
        siphon.flow = volume / dt
        siphon.delivered += volume
        self._move(siphon.source, siphon.target, volume)

    def _update(self, basin: Basin, dt: float) -> None:
        if basin.inflow > 0.0:
            basin.change += basin.inflow * dt
            self.added += basin.inflow * dt
        if basin.leak > 0.0:
            lost = min(basin.leak * dt, max(0.0, basin.level * basin.area))
            basin.change -= lost
            self.floor += lost
        basin.level += basin.change / basin.area
        basin.change = 0.0
        if basin.rim is not None and basin.level > basin.rim:
            self.floor += (basin.level - basin.rim) * basin.area
            basin.level = basin.rim


def _at_most(volume: float, source: Basin | None) -> float:
    """What a line can take from a basin in one step: no more than is in it."""
    return volume if source is None else min(volume, max(0.0, source.level * source.area))


def _area(vessel: Vessel) -> float | None:
    if vessel.area is not None:
        return vessel.area
    if vessel.volume is not None and vessel.lip:
        return vessel.volume / vessel.lip
    return None
