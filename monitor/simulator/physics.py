"""The simulated rig as a whole: water, heat, power, air and light.

It integrates equations in short steps and shares no code with the logic, so that a drill can
find either of them wrong.
"""

import math

from monitor.errors import RefusedInput
from monitor.rig import Rig, Vessel
from monitor.simulator.climate import Air, Day, Heat, Loads
from monitor.simulator.extras import DAY, DEMO, Extras
from monitor.simulator.water import Basin, Water


class World:
    """The state of the rig, and `advance`, which moves it on.

    settings: siphon id -> flow its valve is set to at the start, m3/s. clock: seconds since local
    midnight at the start. water: temperature at the start, C. step: longest step, s.
    dried, fresh: spilled water mopped up and fresh water added so far, m3.
    """

    def __init__(
        self,
        rig: Rig,
        settings: dict[str, float],
        clock: float = 0.0,
        days: tuple[Day, ...] = (),
        water: float = 26.5,
        step: float = 1.0,
        extras: Extras = DEMO,
    ) -> None:
        if not 0.0 < step <= 1.0:
            raise RefusedInput(f"simulated rig: a step of {step} s; give one above 0, at most 1 s")
        self.extras = extras
        self.elapsed = 0.0
        self.live = dict.fromkeys(rig.circuits, True)
        self.water = Water(rig, extras, settings)
        self.air = Air(days, clock, extras)
        tank = self._larval_tank()
        self.heat = Heat(water, self.water.scale, tank.nominal if tank else None, extras)
        self.tank = tank.id if tank else None
        self.watch_battery = self.air_battery = 1.0
        self.air_pressure = extras.air[0]
        self.light_share = 1.0
        self.timer_lag = 0.0
        self.floor_wet = False
        self.dried = self.fresh = 0.0
        self._clock = clock
        self._step = step
        self._strip = next((line.circuit for line in rig.pumps if line.circuit), None)
        self._system = self.water.nominal_volume(extras)

    def _larval_tank(self) -> Basin | None:
        """The tank that stands alone without its siphon: the target of the first siphon."""
        targets = (siphon.target for siphon in self.water.siphons.values())
        return next((target for target in targets if target is not None), None)

    @property
    def clock(self) -> float:
        """Seconds since local midnight of the first day, without change to summer time."""
        return self._clock + self.elapsed

    def powered(self, circuit: str | None) -> bool:
        """Whether a circuit has mains; one that the rig does not name always has."""
        return circuit is None or self.live.get(circuit, True)

    def advance(self, seconds: float) -> None:
        """Move everything on by so many seconds, in steps no longer than the set one."""
        if seconds <= 0.0:
            return
        count = math.ceil(seconds / self._step - 1e-9)
        dt = seconds / count
        for _ in range(count):
            self._move(dt)

    def _move(self, dt: float) -> None:
        self.elapsed += dt
        self.water.step(dt, self.live)
        extras = self.extras
        self.air.step(self.clock, dt, self.powered(extras.room_circuit))
        if not self.powered(self._strip):
            self.timer_lag += dt
        siphon = 0.0
        for line in self.water.siphons.values():
            siphon += line.flow
        pump = any(line.flow > 0.0 for line in self.water.pumps.values())
        cooling = self.powered(extras.chiller_circuit)
        self.heat.step(dt, self.air.room, Loads(siphon, pump, self.lights, cooling))
        if self.powered(extras.watch_circuit):
            if self.watch_battery < 1.0 or self.air_battery < 1.0:
                charge = dt / extras.charge_time
                self.watch_battery = min(1.0, self.watch_battery + charge)
                self.air_battery = min(1.0, self.air_battery + charge)
        else:
            self.watch_battery = max(0.0, self.watch_battery - dt / extras.watch_battery)
            self.air_battery = max(0.0, self.air_battery - dt / extras.air_battery)
        if self.water.floor - self.dried > extras.wet_floor:
            self.floor_wet = True

    # What stands where now

    @property
    def lights(self) -> float:
        """Share of full light: the timer's own clock stands still without mains on its strip."""
        on, off = self.extras.light_hours
        lit = self.powered(self._strip) and on <= (self.clock - self.timer_lag) % DAY < off
        return self.light_share if lit else 0.0

    @property
    def light(self) -> float:
        """Light at the tank, lx."""
        dark, lit = self.extras.light
        return dark + (lit - dark) * self.lights

    @property
    def volts(self) -> float:
        """Watch battery, V."""
        empty, full, charging = self.extras.volts
        if self.powered(self.extras.watch_circuit):
            return charging
        return empty + (full - empty) * self.watch_battery

    @property
    def manifold(self) -> float:
        """Pressure in the air line, Pa: mains air, else battery air while its battery lasts."""
        if self.powered(self.extras.watch_circuit):
            return self.air_pressure
        return self.extras.air[1] if self.air_battery > 0.0 else 0.0

    @property
    def salinity(self) -> float:
        """g/kg; the salt stays, the volume changes by evaporation and top-up."""
        water = self.water
        lost_fresh = water.evaporated - self.fresh
        return self.extras.salinity * self._system / (self._system - lost_fresh)

    def level(self, vessel: str) -> float:
        """Level above the vessel's floor, m."""
        return self.water.basins[vessel].level

    def above_running(self, vessel: str) -> float:
        """Level above the steady one at the set flow, m."""
        basin = self.water.basins[vessel]
        return basin.level - basin.running

    def has_line(self, line: str) -> bool:
        """Whether a line is a pump, a loop or a siphon."""
        return line in self.water.siphons or line in self.water.pumps

    def flow(self, line: str) -> float:
        """Flow through a pump, loop or siphon at this instant, m3/s."""
        siphon = self.water.siphons.get(line)
        if siphon is not None:
            return siphon.flow_now()
        return self.water.pumps[line].flow_now(self.live)

    def delivered(self, line: str) -> float:
        """What a pump, loop or siphon has delivered since the start, m3."""
        siphon = self.water.siphons.get(line)
        return self.water.pumps[line].delivered if siphon is None else siphon.delivered

    def primed(self, siphon: str) -> bool:
        return self.water.siphons[siphon].primed

    def temperature(self, vessel: Vessel) -> float:
        """Temperature of a vessel's water, of the room's air, or outside, C."""
        if vessel.kind == "room":
            return self.air.room
        if vessel.id in self.water.basins:
            return self.heat.tank if vessel.id == self.tank else self.heat.rest
        return self.air.outside if vessel.kind == "other" else self.heat.rest

    def current(self, circuit: str) -> float:
        """Current of what hangs on a circuit, A."""
        if not self.powered(circuit):
            return 0.0
        if circuit == self.extras.chiller_circuit:
            return self.extras.chiller_current[self.heat.chilling]
        running = sum(
            line.circuit == circuit and line.runs(self.live) for line in self.water.pumps.values()
        )
        return running * self.extras.pump_current
