"""The daily round sheet: for a day without the computer, with the limits of that day beside."""

from monitor.logic.plan import plan_of
from monitor.record.sheets.limits import named, now, when
from monitor.record.sheets.paper import BLANK, LOCAL, STEP, WET, Block, Place, Sheet
from monitor.rig import Tag
from monitor.units import L_PER_MIN, STATES

ROUNDS = 6
BUCKET = 10.0
"""Litres of the bucket by which flow is checked."""


def round_sheet(place: Place) -> Sheet:
    """What a person looks at on each round, where the watch would have looked."""
    times = ("before feeding", "after it", "after it", "after it", "evening", "night")
    rows = [("time", *[f"___:___ {time}" for time in times])]
    rows += [(*found, *[BLANK] * ROUNDS) for found in _flow(place)]
    rows += [(_asked(place, tag), *[BLANK] * ROUNDS) for tag in _looked_at(place)]
    rows += [
        (words, *[BLANK] * ROUNDS)
        for words in (
            "air: every stone bubbles",
            "light as it should be",
            "larvae: swimming, fed, surface clean",
            "dead found (~ for an estimate)",
            "fed: what, how much",
            "siphon valve open again after feeding",
            "initials",
        )
    ]
    head = ("looked at (limits of today)", *(f"round {n}" for n in range(1, ROUNDS + 1)))
    blocks = (
        Block("Date: ____________", (), head, tuple(rows), (34, *(11,) * ROUNDS), tall=True),
        Block(
            "Once today",
            head=("what", "value", "time", "initials"),
            rows=tuple(
                (words, BLANK, BLANK, BLANK)
                for words in ("salinity", "top-up, litres of fresh water", "water change, litres",
                              "strainer looked at, cleaned if needed",
                              "daily observation signed by name")
            ),
            wide=(40, 25, 15, 20),
            tall=True,
        ),
    )  # fmt: skip
    about = (
        f"{place.about} Without the watch somebody looks at least every 4 hours, and at night too."
    )
    return Sheet(
        "daily-round",
        "Daily round without the computer",
        about,
        blocks,
        (*WET, STEP, LOCAL),
    )


def _flow(place: Place) -> list[tuple[str]]:
    """The flow that is due, with the seconds that a bucket takes."""
    setup = place.setup
    dph, clock = setup.dph(place.utc), setup.seconds_into_day(place.utc)
    found = []
    for flow in setup.flows:
        due = flow.set_flow.at(dph, clock) / L_PER_MIN
        if due > 0.0:
            seconds = BUCKET / due * 60.0
            found.append(
                (f"flow {flow.line}: {due:.1f} L/min due, {BUCKET:.0f} L in {seconds:.0f} s",)
            )
    return found


def _looked_at(place: Place) -> list[Tag]:
    """Levels and temperatures: what a person can read without the computer."""
    plan = plan_of(place.setup)
    first = [tag for chain in plan.chains for tag in (chain.level, chain.tank_level) if tag]
    rest = [
        tag
        for tag in place.setup.rig.tags
        if tag.measures in ("level", "temperature", "wet") and place.setup.limits_of.get(tag.id)
    ]
    return list(dict.fromkeys([*first, *rest]))


def _asked(place: Place, tag: Tag) -> str:
    dph = place.setup.dph(place.utc)
    sides: dict[str, str] = {}
    for limit in place.setup.limits_of.get(tag.id, ()):
        if tag.measures in STATES:
            sides["state"] = f"calls when it {when(tag, limit)}"
        else:
            sides.setdefault(limit.side, f"{when(tag, limit)} {now(tag, limit, dph)}")
    unit = f" {tag.unit.name}" if tag.unit.name else ""
    limits = f": not {' or '.join(sides.values())}{unit}" if sides else unit
    if "state" in sides:
        limits = f": {sides['state']}"
    return f"{named(tag)}{limits}"
