"""When harm is done in the simulated rig: read off the true state, not off the sensors."""

from dataclasses import dataclass

from monitor.setup import Setup
from monitor.simulator import SimulatedRig

NO_FLOW = 0.1
"""Share of the set flow under which the larvae get no water to speak of."""


@dataclass(frozen=True, slots=True)
class Harm:
    """What happened to larvae or water, and when, s after the fault began."""

    what: str
    at: float


class HarmWatch:
    """Looks at the true rig and keeps the first time of each harm. flow: set flow, m3/s."""

    def __init__(self, setup: Setup, rig: SimulatedRig, flow: float, dph: int | None) -> None:
        self._world, self._flow = rig.world, flow
        self._tanks = [vessel for vessel in setup.rig.vessels if vessel.kind == "larval tank"]
        self._hottest = _hottest(setup, dph)
        self.found: dict[str, Harm] = {}

    def look(self, at: float) -> None:
        """See how it stands so many seconds after the beginning of the fault."""
        water = self._world.water
        for siphon in water.siphons.values():
            if not siphon.primed and at > 0.0:
                self._keep("the siphon breaks", at)
            if siphon.flow_now() < NO_FLOW * self._flow:
                self._keep("no water reaches the larvae", at)
        for basin in water.basins.values():
            if basin.rim is not None and basin.level >= basin.rim - 1e-3:
                self._keep(f"{basin.id} is full to its rim", at)
        for pump in water.pumps.values():
            if pump.source is not None and pump.mouth and pump.source.level <= pump.mouth:
                self._keep("the pump sucks air", at)
        for tank in self._tanks:
            if self._hottest is not None and self._world.temperature(tank) > self._hottest:
                self._keep(f"the water of {tank.id} is over {self._hottest:.1f} C", at)

    def _keep(self, what: str, at: float) -> None:
        self.found.setdefault(what, Harm(what, at))

    @property
    def first(self) -> Harm | None:
        """The earliest harm so far; of several at once the first that was looked for."""
        return min(self.found.values(), key=lambda harm: harm.at, default=None)


def _hottest(setup: Setup, dph: int | None) -> float | None:
    """The highest temperature limit of a larval tank, C; None where there is none."""
    tanks = {vessel.id for vessel in setup.rig.vessels if vessel.kind == "larval tank"}
    values = [
        limit.value.at(dph)
        for limit in setup.limits
        if limit.side == "high"
        and (tag := setup.rig.tag.get(limit.tag)) is not None
        and tag.measures == "temperature"
        and tag.of in tanks
    ]
    return max(values, default=None)
