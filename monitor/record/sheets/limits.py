"""The limits sheet: what is due, what is too much or too little, and what is done first."""

from itertools import pairwise
from math import isfinite

from monitor.logic.names import WORDS
from monitor.record.sheets.paper import LOCAL, Block, Place, Sheet
from monitor.rig import Tag
from monitor.setup import Limit, Profile
from monitor.units import L_PER_MIN, STATES, Unit


def limits_sheet(place: Place) -> Sheet:
    """Every limit in force with its delay, to be signed."""
    setup = place.setup
    dph = setup.dph(place.utc)
    rows = []
    for limit in setup.limits:
        tag = setup.rig.tag[limit.tag]
        words = " ".join(filter(None, (limit.condition, limit.step)))
        action = limit.first_action or WORDS.get(limit.condition, ("", ""))[1]
        rows.append((
            words,
            f"{tag.id} {when(tag, limit)}",
            by_age(tag.unit, limit.value, tag),
            now(tag, limit, dph),
            limit.grade,
            span(limit.on_delay),
            action or "-",
        ))  # fmt: skip
    flows = tuple(
        (f"set flow of {flow.line}", f"by {flow.known_by}",
         by_age(Unit("L/min", L_PER_MIN), flow.set_flow))
        for flow in setup.flows
    )  # fmt: skip
    blocks = (
        Block("Flow that is due", head=("line", "known", "by age"), rows=flows, small=True),
        Block(
            "Limits",
            head=("condition", "when", "value by age", "now", "grade", "after", "first"),
            rows=tuple(rows),
            wide=(16, 9, 22, 9, 7, 7, 30),
            small=True,
        ),
    )
    return Sheet(
        "limits",
        "Limits sheet",
        place.about,
        blocks,
        ("Sample limits are examples; an approved protocol prevails. "
         "Change them in the configuration, not on this paper.", LOCAL),
        ("Approved by", "Date"),
    )  # fmt: skip


def named(tag: Tag) -> str:
    """A tag as people say it, with its mark on the rig."""
    what = "floor pad" if tag.measures == "wet" else tag.measures
    return f"{what} of {tag.of} ({tag.id})"


def when(tag: Tag, limit: Limit) -> str:
    """Above, below, or the state that counts."""
    if tag.measures in STATES:
        return f"is {STATES[tag.measures][limit.side == 'high']}"
    return "above" if limit.side == "high" else "below"


def by_age(unit: Unit, profile: Profile, tag: Tag | None = None) -> str:
    """The steps of a value: 3.0, from dph 5 4.5 ..."""
    if tag is not None and tag.measures in STATES:
        return "-"
    steps = [(dph, _number(unit, value)) for dph, value in profile.steps]
    later = [b for a, b in pairwise(steps) if a[1] != b[1]]
    words = [steps[0][1], *(f"{value} from dph {dph}" for dph, value in later)]
    return f"{', '.join(words)} {unit.name}".strip()


def now(tag: Tag, limit: Limit, dph: int | None) -> str:
    """The value of this day of age."""
    if tag.measures in STATES:
        return "-"
    return _number(tag.unit, limit.value.at(dph))


def _number(unit: Unit, value: float) -> str:
    return f"{unit.from_si(value):.4g}" if isfinite(value) else "off"


def span(seconds: float) -> str:
    """A delay as people say it."""
    return f"{seconds:g} s" if seconds < 120 else f"{seconds / 60:g} min"
