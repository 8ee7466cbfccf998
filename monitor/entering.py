"""A value that a person measured, made a reading of a tag: checked, converted, with its moment."""

import math
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from monitor.errors import RefusedInput
from monitor.inputs import Moment, Reading
from monitor.logic.scaling import to_si
from monitor.rig import Tag
from monitor.setup import Setup
from monitor.units import LITRE, UNITS, Unit, unit_of

MANUAL = "manual"


def entered(setup: Setup, name: str, value: float, unit: str, moment: Moment) -> Reading:
    """The reading of tag `name`, in the tag's own unit. RefusedInput says what to do instead.

    unit: the unit of `value`, "" for the tag's own. A value outside the tag's sensor_range is
    taken for a slip of the finger.
    """
    tag = _entered_tag(setup, name)
    if not math.isfinite(value):
        raise RefusedInput(f"{value} is not a number that can be measured")
    delivered = float(f"{tag.unit.from_si(_unit(tag, unit).to_si(value)):.12g}")
    if tag.sensor_range is not None:
        low, high = tag.sensor_range
        if not low <= to_si(tag, delivered) <= high:
            span = f"{tag.unit.show(low)} to {tag.unit.show(high)}"
            raise RefusedInput(f"{value:g} for {name} lies outside {span}: measure or type again")
    return Reading(name, moment, delivered)


def by_bucket(litres: float, seconds: float) -> float:
    """The flow of a bucket and a stopwatch, m3/s."""
    if not (0.0 < litres < math.inf and 0.0 < seconds < math.inf):
        raise RefusedInput("bucket: give the litres and the seconds, both above 0")
    return litres * LITRE / seconds


def moment_at(clock: str, now: Moment, zone: str) -> Moment:
    """The last time it was `clock` (HH:MM) at the site: now or within the last day."""
    try:
        wanted = time.fromisoformat(clock)
    except ValueError as error:
        raise RefusedInput(f"at: {clock!r} is not a time of day, such as 08:10") from error
    if wanted.tzinfo is not None or len(clock) != len("08:10"):
        raise RefusedInput(f"at: {clock!r} is not a time of day, such as 08:10")
    if not now.trusted:
        raise RefusedInput("at: this board does not know the time yet; leave it out")
    local = datetime.fromtimestamp(now.utc, ZoneInfo(zone))
    found = datetime.combine(local.date(), wanted, local.tzinfo)
    if found.timestamp() > now.utc:
        found = datetime.combine(local.date() - timedelta(days=1), wanted, local.tzinfo)
    utc = found.timestamp()
    return Moment(now.boot, now.elapsed - (now.utc - utc), utc, now.trusted)


def _entered_tag(setup: Setup, name: str) -> Tag:
    kinds = {source.id: source.kind for source in setup.sources}
    known = [tag.id for tag in setup.rig.tags if kinds.get(tag.source) == MANUAL]
    if name not in known:
        tags = ", ".join(known) or "none: add a source of kind manual, with tags, to rig.toml"
        raise RefusedInput(f"{name!r} is no tag that people enter; there are {tags}")
    return setup.rig.tag[name]


def _unit(tag: Tag, name: str) -> Unit:
    try:
        return unit_of(tag.measures, name) if name else tag.unit
    except KeyError:
        known = ", ".join(unit.name or "no unit" for unit in UNITS[tag.measures])
        raise RefusedInput(f"unit: {tag.id} is entered in {known}, not {name!r}") from None
