"""Takes the means by the hour that trends and the heat forecast look back on.

At each full minute the last accepted value of a tag is taken, so the means do not depend on how
often a sensor speaks. A flow to the larvae is kept as a share of its set flow; what a feeding hold
or a stopped pump makes of a flow is left out. Nothing is taken while the clock is not trusted.
"""

from dataclasses import replace
from math import ceil

from monitor.logic.conditions import holds_quiet
from monitor.logic.scan import Scan
from monitor.logic.slow import Hours, HourSum, Minutes
from monitor.rig import Tag
from monitor.units import L_PER_MIN

MEASURES = ("flow", "level", "temperature", "pressure", "current", "voltage")
FEWEST = 20
"""Minutes without which an hour has no mean."""
NO_FLOW = 0.5 * L_PER_MIN
"""Flow under which a pump stands or a small turbine reads nothing."""


def take(scan: Scan) -> bool:
    """Take the minute that has ended, before the readings of this step; whether an hour ended."""
    minute, was = int(scan.t // 60.0), scan.running.minutes
    if minute == was.minute or not scan.now.trusted:
        scan.due(was.due)
        return False
    hour = max(was.hour, int(scan.now.utc_at(minute * 60.0) // 3600.0))
    sums = {**was.sums, **_added(scan, was)} if was.minute >= 0 else {}
    ended = hour > was.hour >= 0
    if ended:
        _keep(scan, was.hour, sums)
    due = ceil((scan.t + (hour + 1) * 3600.0 - scan.now.utc) / 60.0) * 60.0
    scan.set_minutes(Minutes(minute, hour, due, {} if ended else sums))
    scan.due(due)
    return ended


def _added(scan: Scan, under_way: Minutes) -> dict[str, HourSum]:
    """The sums of the tags that were read in the minute that ended, with that minute."""
    found, begun = {}, under_way.minute * 60.0
    for tag in scan.setup.rig.tags:
        if tag.measures not in MEASURES:
            continue
        state = scan.running.tags.get(tag.id)
        if state is None or state.value is None or state.at < begun or state.bad_run:
            continue
        value = _kept_value(scan, tag, state.value)
        if value is not None:
            was = under_way.sums.get(tag.id, _NOTHING)
            found[tag.id] = HourSum(was.count + 1, was.total + value, max(was.top, value))
    return found


_NOTHING = HourSum()


def _kept_value(scan: Scan, tag: Tag, value: float) -> float | None:
    """The value as it is kept: a flow that is due as a share; None where it tells nothing."""
    if tag.measures != "flow":
        return value
    if value < NO_FLOW or holds_quiet(scan, tag.of):
        return None
    due = scan.setup.flow_due.get(tag.of)
    if due is None:
        return value
    set_flow = due.set_flow.at(scan.dph, scan.clock)
    return value / set_flow if set_flow > 0.0 else None


def _keep(scan: Scan, hour: int, sums: dict[str, HourSum]) -> None:
    """Keep the means of an hour that has ended; tags that are gone are dropped."""
    slow = scan.durable.slow
    hours = {key: item for key, item in slow.hours.items() if key in scan.setup.rig.tag}
    for tag in {**hours, **sums}:
        taken = sums.get(tag, _NOTHING)
        mean = taken.total / taken.count if taken.count >= FEWEST else None
        if tag in hours:
            hours[tag] = hours[tag].plus(hour, mean, taken.top)
        elif mean is not None:
            hours[tag] = Hours(hour - 1, (), taken.top).plus(hour, mean, taken.top)
    if hours != slow.hours:
        scan.set_slow(replace(slow, hours=hours))
