"""What moves slowly, told once a day: trends and heat ahead, in the journal, never at night."""

from dataclasses import replace

from monitor.logic import hours
from monitor.logic.crest import watch_crest
from monitor.logic.heat_ahead import heat_lines
from monitor.logic.scan import Scan
from monitor.logic.trend_lines import trend_lines


def take_minute(scan: Scan) -> None:
    """Before the readings of a step: take the minute that ended; at a full hour tell what moves."""
    if hours.take(scan):
        _tell(scan)


def watch_lines(scan: Scan) -> None:
    """Look at each line for flow that drops out by itself."""
    for water in scan.waters:
        watch_crest(scan, water)


def lines(scan: Scan) -> dict[str, str]:
    """All there is to say of what moves slowly, by name: for the morning line and for `now`."""
    setup, slow = scan.setup, scan.durable.slow
    return trend_lines(setup, slow, scan.now.utc)


def heat(scan: Scan) -> list[str]:
    """What the heat of the day will do to the water."""
    values = {
        tag.id: value
        for tag in scan.setup.rig.tags
        if tag.measures == "temperature" and (value := scan.value(tag)) is not None
    }
    return heat_lines(scan.setup, scan.durable.slow, values, scan.now.utc)


def _tell(scan: Scan) -> None:
    """Journal what was not told today yet; in the quiet hours nothing is told."""
    setup, slow = scan.setup, scan.durable.slow
    start, end = setup.quiet
    quiet = start <= scan.clock or scan.clock < end if start > end else start <= scan.clock < end
    if quiet or not scan.watch_set:
        return
    today = setup.local_day(scan.now.utc).toordinal()
    told = {name: day for name, day in slow.told.items() if day == today}
    for name, line in lines(scan).items():
        if name not in told:
            told[name] = today
            scan.journal("trend", name, "told", grade="notice", text=line)
    if told != slow.told:
        scan.set_slow(replace(slow, told=told))
