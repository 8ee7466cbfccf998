"""The faults that a drill can play: what happens to the simulated rig, and for how long to look."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from monitor.rig import Rig
from monitor.setup import Setup
from monitor.simulator import Action

HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Case:
    """What a fault is on one rig. actions: with times after its beginning, s."""

    actions: tuple[Action, ...]


Begin = Callable[[Setup, float], Case | None]
"""Set-up and flow to the larvae (m3/s) -> the case, None where the rig has no such part."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault by its name in trade words. hours: how long it is looked at, at most."""

    name: str
    what: str
    begin: Begin
    hours: float = 3.0


def _first(rig: Rig, kind: str) -> str | None:
    return next((vessel.id for vessel in rig.vessels if vessel.kind == kind), None)


def _power(setup: Setup, _flow: float) -> Case | None:
    return Case((Action(0.0, "mains off"),)) if setup.rig.circuits else None


def _pump_circuit(setup: Setup, _flow: float) -> Case | None:
    circuits = [pump.circuit for pump in setup.rig.pumps if pump.circuit]
    return Case((Action(0.0, "mains off", circuits[0]),)) if circuits else None


def _on_pump(*actions: Action) -> Begin:
    return lambda setup, _flow: Case(actions) if setup.rig.pumps else None


def _on_siphon(*actions: Action) -> Begin:
    return lambda setup, _flow: Case(actions) if setup.rig.siphons else None


def _valve_to(share: float) -> Begin:
    def begin(setup: Setup, flow: float) -> Case | None:
        return Case((Action(0.0, "valve", value=share * flow),)) if setup.rig.siphons else None

    return begin


def _strainer(setup: Setup, flow: float) -> Case | None:
    """The pump gives half of what the siphon takes."""
    if not setup.rig.pumps or not setup.rig.siphons:
        return None
    return Case((Action(0.0, "supply", value=0.5 * flow),))


def _vessel(kind: str, do: str, value: float) -> Begin:
    def begin(setup: Setup, _flow: float) -> Case | None:
        vessel = _first(setup.rig, kind)
        return Case((Action(0.0, do, vessel, value),)) if vessel is not None else None

    return begin


def _always(*actions: Action) -> Begin:
    return lambda _setup, _flow: Case(actions)


def _sensor(measures: str, kinds: tuple[str, ...], do: str) -> Begin:
    def begin(setup: Setup, _flow: float) -> Case | None:
        places = {vessel.id: vessel.kind for vessel in setup.rig.vessels}
        places |= {line.id: line.kind for line in setup.rig.lines}
        for tag in setup.rig.tags:
            if tag.measures == measures and places.get(tag.of) in kinds:
                return Case((Action(0.0, do, tag.id),))
        return None

    return begin


LEAK = 30e-3 / HOUR
"""A leak of 30 L an hour, m3/s: a cracked union (assumed)."""
HOT = 34.0
"""Air of a room whose cooling has failed on a hot day, C (assumed)."""

FAULTS: dict[str, Fault] = {
    fault.name: fault
    for fault in (
        Fault("power cut", "mains off on every circuit", _power),
        Fault("pump breaker trips", "mains off on the pump's circuit only", _pump_circuit),
        Fault(
            "pump stops",
            "the pump stands still with the mains on",
            _on_pump(Action(0.0, "pump stop")),
        ),
        Fault(
            "siphon air-locks",
            "the siphon loses its prime, all else runs",
            _on_siphon(Action(0.0, "air lock")),
        ),
        Fault("valve creeps shut", "the siphon valve gives half the flow", _valve_to(0.5)),
        Fault(
            "valve too far open",
            "the siphon valve gives one and a half times the flow",
            _valve_to(1.5),
            6.0,
        ),
        Fault("strainer clogs", "the pump gives half of what the siphon takes", _strainer),
        Fault(
            "outlet screen blocks",
            "nothing leaves the larval tank",
            _vessel("larval tank", "outlet", 0.0),
        ),
        Fault(
            "header overflow blocks",
            "nothing leaves over the header lip",
            _vessel("header", "outlet", 0.0),
        ),
        Fault("sump leaks", "30 L an hour run out of the sump", _vessel("sump", "leak", LEAK), 6.0),
        Fault(
            "room cooling fails",
            "the room goes to 34 C within an hour",
            _always(Action(0.0, "room", "", HOT, 0.5 * HOUR)),
            8.0,
        ),
        Fault(
            "heater sticks",
            "the heater heats without a stop",
            _always(Action(0.0, "heater stuck", value=1.0)),
            8.0,
        ),
        Fault(
            "air pump fails",
            "no pressure in the air line",
            _always(Action(0.0, "mains air", value=0.0)),
        ),
        Fault(
            "flow sensor sticks",
            "the larvae's flow sensor repeats its last value",
            _sensor("flow", ("siphon", "loop"), "sensor stuck"),
        ),
        Fault(
            "header level sticks",
            "the header level sensor repeats its last value",
            _sensor("level", ("header",), "sensor stuck"),
        ),
        Fault(
            "thermometer is silent",
            "the thermometer of the larvae says nothing",
            _sensor("temperature", ("larval tank",), "sensor silent"),
        ),
    )
}
"""Every fault by its name, the worst first."""


def faults_of(setup: Setup, flow: float) -> Iterator[tuple[Fault, Case]]:
    """The faults that this rig can have."""
    for fault in FAULTS.values():
        case = fault.begin(setup, flow)
        if case is not None:
            yield fault, case
