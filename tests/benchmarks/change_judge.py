"""How often a change is told with nothing wrong, and how soon with something wrong; made-up data.

Run: python tests/benchmarks/change_judge.py [HOURS]      (default 10 h of each kind of quiet)

Four tags of one place, one reading a second. Prints one line for each kind of quiet (false alarms
of so many hours, and how many that were in a run of 30 days for each tag; the budget is one) and
one for each fault (how many of the tries were found, and after how long).
"""

import sys
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from monitor.logic import change
from monitor.logic.blocks import Said
from monitor.rig import Tag
from monitor.units import unit_of

Series = NDArray[np.float64]
Chance = np.random.Generator

TAGS = tuple(
    Tag(name, measures, "L1", unit_of(measures), "made up", every=1.0)
    for name, measures in (("F", "flow"), ("V", "number"), ("T", "temperature"), ("P", "pressure"))
)
LEVEL = np.array([32.0, 1.0, 26.0, 13.0])
NOISE = np.array([0.32, 0.03, 0.05, 0.26])
"""Usual level, and spread of one reading: 1 % of a flow, 3 % of a number, 0.05 C, 2 %."""
TO_SI = np.array([tag.unit.difference_to_si(1.0) for tag in TAGS])
DAY, RUN_HOURS = 86_400, 720.0


def linked(phi: float) -> Callable[[Chance, int], Series]:
    """Readings that hang together: AR(1)."""

    def made(chance: Chance, count: int) -> Series:
        new = chance.standard_normal((count, 4)) * np.sqrt(1.0 - phi * phi)
        new[0] /= np.sqrt(1.0 - phi * phi)
        return np.asarray(lfilter([1.0], [1.0, -phi], new, axis=0) * NOISE)

    return made


white = linked(0.0)


def wandering(seconds: float, share: float) -> Callable[[Chance, int], Series]:
    """Quick noise on a slow wander of this time constant, `share` as large as the noise."""
    slow = linked(float(np.exp(-1.0 / seconds)))
    return lambda chance, count: np.asarray(white(chance, count) + share * slow(chance, count))


def coarse(phi: float) -> Callable[[Chance, int], Series]:
    """Meters with steps: 1 L/min, 0.05, 0.0625 C, 0.5 kPa."""
    steps = np.array([1.0, 0.05, 0.0625, 0.5])

    def made(chance: Chance, count: int) -> Series:
        value = linked(phi)(chance, count) * 0.5 + LEVEL + steps * chance.uniform(0.0, 1.0, 4)
        return np.asarray(np.round(value / steps) * steps - LEVEL)

    return made


def heavy(chance: Chance, count: int) -> Series:
    """Noise with heavy tails: Student, three degrees of freedom."""
    return np.asarray(np.clip(chance.standard_t(3, (count, 4)), -30.0, 30.0) * NOISE / np.sqrt(3.0))


def lopsided(chance: Chance, count: int) -> Series:
    """Noise with one long tail: exponential."""
    return np.asarray((chance.exponential(1.0, (count, 4)) - 1.0) * NOISE)


def spiky(chance: Chance, count: int) -> Series:
    """A spike of 15 spreads in one reading, every ten minutes."""
    spikes = (chance.random((count, 4)) < 1.0 / 600.0) * chance.choice([-1.0, 1.0], (count, 4))
    return np.asarray(white(chance, count) + spikes * 15.0 * NOISE)


def breathing(chance: Chance, count: int) -> Series:
    """Noise that is now large and now small, by a factor of 1.5, over ten minutes."""
    slow = linked(float(np.exp(-1.0 / 600.0)))(chance, count) / NOISE
    return np.asarray(white(chance, count) * np.exp(0.4 * slow))


def daily(chance: Chance, count: int) -> Series:
    """A course of the day: 2 % of the flow, 1.5 C, 3 %."""
    angle = 2.0 * np.pi * np.arange(count)[:, None] / DAY + chance.uniform(0.0, 6.28, 4)
    return np.asarray(white(chance, count) + np.sin(angle) * np.array([0.64, 0.05, 1.5, 0.39]))


def cycling(chance: Chance, count: int) -> Series:
    """An air conditioner that cycles in 14 minutes, a chiller that cycles in 2 hours."""
    at, phase = np.arange(count)[:, None], chance.uniform(0.0, 1.0, 4)

    def saw(period: float) -> Series:
        return np.asarray(np.abs(((at / period + phase) % 1.0) * 4.0 - 2.0) - 1.0)

    quick = saw(840.0) * np.array([0.16, 0.02, 0.3, 0.13])
    return np.asarray(
        white(chance, count) + quick + saw(7200.0) * np.array([0.32, 0.02, 0.1, 0.13])
    )


def bumpy(chance: Chance, count: int) -> Series:
    """Half the noise, and a harmless bump of 6 % (0.8 C) for 90 s every three hours."""
    made = white(chance, count) * 0.5
    for _ in range(count // 10_800):
        at, tag = chance.integers(0, count - 100), chance.integers(0, 4)
        size = 0.03 if tag == 2 else 0.06
        made[at : at + 90, tag] += chance.choice([-1.0, 1.0]) * LEVEL[tag] * size
    return made


QUIET: dict[str, Callable[[Chance, int], Series]] = {
    "white": white,
    **{f"linked {phi}": linked(phi) for phi in (0.3, 0.7, 0.9, 0.95, 0.98, 0.99)},
    "wander 20 s": wandering(20.0, 0.5),
    "wander 60 s": wandering(60.0, 0.5),
    "wander 300 s": wandering(300.0, 0.5),
    "wander 1800 s": wandering(1800.0, 1.0),
    "heavy tails": heavy,
    "lopsided": lopsided,
    "spiky": spiky,
    "breathing": breathing,
    "coarse": coarse(0.0),
    "coarse, linked 0.9": coarse(0.9),
    "coarse, linked 0.98": coarse(0.98),
    "course of the day": daily,
    "cycling": cycling,
    "bumps": bumpy,
}


def told(series: Series, lost: NDArray[np.bool_] | None = None) -> list[float]:
    """Seconds at which a change was told, of readings as differences from LEVEL; lost blocks."""
    count = len(series) // change.READINGS
    blocks = ((series + LEVEL) * TO_SI)[: count * change.READINGS]
    blocks = blocks.reshape(count, change.READINGS, 4)
    steps = np.abs(np.diff(blocks, axis=1))
    steps[steps == 0.0] = np.inf
    least = steps.min(axis=1)
    least[np.isinf(least)] = 0.0
    means, spreads = blocks.mean(axis=1).tolist(), blocks.var(axis=1, ddof=1).tolist()
    learnt, found, changed = change.Learnt(), [], False
    for number, rows in enumerate(zip(means, spreads, least.tolist(), strict=True)):
        if lost is not None and lost[number]:
            continue
        now = float((number + 1) * change.READINGS)
        said = tuple(Said(*item) for item in zip(*rows, strict=True))
        learnt = change.close(TAGS, learnt, (number, said), now)
        if (learnt.changed_at is not None) and not changed:
            found.append(now)
        changed = learnt.changed_at is not None
    return found


def faults(chance: Chance, base: Series, begin: int) -> dict[str, Series]:
    """The same quiet readings with one fault each from second `begin` on."""
    at = np.arange(len(base))
    on = (at >= begin).astype(float)

    def slide(seconds: float) -> Series:
        return np.asarray(np.clip((at - begin) / seconds, 0.0, 1.0))

    def shifted(**courses: Series) -> Series:
        made = base.copy()
        for tag, course in courses.items():
            made[:, "FVTP".index(tag)] += course
        return made

    still, shaking, cavitating = base.copy(), base.copy(), base.copy()
    still[begin:, 0] = base[begin, 0]
    shaking[begin:, 1] *= 3.0
    cavitating[begin:, 0] = base[begin:, 0] * 4.0 - 1.6
    cavitating[begin:, 1] = base[begin:, 1] * 4.0 + 0.05
    return {
        "step, flow 3 %": shifted(F=-0.96 * on),
        "step, number 8 %": shifted(V=0.08 * on),
        "slide, flow 6 % in 300 s": shifted(F=-1.92 * slide(300)),
        "slide, flow 15 % in 120 s": shifted(F=-4.8 * slide(120)),
        "three tags, 2 to 5 % in 60 s": shifted(
            F=-0.64 * slide(60), V=0.05 * slide(60), P=-0.39 * slide(60)
        ),
        "valve closing in 150 s": shifted(
            F=-3.2 * slide(150), V=0.05 * slide(150), P=0.78 * slide(150)
        ),
        "leak, 10 % in 400 s": shifted(P=-1.3 * slide(400)),
        "hot water, 3 C in 300 s": shifted(T=3.0 * slide(300)),
        "oscillation, 4 % in 20 s": shifted(F=1.28 * np.sin(2.0 * np.pi * at / 20.0) * on),
        "three times the scatter": shaking,
        "stuck": still,
        "cavitation": cavitating,
    }


def judge_quiet(hours: float) -> None:
    """False alarms of each kind of quiet, one block in twenty lost."""
    for name, made in QUIET.items():
        chance = np.random.default_rng(31)
        count = int(hours * 3600.0)
        series = made(chance, count)
        alarms = len(told(series, chance.random(count // change.READINGS) < 0.05))
        rate = alarms / (4.0 * hours) * RUN_HOURS
        print(f"quiet   {name:22s} {alarms:3d} in {hours:g} h, {rate:5.1f} a tag in 30 days")


def judge_faults(tries: int) -> None:
    """Delay of each fault, found within 400 s, on four kinds of quiet."""
    delays: dict[str, list[float]] = {}
    for name in ("white", "linked 0.7", "wander 60 s", "coarse"):
        for number in range(tries):
            chance = np.random.default_rng(99 + number)
            base, begin = QUIET[name](chance, 2000), int(1500 + chance.integers(0, 60))
            for fault, series in faults(chance, base, begin).items():
                later = [at - begin for at in told(series[: begin + 400]) if at >= begin]
                delays.setdefault(fault, []).append(later[0] if later else float("inf"))
    for fault, found in delays.items():
        seen = sum(np.isfinite(found))
        print(
            f"fault   {fault:28s} {seen:2d} of {len(found)} found, half of all within "
            f"{np.median(found):.0f} s"
        )


if __name__ == "__main__":
    judge_faults(4)
    judge_quiet(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0)
