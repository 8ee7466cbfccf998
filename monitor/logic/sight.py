"""How well this rig can see each condition with the tags it has.

Seen: a sensor shows it when it begins. Seen late: it shows once it has gone on for a while.
Presumed: inferred from something else, and called so. Blind: nothing here shows it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.rig import Rig
from monitor.setup import Setup

HOWS = ("blind", "presumed", "seen late", "seen")


@dataclass(frozen=True, slots=True)
class Sight:
    """Sight of one condition: how, and by what (or what is missing)."""

    condition: str
    how: str
    why: str


ROLES: dict[str, str] = {
    "mains": "mains sensor at the pump's circuit",
    "supply flow": "flow sensor in the supply line",
    "header level": "level sensor in the header",
    "header float": "float in the header",
    "flow": "flow sensor in the line to the larvae",
    "witness": "flow witness (cup with a float) at the larval tank",
    "tank level": "level sensor in the larval tank",
    "sump level": "level sensor in the sump",
    "sump float": "float in the sump",
    "water": "thermometer in the larval tank",
    "room": "thermometer in the room",
    "air": "pressure sensor in the air line",
    "floor": "leak pads on the floor",
    "drain test": "a measured drain test",
}
"""What a tag can be to the watch, in words for people."""

COST = {
    "drain test": 0,
    "floor": 5,
    "water": 6,
    "room": 6,
    "witness": 8,
    "sump float": 8,
    "header float": 10,
    "mains": 10,
    "air": 12,
    "sump level": 25,
    "header level": 25,
    "tank level": 25,
    "flow": 30,
    "supply flow": 30,
}
"""Rough price of the part in currency units (common practice, no source)."""

Way = tuple[str, tuple[str, ...]]

LINES: dict[str, tuple[Way, ...]] = {
    "mains lost": (("seen", ("mains",)), ("presumed", ("supply flow", "header level"))),
    "supply lost": (
        ("seen", ("supply flow", "mains")),
        ("seen", ("supply flow", "header level")),
        ("seen", ("header level",)),
        ("presumed", ("mains",)),
        ("seen late", ("header float",)),
        ("seen", ("supply flow",)),
    ),
    "pump stopped": (
        ("seen", ("supply flow", "header level")),
        ("seen", ("header level",)),
        ("seen late", ("header float",)),
        ("seen", ("supply flow",)),
    ),
    "supply short": (("seen", ("header level",)), ("seen late", ("header float",))),
    "header drains back": (
        ("seen", ("header level", "mains")),
        ("seen", ("header level", "supply flow")),
    ),
    "siphon broken after an outage": (
        ("seen", ("flow",)),
        ("seen", ("witness",)),
        ("presumed", ("header level", "mains")),
        ("presumed", ("drain test", "mains")),
        ("presumed", ("drain test", "header float")),
    ),
    "flow stopped with power on": (("seen", ("flow",)), ("seen", ("witness",))),
    "flow stop hidden": (("presumed", ("header level", "tank level")),),
    "flow meter dead": (
        ("seen late", ("flow", "header level")),
        ("seen late", ("flow", "tank level")),
    ),
    "supply meter dead": (
        ("seen late", ("supply flow", "header level", "flow")),
        ("seen late", ("supply flow", "header level", "witness")),
    ),
    "flow low or creeping": (("seen", ("flow",)), ("seen late", ("witness",))),
    "flow too high": (("seen", ("flow",)), ("seen late", ("header level",))),
    "header low": (("seen", ("header level",)), ("seen late", ("header float",))),
    "header overflow blocked": (("seen", ("header level",)), ("seen late", ("floor",))),
    "strainer clogging": (("seen", ("supply flow",)), ("seen late", ("header float",))),
    "outlet screen blocked": (
        ("seen", ("tank level",)),
        ("seen late", ("sump level",)),
        ("seen late", ("floor",)),
    ),
    "leak": (("seen", ("sump level",)), ("seen late", ("floor",))),
    "sump filling": (("seen", ("sump level",)),),
    "top-up missed": (("seen", ("sump level",)), ("seen late", ("sump float",))),
    "water too warm or cold": (("seen", ("water",)), ("presumed", ("room",))),
    "room cooling failing": (("seen", ("room",)), ("seen late", ("water",))),
    "hot afternoon ahead": (("seen", ("water", "room")), ("seen late", ("water",))),
    "air pump failing": (("seen", ("air",)),),
    "air stone clogged": (("seen", ("air",)),),
    "battery air flat": (("seen", ("air", "mains")),),
}
"""Condition -> the ways to see it, best first: how, and all that is needed for it."""


def roles(setup: Setup) -> frozenset[str]:
    """What the tags of this rig are to the watch."""
    rig = setup.rig
    found = {role for tag in rig.tags if (role := _role(rig, tag.measures, tag.of)) is not None}
    if any(line.drain_test is not None for line in rig.siphons):
        found.add("drain test")
    return frozenset(found)


def _kind(rig: Rig, place: str) -> str:
    vessel, line = rig.vessel.get(place), rig.line.get(place)
    if vessel is not None:
        return vessel.kind
    return line.kind if line is not None else ""


_BY_PLACE = {
    ("flow", "pump"): "supply flow",
    ("flow", "siphon"): "flow",
    ("flow", "loop"): "flow",
    ("flow witness", "siphon"): "witness",
    ("flow witness", "loop"): "witness",
    ("level", "header"): "header level",
    ("level", "larval tank"): "tank level",
    ("level", "sump"): "sump level",
    ("float", "header"): "header float",
    ("float", "sump"): "sump float",
    ("temperature", "larval tank"): "water",
    ("temperature", "sump"): "water",
    ("temperature", "room"): "room",
}


def _role(rig: Rig, measures: str, place: str) -> str | None:
    if measures == "mains":
        feeds_pump = not rig.pumps or any(pump.circuit == place for pump in rig.pumps)
        return "mains" if feeds_pump else None
    plain = {"pressure": "air", "wet": "floor"}.get(measures)
    return plain or _BY_PLACE.get((measures, _kind(rig, place)))


def sights(setup: Setup) -> tuple[Sight, ...]:
    """Sight of every condition that can concern this rig."""
    have = roles(setup)
    return tuple(_sight(condition, have) for condition in _lines_for(setup))


def _lines_for(setup: Setup) -> Iterable[str]:
    """A lone loop has no header, siphon or screen, so their lines do not concern it."""
    if setup.rig.siphons:
        return LINES
    water = ("flow stopped with power on", "flow low or creeping", "flow too high")
    return [name for name in LINES if name in water or "water" in name or name == "mains lost"]


def _sight(condition: str, have: frozenset[str]) -> Sight:
    best = Sight(condition, "blind", "needs a " + ROLES[LINES[condition][0][1][0]])
    for how, needed in LINES[condition]:
        if have.issuperset(needed) and HOWS.index(how) > HOWS.index(best.how):
            best = Sight(condition, how, " and ".join(needed))
    return best


def cheapest_help(setup: Setup) -> tuple[str, int] | None:
    """The one added sensor that would make most blind lines visible, and how many.

    Of sensors that help equally the cheapest; None when nothing is blind.
    """
    have = roles(setup)
    lines = tuple(_lines_for(setup))
    blind = [name for name in lines if _sight(name, have).how == "blind"]
    gains = {
        role: sum(_sight(name, have | {role}).how != "blind" for name in blind)
        for role in ROLES
        if role not in have
    }
    best = max(gains, key=lambda role: (gains[role], -COST[role]), default=None)
    if best is None or gains[best] == 0:
        return None
    return ROLES[best], gains[best]
