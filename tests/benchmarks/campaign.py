"""Faults on random rigs: what is found, named and called, and how soon against the least possible.

Run: python tests/benchmarks/campaign.py --rigs 50 --seed 1 [--quiet-days 100] [--only "leak"]

Every rig has the demo rig's parts with each measure off by up to 10 %, noise from 0.7 to 1.4 of
the demo's, sensors that report every 1 to 30 s, and three to twenty tags; its level limits stand
as far from its own lips as on the demo rig. A fault is *found* when a condition that fits it comes
true in the journal, *named right* when the condition or its evidence names the cause. Time is from
the fault to that row, less the delay of the condition. The least possible: the noise of every
sensor is known and white, so the log likelihood ratio of what it would read with and without the
fault sums up (CUSUM; Page, Biometrika 41, 1954); at THRESHOLD the best judge there is would tell.
"""

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from math import inf
from pathlib import Path
from statistics import median

from monitor.config import load
from monitor.effects import JournalRow, Text
from monitor.inputs import Answer, Moment, Reading
from monitor.logic.plan import plan_of
from monitor.logic.sight import sights
from monitor.logic.state import fresh
from monitor.logic.step import resume, step
from monitor.rig import Line, Rig, Tag, Vessel
from monitor.setup import Limit, Profile, Setup
from monitor.simulator import SimulatedRig, Story
from monitor.simulator.extras import DEMO, Extras
from monitor.simulator.sensors import CHARACTERS, Character
from monitor.simulator.story import Action, Say
from monitor.units import L_PER_MIN, LITRE, STATES

CONFIG = Path(__file__).parents[2] / "sample_config" / "ostrel-hill"
AT = 1500.0
"""Seconds of quiet before the fault: the watch has been up for a while."""
THRESHOLD = 10.0
"""Log likelihood ratio at which the best judge tells: one false alarm in e^10 looks, about a day
of readings each 5 s."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A fault: what is done, for how long it is watched, which sights promise it (any of them),
    which conditions find it, and which words in condition or evidence name its cause."""

    name: str
    do: Callable[["Case"], list[Action]]
    seconds: float
    sights: tuple[str, ...]
    finds: tuple[str, ...]
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Case:
    """One random rig with its story's constants. flow: set flow, pump: what the pump gives."""

    setup: Setup
    extras: Extras
    flow: float
    pump: float
    noise: float
    seed: int


def act(verb: str, what: str = "", value: float | None = None, at: float = AT) -> Action:
    """An action at the moment of the fault."""
    return Action(at, verb, what, value)


def has(case: Case, tag: str) -> bool:
    """Whether the rig has this tag."""
    return tag in case.setup.rig.tag


def sensor(tag: str, verb: str, value: float | None = None) -> Callable[[Case], list[Action]]:
    """A fault of one sensor, on rigs that have it."""
    return lambda case: [act(verb, tag, value)] if has(case, tag) else []


def one(verb: str, what: str = "", value: float | None = None) -> Callable[[Case], list[Action]]:
    """One action, the same on every rig."""
    return lambda case: [act(verb, what, value)]


def frozen_meter(case: Case) -> list[Action]:
    """The meter hangs at its last value, and then the prime is lost."""
    if not has(case, "QL"):
        return []
    return [act("sensor stuck", "QL", at=AT - 60.0), act("air lock")]


LOST = ("supply lost", "mains lost", "header low")
STOPPED = ("no flow", "siphon broken", "flow doubtful", "flow far too low")
FLOW = (*STOPPED, "flow low")
SHORT = ("header sinking", "supply low", "header low", "supply lost")

KINDS = (
    Kind("mains off", one("mains off"), 1500, ("supply lost", "mains lost"), LOST, ("mains",)),
    Kind("pump circuit off", one("mains off", "B1"), 1500, ("supply lost",), LOST, ("mains",)),
    Kind("pump stops", one("pump stop"), 1500, ("pump stopped",), LOST, ("supply lost",)),
    Kind(
        "siphon loses its prime",
        one("air lock"),
        1500,
        ("flow stopped with power on",),
        STOPPED,
        STOPPED,
    ),
    Kind(
        "valve shut",
        lambda c: [act("valve", value=0.0)],
        1500,
        ("flow stopped with power on",),
        STOPPED,
        STOPPED,
    ),
    Kind(
        "valve half shut",
        lambda c: [act("valve", value=0.45 * c.flow)],
        1800,
        ("flow low or creeping",),
        FLOW,
        ("flow low", "flow far too low"),
    ),
    Kind(
        "valve open too far",
        lambda c: [act("valve", value=1.25 * c.pump)],
        3600,
        ("flow too high",),
        ("flow high", *SHORT),
        ("flow high", "valve open"),
    ),
    Kind(
        "strainer",
        lambda c: [act("supply", value=0.6 * c.flow)],
        3600,
        ("supply short",),
        SHORT,
        ("strainer", "supply low"),
    ),
    Kind(
        "screen blocked",
        one("outlet", "", 0.0),
        1200,
        ("outlet screen blocked",),
        ("outlet blocked", "sump falling", "tank high", "sump low", "floor wet"),
        ("screen", "outlet"),
    ),
    Kind(
        "screen half blocked",
        lambda c: [act("outlet", value=0.6 * c.flow)],
        2400,
        ("outlet screen blocked",),
        ("outlet blocked", "sump falling", "tank high", "sump low"),
        ("screen", "outlet"),
    ),
    Kind(
        "header overflow blocked",
        one("outlet", "HD1", 0.0),
        1500,
        ("header overflow blocked",),
        ("overflow blocked", "header high", "floor wet"),
        ("overflow", "floor"),
    ),
    Kind(
        "sump leaks 60 L/h",
        one("leak", "SU1", 60 * LITRE / 3600),
        2400,
        ("leak",),
        ("leak", "sump falling", "sump low", "floor wet"),
        ("leak", "floor"),
    ),
    Kind(
        "sump leaks 15 L/h",
        one("leak", "SU1", 15 * LITRE / 3600),
        5400,
        ("leak",),
        ("leak", "sump falling", "sump low", "floor wet"),
        ("leak", "floor"),
    ),
    Kind(
        "sump leaks 2 L/h",
        one("leak", "SU1", 2 * LITRE / 3600),
        14400,
        ("leak",),
        ("leak", "sump falling", "sump low", "floor wet"),
        ("leak", "floor"),
    ),
    Kind(
        "larval tank leaks",
        one("leak", "LT1", 120 * LITRE / 3600),
        2400,
        ("leak",),
        ("leak", "sump falling", "sump low", "floor wet", "tank low"),
        ("leak", "floor"),
    ),
    Kind(
        "top-up open",
        one("inflow", "", 40 * LITRE / 3600),
        3600,
        ("sump filling",),
        ("sump filling", "sump high"),
        ("sump filling", "sump high"),
    ),
    Kind(
        "check valve open in an outage",
        lambda c: [act("backflow", "", 6 * L_PER_MIN), act("mains off")],
        900,
        ("header drains back",),
        ("header drains back",),
        ("check valve",),
    ),
    Kind(
        "flow meter dead",
        sensor("QL", "sensor gain", 0.0),
        1500,
        ("flow meter dead",),
        ("meter doubtful",),
        ("meter",),
    ),
    Kind(
        "supply meter dead",
        sensor("QS", "sensor gain", 0.0),
        1800,
        ("supply meter dead",),
        ("meter doubtful", "supply low"),
        ("meter",),
    ),
    Kind(
        "flow meter hangs, siphon breaks",
        frozen_meter,
        1500,
        ("flow stop hidden",),
        ("flow doubtful", "meter doubtful"),
        ("flow doubtful",),
    ),
    Kind(
        "air pump fails",
        one("mains air", "", 0.0),
        900,
        ("air pump failing",),
        ("air low",),
        ("air low",),
    ),
    Kind(
        "air stone clogs",
        one("mains air", "", 20e3),
        1500,
        ("air stone clogged",),
        ("air high",),
        ("air high",),
    ),
    Kind(
        "thermometer lost",
        sensor("TW1", "sensor cut"),
        900,
        ("water too warm or cold",),
        ("sensor faulty",),
        ("sensor faulty",),
    ),
    Kind(
        "header gauge silent",
        sensor("LH", "sensor silent"),
        900,
        ("header low",),
        ("sensor silent",),
        ("sensor silent",),
    ),
    Kind(
        "outage breaks the siphon",
        one("mains off"),
        3600,
        ("siphon broken after an outage",),
        ("siphon broken",),
        ("siphon broken",),
    ),
)


# Random rigs


def off(draw: random.Random, value: float | None, by: float = 0.10) -> float | None:
    """A measure off by up to a share."""
    return None if value is None else value * draw.uniform(1.0 - by, 1.0 + by)


def random_case(base: Setup, seed: int) -> Case:
    """A rig like the demo rig with other measures, sensors and tags."""
    draw = random.Random(seed)
    vessels = tuple(_vessel(draw, vessel) for vessel in base.rig.vessels)
    by_id = {vessel.id: vessel for vessel in vessels}
    lines = tuple(_line(draw, line) for line in base.rig.lines)
    flow = 6.0 * L_PER_MIN * draw.uniform(0.85, 1.1)
    tags = tuple(_tag(draw, tag) for tag in base.rig.tags)
    count = draw.randint(3, 20)
    kept = set(draw.sample([tag.id for tag in tags], min(count, len(tags))))
    kept |= {draw.choice(("MP", "LHf", "LH", "QL", "QS"))}
    tags = tuple(tag for tag in tags if tag.id in kept)
    rig = replace(base.rig, vessels=vessels, lines=lines, tags=tags)
    limits = tuple(
        _limit(base.rig, by_id, flow, limit) for limit in base.limits if limit.tag in kept
    )
    flows = tuple(replace(item, set_flow=Profile.constant(flow)) for item in base.flows)
    setup = replace(base, rig=rig, limits=limits, flows=flows, worked_out={})
    pump = rig.pumps[0].pump_flow or 0.0
    noise = draw.uniform(0.7, 1.4)
    return Case(setup, replace(DEMO, riser=3.0 * LITRE), flow, pump, noise, seed)


def _vessel(draw: random.Random, vessel: Vessel) -> Vessel:
    lip = off(draw, vessel.lip)
    rim = vessel.rim
    if rim is not None and vessel.lip is not None and lip is not None:
        rim = lip + (off(draw, rim - vessel.lip) or 0.0)
    return replace(vessel, area=off(draw, vessel.area), lip=lip, rim=rim, volume=None)


def _line(draw: random.Random, line: Line) -> Line:
    return replace(
        line,
        head=off(draw, line.head),
        break_level=off(draw, line.break_level),
        pump_flow=off(draw, line.pump_flow),
        drain_test=None,
    )


def _tag(draw: random.Random, tag: Tag) -> Tag:
    """Switches report each second or two; the rest at 1 to 30 s."""
    every = draw.choice((1.0, 2.0)) if tag.measures in STATES else draw.choice((1, 2, 5, 10, 30))
    return replace(tag, every=float(every), stale=max(tag.stale, 4.0 * float(every)))


def _limit(base: Rig, vessels: dict[str, Vessel], flow: float, limit: Limit) -> Limit:
    """Limits of levels keep their distance from the lip, limits of flow their share of it."""
    tag = base.tag[limit.tag]
    if tag.measures == "level" and tag.of == "HD1":
        shift = (vessels["HD1"].lip or 0.0) - (base.vessel["HD1"].lip or 0.0)
        return replace(limit, value=_moved(limit.value, shift, 1.0))
    if tag.measures == "flow":
        return replace(limit, value=_moved(limit.value, 0.0, flow / (6.0 * L_PER_MIN)))
    return limit


def _moved(profile: Profile, shift: float, share: float) -> Profile:
    return replace(
        profile, steps=tuple((day, value * share + shift) for day, value in profile.steps)
    )


# Playing


def story(case: Case, actions: list[Action], length: float, noise: float) -> Story:
    """An afternoon with these actions."""
    return Story(
        "campaign",
        "2026-10-20T13:00:00",
        length,
        case.flow,
        actions=tuple(sorted(actions, key=lambda action: action.at)),
        noise=noise,
    )


def readings(case: Case, actions: list[Action], length: float, noise: float) -> list[Reading]:
    """What the sensors say in it."""
    rig = SimulatedRig(
        case.setup, story(case, actions, length, noise), case.seed, extras=case.extras
    )
    end = rig.origin.elapsed + length
    return [item for item in rig.until(end) if isinstance(item, Reading)]


@dataclass(slots=True)
class Played:
    """What a watch made of the readings."""

    rows: list[JournalRow]
    texts: list[Text]


def watched(setup: Setup, said: list[Reading | Answer], length: float) -> Played:
    """The readings through the pure step, with every due time."""
    origin = replace(said[0].moment, elapsed=0.0, utc=said[0].moment.utc - said[0].moment.elapsed)
    begun = resume(setup, fresh(), origin)
    state, due, effects = begun.state, begun.next_due, list(begun.effects)

    def take(at: float, inputs: list[Reading | Answer]) -> None:
        nonlocal state, due
        done = step(setup, state, inputs, Moment(origin.boot, at, origin.utc + at))
        state, due = done.state, done.next_due
        effects.extend(done.effects)

    batch: list[Reading | Answer] = []
    for item in [*said, None]:
        if batch and (item is None or item.moment.elapsed > batch[0].moment.elapsed):
            while due < batch[0].moment.elapsed:
                take(due, [])
            take(batch[0].moment.elapsed, batch)
            batch = []
        if item is not None:
            batch.append(item)
    while due < length:
        take(due, [])
    rows = [effect for effect in effects if isinstance(effect, JournalRow)]
    return Played(rows, [effect for effect in effects if isinstance(effect, Text)])


def came_true(played: Played) -> Iterator[JournalRow]:
    """The rows of conditions that came true."""
    return (row for row in played.rows if row.what == "condition" and row.state == "true")


# The least possible


def character(rig: Rig, tag: Tag) -> Character:
    """Noise and steps of a sensor, as the simulator has them."""
    part = rig.vessel.get(tag.of) or rig.line.get(tag.of)
    plain = CHARACTERS.get((tag.measures, ""), Character())
    return CHARACTERS.get((tag.measures, part.kind), plain) if part is not None else plain


def least_possible(case: Case, actions: list[Action], length: float) -> float:
    """Seconds after the fault at which the log likelihood ratio of all sensors passes."""
    with_fault = readings(case, actions, length, 0.0)
    without = readings(case, [], length, 0.0)
    usual = {(item.tag, item.moment.elapsed): item.value for item in without}
    spread = {}
    for tag in case.setup.rig.tags:
        known = character(case.setup.rig, tag)
        quantum = tag.quantum if tag.quantum is not None else known.quantum / tag.unit.scale
        if tag.measures == "flow":
            quantum = LITRE / 450.0 / tag.every / tag.unit.scale
        sd = known.noise * case.noise / abs(tag.unit.scale)
        spread[tag.id] = (sd**2 + quantum**2 / 12.0) ** 0.5
    said = {(item.tag, item.moment.elapsed) for item in with_fault}
    silent = [item for item in without if (item.tag, item.moment.elapsed) not in said]
    if silent:
        return silent[0].moment.elapsed - AT
    total = 0.0
    for item in with_fault:
        before = usual.get((item.tag, item.moment.elapsed))
        if item.moment.elapsed < AT:
            continue
        if item.value is None or before is None or not spread[item.tag]:
            total += THRESHOLD if item.value != before else 0.0
        else:
            total += ((item.value - before) / spread[item.tag]) ** 2 / 2.0
        if total >= THRESHOLD:
            return item.moment.elapsed - AT
    return inf


# Scoring


@dataclass(slots=True)
class Score:
    """Of one kind: rigs on which the sight promises it, those found, named right, and times."""

    promised: int = 0
    found: int = 0
    named: int = 0
    ratios: list[float] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)


def judge(case: Case, kind: Kind, score: Score) -> None:
    """Play one fault on one rig."""
    actions = kind.do(case)
    hows = {sight.condition: sight.how for sight in sights(case.setup)}
    promised = [name for name in kind.sights if hows.get(name, "blind") != "blind"]
    if not actions or not promised:
        return
    length = AT + kind.seconds
    played = watched(case.setup, [*readings(case, actions, length, case.noise)], length)
    score.promised += 1
    plan = plan_of(case.setup)
    tags = ",".join(tag.id for tag in case.setup.rig.tags)
    fitting, right = [], False
    others = []
    for row in came_true(played):
        name = row.subject.split("/")[0]
        if row.moment.elapsed < AT:
            others.append(f"EARLY {row.subject}")
            continue
        if name not in kind.finds:
            others.append(row.subject)
            continue
        spec = plan.specs[row.subject]
        fitting.append(max(0.0, row.moment.elapsed - AT - spec.on_delay))
        words = f"{name} {' '.join(f'{key} {value}' for key, value in row.evidence)}"
        right = right or any(word in words for word in kind.names)
    if not fitting:
        score.misses.append(f"seed {case.seed}: not found; others {others}; tags {tags}")
        return
    score.found += 1
    score.named += right
    if not right:
        score.misses.append(f"seed {case.seed}: not named; {fitting}; others {others}; tags {tags}")
    least = least_possible(case, actions, length)
    shortest = min(tag.every for tag in case.setup.rig.tags)
    if least < inf:
        score.ratios.append((min(fitting) + shortest) / max(least + shortest, shortest))


def quiet_days(base: Setup, days: int, seed: int, tick: Callable[[], None]) -> Counter[str]:
    """Quiet days of random rigs, with feeding holds and a top-up: every condition that came true,
    and every text by day and by night."""
    told: Counter[str] = Counter()
    for day in range(days):
        case = random_case(base, seed * 100_000 + day)
        said = quiet_day(case)
        played = watched(case.setup, said, 86400.0)
        for row in came_true(played):
            if row.grade != "record":
                told[f"condition {row.subject}"] += 1
        for text in played.texts:
            local = case.setup.local(text.moment.utc)
            night = local.hour >= 21 or local.hour < 7
            told[f"{'night' if night else 'day'} text: {text.turn}"] += 1
        tick()
    return told


def quiet_day(case: Case) -> list[Reading | Answer]:
    """A day with three holds at a third of the flow and the morning's top-up."""
    actions = [Action(9 * 3600.0, "add fresh water", "", 4.5 * LITRE)]
    says = []
    for hour in (7.25, 12.5, 17.75):
        actions.append(Action(hour * 3600.0, "valve", "", case.flow / 3.0))
        actions.append(Action(hour * 3600.0 + 1800.0, "valve", "", case.flow))
        says.append(Say(hour * 3600.0, "tavrin", "hold", minutes=30.0))
    quiet = Story(
        "quiet", "2026-10-20T00:00:00", 86400.0, case.flow, actions=tuple(actions),
        says=tuple(says), noise=case.noise,
    )  # fmt: skip
    rig = SimulatedRig(case.setup, quiet, case.seed, extras=case.extras)
    return list(rig.until(rig.origin.elapsed + 86400.0))


def run(rigs: int, seed: int, only: str, tick: Callable[[], None]) -> dict[str, Score]:
    """Every kind on every rig."""
    base = load(CONFIG)
    scores = {kind.name: Score() for kind in KINDS if only in kind.name}
    for number in range(rigs):
        case = random_case(base, seed * 1000 + number)
        for kind in KINDS:
            if kind.name in scores:
                judge(case, kind, scores[kind.name])
                tick()
    return scores


def progress(total: int) -> Callable[[], None]:
    """A bar on standard error with the time that is left."""
    began, done = time.monotonic(), 0

    def tick() -> None:
        nonlocal done
        done += 1
        left = (time.monotonic() - began) / done * (total - done)
        bar = "#" * (30 * done // total)
        print(f"\r[{bar:<30}] {done}/{total}, {left:.0f} s left ", end="", file=sys.stderr)

    return tick


def show(scores: dict[str, Score], verbose: bool) -> None:
    """The table, and what was missed."""
    print(f"\n{'fault':<34} {'seen by':>7} {'found':>6} {'named':>6} {'time / least':>13}")
    ratios, promised, found, named = [], 0, 0, 0
    for name, score in scores.items():
        middle = f"{median(score.ratios):.2f}" if score.ratios else "-"
        print(f"{name:<34} {score.promised:>7} {score.found:>6} {score.named:>6} {middle:>13}")
        ratios += score.ratios
        promised, found = promised + score.promised, found + score.found
        named += score.named
    if promised:
        print(
            f"all: {found} of {promised} found, {100.0 * named / promised:.1f} of 100 named right, "
            f"median {median(ratios) if ratios else 0:.2f} times the least possible"
        )
    if verbose:
        for name, score in scores.items():
            for line in score.misses:
                print(f"  {name}: {line}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--rigs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--quiet-days", type=int, default=0)
    parser.add_argument("--misses", action="store_true", help="say what was missed")
    chosen = parser.parse_args()
    kinds = sum(chosen.only in kind.name for kind in KINDS)
    if chosen.rigs:
        tick = progress(chosen.rigs * kinds)
        show(run(chosen.rigs, chosen.seed, chosen.only, tick), chosen.misses)
    if chosen.quiet_days:
        tick = progress(chosen.quiet_days)
        told = quiet_days(load(CONFIG), chosen.quiet_days, chosen.seed, tick)
        print(f"\n{chosen.quiet_days} quiet rig-days:")
        for what, count in sorted(told.items()):
            print(f"  {count:>4}  {what}")


if __name__ == "__main__":
    main()
