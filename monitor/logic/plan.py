"""What the logic works out once from a set-up: chains of water, and one spec per condition."""

from dataclasses import dataclass, field, replace
from typing import cast

from monitor.inputs import SENDING
from monitor.logic import balance_plan
from monitor.logic.chains import Chain, chain_of
from monitor.rig import Rig, Tag
from monitor.setup import Limit, Setup

GROUPS = {
    "flow": "water",
    "level": "water",
    "float": "water",
    "flow witness": "water",
    "mains": "water",
    "temperature": "heat",
    "pressure": "air",
    "light": "light",
    "wet": "leak",
    "age": "watch",
}
"""Alarms of one group are told as one event: water that fails fails as one chain of causes."""


@dataclass(frozen=True, slots=True)
class Spec:
    """A condition that can come true here, with the alarm it makes.

    id: "name/subject" or "name/subject/step". rank: how bad, for "got worse".
    tell_after: seconds from the first sign before a text may go. latching: it stays until reset.
    calm: seconds that it must stay away before it is over, once it comes and goes.
    """

    id: str
    name: str
    subject: str
    step: str
    grade: str
    group: str
    vessel: str
    rank: int
    on_delay: float
    off_delay: float = 0.0
    tell_after: float = 0.0
    first_action: str = ""
    latching: bool = False
    calm: float = 0.0


@dataclass(frozen=True, slots=True)
class LimitPlan:
    """A limit with its tag, its spec and the line whose holds quiet it."""

    limit: Limit
    tag: Tag
    spec: Spec
    hold_line: str | None


@dataclass(frozen=True, slots=True)
class SensorPlan:
    """A tag with the conditions that it alone decides; mains_lost only where it senses mains."""

    tag: Tag
    faulty: Spec
    silent: Spec
    mains_lost: Spec | None


@dataclass(frozen=True, slots=True)
class FollowPlan:
    """The followed tags of one place, judged together, and their condition `changed`.

    line: the line to the larvae whose holds and set flow move what is read here. explained_by:
    conditions while which it is no wonder that readings move.
    """

    tags: tuple[Tag, ...]
    spec: Spec
    line: str | None
    explained_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything derived from one set-up; `limits` by tag."""

    chains: tuple[Chain, ...]
    limits: dict[str, tuple[LimitPlan, ...]]
    sensors: tuple[SensorPlan, ...]
    specs: dict[str, Spec]
    tank: str
    watch_delay: float
    followed: tuple[FollowPlan, ...] = ()
    balanced: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def spec(self, alarm: str) -> Spec | None:
        """The spec of an alarm, None for one that this set-up does not have."""
        known = self.specs.get(alarm)
        if known is None and alarm.startswith(WATCH):
            return watch_spec(alarm.partition("/")[2], self.watch_delay)
        if known is None and alarm.startswith("fuel low/"):
            return fuel_spec(alarm.partition("/")[2], self.tank)
        return known


WATCH = ("watch faulty/", "record not kept/")
"""Alarms on parts of the watch itself: what parts there are shows only when one fails."""


def watch_spec(part: str, delay: float) -> Spec:
    """The condition that a part of the watch itself has failed.

    A record that is not kept is told at once by night too: without it nothing can be proven later,
    and a card that fails is seldom the last thing to fail. So is a way by which texts do not go
    out: somebody was to be told, and the other ways may not wake him. Other parts wait for the
    morning; what they keep from the watch (readings, answers) is told as silent sensors or missed
    promises.
    """
    grade = "high" if part == "record" or part.endswith(f" {SENDING}") else "notice"
    name = "record not kept" if part == "record" else "watch faulty"
    rank = RANK_OF_GRADE[grade]
    return Spec(f"{name}/{part}", name, part, "", grade, "watch", "watch", rank, delay)


def fuel_spec(of: str, tank: str) -> Spec:
    """The condition that the fuel of a backup nears its end, as a person told its hours."""
    return _water_spec("fuel low", of, tank, "high", 0.0, "backup")


RANK_OF_GRADE = {"record": 0, "notice": 1, "high": 2, "urgent": 3}
CALM = 600.0
"""Common practice, no source. The water itself is judged without: its evidence does not chatter."""
RANK_NO_WATER = 4
"""No water to the larvae is worse than any other urgent turn."""


def plan_of(setup: Setup) -> Plan:
    """The plan of a set-up, worked out once."""
    plan = setup.worked_out.get("plan")
    if plan is None:
        plan = setup.worked_out["plan"] = _plan(setup)
    return cast(Plan, plan)


def _plan(setup: Setup) -> Plan:
    rig = setup.rig
    chains = tuple(
        chain_of(rig, line)
        for line in rig.lines
        if line.kind == "siphon" or line.id in setup.flow_due
    )
    tank = _main_tank(setup, chains)
    labels = _vessels(rig, tank, chains)
    limits = {
        tag: tuple(
            LimitPlan(limit, rig.tag[tag], _limit_spec(rig, limit, labels), _hold_line(rig, limit))
            for limit in on_tag
        )
        for tag, on_tag in setup.limits_of.items()
        if tag in rig.tag
    }
    specs = {item.spec.id: item.spec for on_tag in limits.values() for item in on_tag}
    for spec in (*_chain_specs(setup, chains, tank), *_tag_specs(setup, labels)):
        specs[spec.id] = spec
    sensors = tuple(
        SensorPlan(
            tag,
            specs[f"sensor faulty/{tag.id}"],
            specs[f"sensor silent/{tag.id}"],
            specs.get(f"mains lost/{tag.of}") if tag.measures == "mains" else None,
        )
        for tag in rig.tags
    )
    places = dict.fromkeys(tag.of for tag in rig.tags if tag.followed)
    followed = tuple(_follow_plan(rig, place, labels, chains) for place in places)
    specs |= {item.spec.id: item.spec for item in followed}
    balanced = {chain.line.id: _balance_specs(setup, chains, chain, tank) for chain in chains}
    specs |= {spec.id: spec for items in balanced.values() for spec in items}
    ids = {line: tuple(spec.id for spec in items) for line, items in balanced.items()}
    return Plan(chains, limits, sensors, specs, tank, setup.delays.bad_after, followed, ids)


def _balance_specs(setup: Setup, chains: tuple[Chain, ...], chain: Chain, tank: str) -> list[Spec]:
    sump = chain.pump.source if chain.pump is not None else None
    same = (item for item in chains if item.pump is not None and item.pump.source == sump)
    vessel = chain.tank.id if chain.tank is not None else tank
    specs = []
    for kind in balance_plan.kinds(setup, chain, next(same, None) is chain):
        spec = _water_spec(kind.name, kind.subject, vessel, kind.grade, kind.delay, kind.group)
        rank = RANK_NO_WATER if kind.stops else spec.rank
        step = f"/{kind.step}" if kind.step else ""
        specs.append(replace(spec, id=spec.id + step, step=kind.step, rank=rank))
    return specs


def _follow_plan(
    rig: Rig, place: str, labels: dict[str, str], chains: tuple[Chain, ...]
) -> FollowPlan:
    tags = tuple(tag for tag in rig.tags if tag.followed and tag.of == place)
    spec = _water_spec("changed", place, labels[place], "notice", 0.0)
    names = ", ".join(tag.id for tag in tags[:3]) + (" ..." if len(tags) > 3 else "")
    spec = replace(spec, group="change", first_action=f"Compare {names} with before.")
    chain = next((chain for chain in chains if place in chain.parts), None)
    if chain is None:
        return FollowPlan(tags, spec, None, ())
    told = ("supply lost", "siphon broken", "mains lost")
    explained_by = tuple(f"{name}/{part}" for name in told for part in chain.parts)
    return FollowPlan(tags, spec, chain.line.id, explained_by)


def _main_tank(setup: Setup, chains: tuple[Chain, ...]) -> str:
    if setup.run is not None:
        return setup.run.tank
    tanks = {chain.tank.id for chain in chains if chain.tank is not None}
    tanks |= {vessel.id for vessel in setup.rig.kinds(["larval tank"])}
    return tanks.pop() if len(tanks) == 1 else setup.rig.label


def _vessels(rig: Rig, tank: str, chains: tuple[Chain, ...]) -> dict[str, str]:
    """Place of a tag -> its label in texts: the larval tank a part serves, or the tank itself."""
    labels = {tag.of: tank for tag in rig.tags}
    for chain in reversed(chains):
        if chain.tank is None:
            continue
        for part in (chain.line, chain.header, chain.pump):
            if part is not None:
                labels[part.id] = chain.tank.id
        if chain.pump is not None and chain.pump.circuit is not None:
            labels[chain.pump.circuit] = chain.tank.id
    own = rig.kinds(("larval tank", "broodstock tank", "culture"))
    return labels | {vessel.id: vessel.id for vessel in own}


def _limit_spec(rig: Rig, limit: Limit, labels: dict[str, str]) -> Spec:
    tag = rig.tag[limit.tag]
    parts = [limit.condition, tag.of, limit.step]
    if len(rig.tags_for(tag.measures, tag.of)) > 1:
        parts.insert(2, tag.id)
    no_water = limit.condition == "no flow"
    return Spec(
        id="/".join(part for part in parts if part),
        name=limit.condition,
        subject=tag.of,
        step=limit.step,
        grade=limit.grade,
        group=GROUPS.get(tag.measures, "watch" if tag.measures == "voltage" else "water quality"),
        vessel=labels[tag.of],
        rank=RANK_NO_WATER if no_water else RANK_OF_GRADE[limit.grade],
        on_delay=limit.on_delay,
        off_delay=limit.off_delay,
        first_action=limit.first_action,
        latching=limit.latching,
        calm=CALM,
    )


def _hold_line(rig: Rig, limit: Limit) -> str | None:
    if not limit.held_off:
        return None
    place = rig.tag[limit.tag].of
    if place in rig.line:
        return place
    return next((line.id for line in rig.lines if line.target == place), None)


def _chain_specs(setup: Setup, chains: tuple[Chain, ...], tank: str) -> list[Spec]:
    delays = setup.delays
    specs = []
    for chain in chains:
        vessel = chain.tank.id if chain.tank is not None else tank
        line = chain.line.id
        if chain.drawn_by_siphon:
            header = chain.header.id if chain.header is not None else line
            lost = _water_spec("supply lost", header, vessel, "urgent", delays.supply_lost_see)
            specs.append(replace(lost, tell_after=delays.supply_lost_text))
            broken = _water_spec("siphon broken", line, vessel, "urgent", delays.siphon_broken)
            specs.append(replace(broken, rank=RANK_NO_WATER))
        specs.append(_water_spec("hold overrun", line, vessel, "high", delays.hold_overrun))
        if chain.sighted:
            blind = _water_spec("flow not seen", line, vessel, "urgent", delays.bad_after)
            specs.append(replace(blind, group="sensor"))
    return specs


def _water_spec(
    name: str, subject: str, vessel: str, grade: str, on_delay: float, group: str = "water"
) -> Spec:
    rank = RANK_OF_GRADE[grade]
    return Spec(f"{name}/{subject}", name, subject, "", grade, group, vessel, rank, on_delay)


def _tag_specs(setup: Setup, labels: dict[str, str]) -> list[Spec]:
    specs = []
    for tag in setup.rig.tags:
        vessel = labels[tag.of]
        if tag.measures == "mains":
            lost = _water_spec("mains lost", tag.of, vessel, "notice", setup.delays.mains_off)
            specs.append(replace(lost, tell_after=setup.delays.mains_text))
        for name in ("sensor faulty", "sensor silent"):
            bad = _water_spec(name, tag.id, vessel, "notice", setup.delays.bad_after)
            specs.append(replace(bad, group="sensor", calm=CALM))
    return specs
