"""What happens to the simulated rig from outside: power, faults, and what hands do to it.

`VERBS` is the whole vocabulary. An empty `what` means every circuit, or the first part of its
kind; an empty `value` means back to normal where that makes sense.
"""

import math
from collections.abc import Callable, Mapping
from typing import TypeVar

from monitor.errors import RefusedInput
from monitor.simulator.physics import World
from monitor.simulator.story import Action
from monitor.simulator.water import Basin, Siphon

Part = TypeVar("Part")


def act(world: World, action: Action) -> None:
    """Carry out one action; RefusedInput says what is wrong with it, and nothing has changed."""
    verb = VERBS.get(action.do)
    if verb is None:
        raise RefusedInput(f"unknown action {action.do!r}; there are: {', '.join(sorted(VERBS))}")
    verb(world, action)


def _find(parts: Mapping[str, Part], action: Action, kind: str) -> Part:
    """The named part, or the first of its kind when none is named."""
    if not action.what and parts:
        return next(iter(parts.values()))
    if action.what not in parts:
        known = ", ".join(parts) or "none"
        raise RefusedInput(
            f"{action.do}: no {kind} {action.what!r} in this rig; there are: {known}"
        )
    return parts[action.what]


def _amount(action: Action, default: float | None = None, least: float = 0.0) -> float:
    """The value of an action, checked; its default when it has none."""
    value = action.value
    if value is None and default is not None:
        return default
    if value is None or not math.isfinite(value) or value < least:
        raise RefusedInput(
            f"{action.do}: value {value} will not do; give a number of at least {least}, in SI"
        )
    return value


def _mains(on: bool) -> Callable[[World, Action], None]:
    def switch(world: World, action: Action) -> None:
        if action.what:
            _find(world.live, action, "circuit")
        for circuit in (action.what,) if action.what else tuple(world.live):
            world.live[circuit] = on

    return switch


def _pump_stop(world: World, action: Action) -> None:
    _find(world.water.pumps, action, "pump").stopped = True


def _pump_start(world: World, action: Action) -> None:
    _find(world.water.pumps, action, "pump").stopped = False


def _supply(world: World, action: Action) -> None:
    pump = _find(world.water.pumps, action, "pump")
    pump.supply = _amount(action, pump.nominal)


def _siphon(world: World, action: Action) -> Siphon:
    return _find(world.water.siphons, action, "siphon")


def _valve(world: World, action: Action) -> None:
    _siphon(world, action).setting = _amount(action)


def _prime(world: World, action: Action) -> None:
    """The siphon runs again, at the valve setting it has or at the one given."""
    siphon = _siphon(world, action)
    siphon.setting = _amount(action, siphon.setting)
    siphon.primed, siphon.slug_left = True, 0.0


def _failed_priming(world: World, action: Action) -> None:
    """A little water for a while, then air at the crest again."""
    siphon = _siphon(world, action)
    siphon.slug_flow, siphon.slug_left = _amount(action), action.seconds
    siphon.primed = False


def _air_lock(world: World, action: Action) -> None:
    siphon = _siphon(world, action)
    siphon.primed, siphon.slug_left = False, 0.0


def _outlet(world: World, action: Action) -> None:
    """The screen passes at most the value (0 = wholly blocked); unnamed: of the larval tank."""
    if not action.what and world.tank is not None:
        basin = world.water.basins[world.tank]
    else:
        basin = _find(world.water.basins, action, "vessel")
    basin.most_over = _amount(action, math.inf)


def _leak(world: World, action: Action) -> None:
    _find(world.water.basins, action, "vessel").leak = _amount(action, 0.0)


def _inflow(world: World, action: Action) -> None:
    basins = world.water.basins
    sumps: dict[str, Basin] = {name: item for name, item in basins.items() if item.kind == "sump"}
    _find(basins if action.what or not sumps else sumps, action, "vessel").inflow = _amount(
        action, 0.0
    )


def _backflow(world: World, action: Action) -> None:
    _find(world.water.pumps, action, "pump").backflow = _amount(action, 0.0)


def _pour(world: World, action: Action) -> float:
    """Add water to a vessel (unnamed: the sump); below zero, take it out. Returns the volume."""
    basins = world.water.basins
    sumps: dict[str, Basin] = {name: item for name, item in basins.items() if item.kind == "sump"}
    basin = _find(basins if action.what or not sumps else sumps, action, "vessel")
    volume = max(_amount(action, least=-math.inf), -basin.level * basin.area)
    basin.level += volume / basin.area
    world.water.added += volume
    return volume


def _add_water(world: World, action: Action) -> None:
    _pour(world, action)


def _add_fresh_water(world: World, action: Action) -> None:
    world.fresh += _pour(world, action)


def _mains_air(world: World, action: Action) -> None:
    world.air_pressure = _amount(action, world.extras.air[0])


def _light_timer(world: World, action: Action) -> None:
    world.timer_lag = _amount(action, 0.0, least=-math.inf)


def _lights(world: World, action: Action) -> None:
    world.light_share = _amount(action, 1.0)


def _heater_stuck(world: World, action: Action) -> None:
    world.heat.heater_stuck = _amount(action, 0.0) > 0.0


def _room(world: World, action: Action) -> None:
    target = None if action.value is None else _amount(action, least=-math.inf)
    world.air.treat(target, action.seconds)


def _dry_floor(world: World, action: Action) -> None:
    world.floor_wet, world.dried = False, world.water.floor


VERBS: dict[str, Callable[[World, Action], None]] = {
    "mains off": _mains(False),
    "mains on": _mains(True),
    "pump stop": _pump_stop,
    "pump start": _pump_start,
    "supply": _supply,
    "valve": _valve,
    "prime": _prime,
    "failed priming": _failed_priming,
    "air lock": _air_lock,
    "outlet": _outlet,
    "leak": _leak,
    "inflow": _inflow,
    "backflow": _backflow,
    "add water": _add_water,
    "add fresh water": _add_fresh_water,
    "mains air": _mains_air,
    "light timer": _light_timer,
    "lights": _lights,
    "heater stuck": _heater_stuck,
    "room": _room,
    "dry floor": _dry_floor,
}
"""Every action on the rig. Values: flows m3/s, volumes m3, pressure Pa, temperature C, light as a
share, timer lag s; `seconds` is the length of a failed priming and a time constant of the room."""
