"""Temperatures of the simulated rig: room and outside air, larval tank, the rest of the water.

While the siphon runs, the whole system warms and cools as one body. Without it the larval tank
and the rest stand apart, each with its own loss to the room.
"""

import math
from dataclasses import dataclass

from monitor.simulator.extras import DAY, Extras

RATED_ROOM = 27.0
"""Room temperature at which the chiller's power is stated, C."""


@dataclass(frozen=True, slots=True)
class Day:
    """Air of one day, C: room and outside, each at its coolest and at its peak of 16:30."""

    room: float = 27.0
    room_peak: float = 27.5
    outside: float = 12.0
    outside_peak: float = 24.0


ORDINARY = Day()
"""A day without weather."""


class Air:
    """Room and outside air. `clock` is seconds since local midnight of the first day.

    The profile runs on elapsed time, so a change to or from summer time does not shift it.
    """

    __slots__ = ("_above", "_days", "_extras", "_target", "_time", "outside", "room")

    def __init__(self, days: tuple[Day, ...], clock: float, extras: Extras) -> None:
        self._days = days or (ORDINARY,)
        self._extras = extras
        self._above = 0.0
        self._target: float | None = None
        self._time = 0.0
        self.room, self.outside = self._profile(clock)

    def treat(self, target: float | None, time: float) -> None:
        """Somebody cools or heats the room towards `target` (None: back to its own course)."""
        self._target, self._time = target, time

    def step(self, clock: float, dt: float, powered: bool) -> None:
        """Move the air on; without power the room drifts towards the outside."""
        base, self.outside = self._profile(clock)
        extras = self._extras
        if self._target is not None:
            self.room += (self._target - self.room) * _share(dt, self._time)
        elif powered:
            self._above -= self._above * _share(dt, extras.return_time)
            self.room = base + self._above
            return
        else:
            target = self.outside + extras.unpowered_above_outside
            self.room += (target - self.room) * _share(dt, extras.unpowered_time)
        self._above = self.room - base

    def _day(self, number: int) -> Day:
        return self._days[min(number, len(self._days) - 1)]

    def _profile(self, clock: float) -> tuple[float, float]:
        number, second = divmod(clock, DAY)
        day, after = self._day(int(number)), self._day(int(number) + 1)
        rise, peak, fall = self._extras.ramp
        if second < rise:
            return day.room, day.outside
        if second < peak:
            up = (second - rise) / (peak - rise)
            return (
                day.room + up * (day.room_peak - day.room),
                day.outside + up * (day.outside_peak - day.outside),
            )
        down = min(1.0, (second - peak) / (fall - peak))
        return (
            day.room_peak + down * (after.room - day.room_peak),
            day.outside_peak + down * (after.outside - day.outside_peak),
        )


@dataclass(frozen=True, slots=True)
class Loads:
    """What gives heat to the water or may take it, at this instant.

    siphon: m3/s into the larval tank, 0.0 when it stands alone. lights: share of full light.
    cooling: the chiller's circuit is live (its thermostat decides); it feeds the heater too.
    """

    siphon: float
    pump: bool
    lights: float
    cooling: bool


class Heat:
    """Water temperatures, C. A rig without a larval tank or a siphon is one body.

    tank_volume and volume: m3; None for a rig without a larval tank.
    """

    __slots__ = ("_alone", "_extras", "_gap_scale", "_scale", "_tank_scale", "chilling",
                 "heater_stuck", "heating", "rest", "tank")  # fmt: skip

    def __init__(
        self, start: float, scale: float, tank_volume: float | None, extras: Extras
    ) -> None:
        self.tank = self.rest = start
        self.chilling = self.heating = self.heater_stuck = False
        self._extras = extras
        self._scale = scale
        self._tank_scale = (tank_volume or 0.0) / extras.tank_volume
        self._alone = 0.0 < self._tank_capacity < self._capacity
        self._gap_scale = 0.0
        if self._alone:
            rest = self._capacity - self._tank_capacity
            self._gap_scale = 1.0 / self._tank_capacity + 1.0 / rest

    @property
    def _capacity(self) -> float:
        return self._extras.heat_capacity * self._scale

    @property
    def _tank_capacity(self) -> float:
        return self._extras.tank_capacity * self._tank_scale

    def step(self, dt: float, room: float, loads: Loads) -> None:
        """Move both temperatures on by dt seconds."""
        self._thermostats(loads.cooling)
        extras = self._extras
        light = extras.light_heat * loads.lights
        plant = (extras.pump_heat if loads.pump else 0.0) + self._chiller(room)
        plant += extras.heater_power if self.heating else 0.0
        if not self._alone or loads.siphon > 0.0:
            self._together(dt, room, plant + light, loads.siphon)
        else:
            self._apart(dt, room, plant, light)

    def _together(self, dt: float, room: float, gain: float, siphon: float) -> None:
        extras, share = self._extras, 0.0
        if self._alone:
            share = self._tank_capacity / self._capacity
        mean = share * self.tank + (1.0 - share) * self.rest
        power = gain + self._scale * (extras.heat_loss * (room - mean) - extras.evaporation_heat)
        change = power / self._capacity * dt
        gap = self.tank - self.rest
        gap *= math.exp(-extras.volumetric_heat * siphon * self._gap_scale * dt)
        mean += change
        self.tank = mean + (1.0 - share) * gap
        self.rest = mean - share * gap

    def _apart(self, dt: float, room: float, plant: float, light: float) -> None:
        extras = self._extras
        tank_loss = extras.tank_loss * self._tank_scale
        tank_air = extras.tank_evaporation_heat * self._tank_scale
        rest_loss = max(0.0, extras.heat_loss * self._scale - tank_loss)
        rest_air = max(0.0, extras.evaporation_heat * self._scale - tank_air)
        tank = light + tank_loss * (room - self.tank) - tank_air
        rest = plant + rest_loss * (room - self.rest) - rest_air
        self.tank += tank / self._tank_capacity * dt
        self.rest += rest / (self._capacity - self._tank_capacity) * dt

    def _thermostats(self, powered: bool) -> None:
        extras = self._extras
        if self.rest >= extras.chiller_on:
            self.chilling = True
        elif self.rest <= extras.chiller_off:
            self.chilling = False
        if self.rest <= extras.heater_on:
            self.heating = True
        elif self.rest >= extras.heater_off:
            self.heating = False
        self.chilling = self.chilling and powered
        self.heating = (self.heating or self.heater_stuck) and powered

    def _chiller(self, room: float) -> float:
        """Heat the chiller adds, W (negative: it takes it)."""
        if not self.chilling:
            return 0.0
        extras = self._extras
        weaker = max(0.0, 1.0 - extras.chiller_loss * (room - RATED_ROOM))
        return -extras.chiller_power * weaker


def _share(dt: float, time: float) -> float:
    """Part of a difference that goes in dt under a time constant; all of it without one."""
    return 1.0 - math.exp(-dt / time) if time > 0.0 else 1.0
