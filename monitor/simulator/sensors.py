"""The sensors of the simulated rig: what each tag reports, with noise, steps, offset and faults.

A sensor delivers in the unit of its tag and before the tag's calibration, as a real source would:
the calibration in force makes the true value of it, but for the sensor's own offset. Every tag
draws from a random stream of its own, so its readings do not depend on which other tags exist.
"""

import math
import random
from collections import deque
from dataclasses import dataclass

from monitor.errors import RefusedInput
from monitor.rig import Rig, Tag
from monitor.simulator.extras import HOUR
from monitor.simulator.physics import World
from monitor.simulator.probes import Truth, truth_of
from monitor.simulator.story import Action
from monitor.units import L_PER_MIN, LITRE, STATES


@dataclass(frozen=True, slots=True)
class Character:
    """How a sensor differs from the truth, SI.

    noise: standard deviation. share: noise as a share of the value. quantum: smallest step, used
    where the tag names none (of a turbine one pulse in the interval). offset: fixed for the run.
    stray, stray_share: size of a lone wild sample of either sign, absolute or as a share of the
    value, once in stray_every seconds on the mean. dead_below: a turbine stands still below this.
    """

    noise: float = 0.0
    share: float = 0.0
    quantum: float = 0.0
    offset: float = 0.0
    stray: float = 0.0
    stray_share: float = 0.0
    stray_every: float = math.inf
    dead_below: float = 0.0


PULSE = LITRE / 450.0
"""Water for one pulse of a flow turbine, m3 (rig sheet: 450 pulses a litre)."""
STILL_BELOW = 0.5 * L_PER_MIN
"""A turbine reads 0 below this (sheet)."""
START_UP = 85.0
"""What a digital thermometer says after a wire fault (C), where the tag names no such value."""

CHARACTERS: dict[tuple[str, str], Character] = {
    ("level", "header"): Character(noise=1e-3, quantum=1e-3),
    ("level", "larval tank"): Character(noise=1e-3, quantum=0.5e-3),
    ("level", "sump"): Character(noise=2e-3, quantum=1e-3, stray=20e-3, stray_every=10_000.0),
    ("level", ""): Character(noise=1e-3, quantum=1e-3),
    ("temperature", "larval tank"): Character(noise=0.02, quantum=0.0625, offset=0.05),
    ("temperature", "sump"): Character(noise=0.02, quantum=0.0625, offset=-0.04),
    ("temperature", "room"): Character(noise=0.05, quantum=0.1),
    ("temperature", "other"): Character(noise=0.1, quantum=0.1),
    ("temperature", ""): Character(noise=0.02, quantum=0.0625),
    ("flow", "pump"): Character(noise=0.09 * L_PER_MIN, dead_below=STILL_BELOW),
    ("flow", "siphon"): Character(
        noise=0.08 * L_PER_MIN, dead_below=STILL_BELOW, stray_share=0.5, stray_every=6.0 * HOUR
    ),  # a bubble
    ("flow", ""): Character(noise=0.08 * L_PER_MIN, dead_below=STILL_BELOW),
    ("pressure", ""): Character(noise=150.0, quantum=100.0),
    ("current", ""): Character(noise=0.02, quantum=0.01),
    ("voltage", ""): Character(noise=0.02, quantum=0.01),
    ("light", ""): Character(share=0.02, quantum=1.0),
    ("salinity", ""): Character(noise=0.05, quantum=0.1),  # assumed
    ("share", ""): Character(quantum=0.01),  # assumed
}
"""By quantity and kind of vessel or line ("" = any other): the sensor table of the demo rig."""

NEVER_NEGATIVE = frozenset({"flow", "current", "light", "share", "salinity", "pressure"})


class Sensor:
    """One tag. `sample` gives what it delivers now: (value or None, problem), or None for silence.

    A switch on a cut wire reads 0, as one that is wired normally closed does.
    """

    def __init__(
        self, tag: Tag, truth: Truth, character: Character, seed: str, noise: float
    ) -> None:
        self.tag = tag
        self._truth = truth
        self._character = character
        self._random = random.Random(seed)
        self._sd = character.noise * noise
        self._share = character.share * noise
        self._quantum = self._step(tag, character)
        self._chance = tag.every / character.stray_every if noise > 0.0 else 0.0
        self._last: float | None = None
        self._clear()

    def _clear(self) -> None:
        self._wild: deque[tuple[float, bool]] = deque()
        self._silent = self._cut = self._stuck = False
        self._gain, self._drift, self._since = 1.0, 0.0, 0.0

    @staticmethod
    def _step(tag: Tag, character: Character) -> float:
        """Smallest step as delivered; of a turbine, one pulse in its interval."""
        if tag.quantum is not None:
            return tag.quantum
        step = PULSE / tag.every if tag.measures == "flow" else character.quantum
        return abs(step / tag.unit.scale / tag.gain)

    def sample(self, at: float) -> tuple[float | None, str] | None:
        """What it delivers at `at` seconds of the story."""
        value = self._measure(at)
        if self._silent:
            return None
        if self._cut:
            return (0.0, "") if self.tag.measures in STATES else (None, "no answer")
        if self._stuck and self._last is not None:
            value = self._last
        if self._wild:
            wild, added = self._wild.popleft()
            return (round(value + wild, 6) if added else wild), ""
        self._last = value
        return value, ""

    def _measure(self, at: float) -> float:
        true = self._truth()
        if self.tag.measures in STATES:
            return true
        noisy = self._noisy(true)
        tag = self.tag
        delivered = (tag.unit.from_si(noisy) - tag.zero) / tag.gain * self._gain
        if self._drift:
            delivered += self._drift * (at - self._since) / HOUR
        if self._quantum > 0.0:
            delivered = round(delivered / self._quantum) * self._quantum
        return round(delivered, 6)

    def _noisy(self, true: float) -> float:
        character, draw = self._character, self._random
        sd = self._sd + self._share * true
        noise = draw.gauss(0.0, sd) if sd > 0.0 else 0.0
        stray = 0.0
        if self._chance > 0.0 and draw.random() < self._chance:
            size = character.stray + character.stray_share * true
            stray = draw.choice((-size, size))
        if 0.0 <= true < character.dead_below:
            return 0.0
        value = true + character.offset + noise + stray
        return max(0.0, value) if self.tag.measures in NEVER_NEGATIVE else value

    def fault(self, action: Action, at: float) -> None:
        """Begin or end a fault; RefusedInput if there is no such fault or it lacks a value."""
        match action.do:
            case "sensor silent":
                self._silent = True
            case "sensor cut":
                self._cut = True
            case "sensor stuck":
                self._stuck = True
            case "sensor drift":
                self._drift, self._since = _number(action), at
            case "sensor gain":
                self._gain = _number(action)
            case "sensor reads":
                self._wild.append((_number(action), False))
            case "sensor spike":
                self._wild.append((_number(action), True))
            case "sensor start-up":
                says = (*self.tag.start_up_values, START_UP)[0]
                self._wild.append((says, False))
            case "sensor well":
                self._clear()
            case _:
                raise RefusedInput(
                    f"unknown sensor fault {action.do!r}; there are: {', '.join(sorted(FAULTS))}"
                )


def _number(action: Action) -> float:
    value = action.value
    if value is None or not math.isfinite(value):
        raise RefusedInput(f"{action.do} of {action.what}: needs a number, not {value}")
    return value


FAULTS = {
    "sensor silent": "nothing arrives",
    "sensor cut": "arrives without a value; a switch reads 0",
    "sensor stuck": "repeats its last value",
    "sensor drift": "moves by the value an hour",
    "sensor gain": "reads the value times what it should",
    "sensor reads": "one sample says the value",
    "sensor spike": "one sample is off by the value",
    "sensor start-up": "one sample says its start-up value",
    "sensor well": "ends every fault",
}
"""Every fault of a sensor; values as the tag delivers them."""


def build(tag: Tag, rig: Rig, world: World, seed: int, noise: float) -> Sensor | None:
    """The sensor of a tag, or None for what the simulated rig cannot show."""
    if tag.gain == 0.0:
        raise RefusedInput(f"tag {tag.id}: a calibration gain of 0 has no raw value; correct it")
    truth = truth_of(tag, rig, world)
    if truth is None:
        return None
    part = rig.vessel.get(tag.of) or rig.line.get(tag.of)
    plain = CHARACTERS.get((tag.measures, ""), Character())
    character = CHARACTERS.get((tag.measures, part.kind), plain) if part is not None else plain
    return Sensor(tag, truth, character, f"{seed}/{tag.id}", noise)
