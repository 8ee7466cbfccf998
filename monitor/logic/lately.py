"""What moves slowly, told once a day: trends and heat ahead, in the journal, never at night."""

from dataclasses import replace

from monitor.logic import hours
from monitor.logic.crest import watch_crest
from monitor.logic.heat_ahead import heat_lines, unfitted_lines
from monitor.logic.quiet import is_quiet
from monitor.logic.scan import Scan
from monitor.logic.trend_lines import Line, trend_lines


def take_minute(scan: Scan) -> None:
    """Before the readings of a step: take the minute that ended; at a full hour tell what moves."""
    if hours.take(scan):
        _tell(scan)


def watch_lines(scan: Scan) -> None:
    """Look at each line for flow that drops out by itself."""
    for water in scan.waters:
        watch_crest(scan, water)


def lines(scan: Scan) -> dict[str, Line]:
    """All there is to say of what moves slowly, by name: for the journal and the morning line."""
    setup, slow, utc = scan.setup, scan.durable.slow, scan.now.utc
    values = {
        tag.id: value
        for tag in setup.rig.tags
        if tag.measures == "temperature" and (value := scan.value(tag)) is not None
    }
    return trend_lines(setup, slow, utc) | heat_lines(setup, slow, values, utc)


def shown(scan: Scan) -> list[str]:
    """The same for who asks, and what cannot be said yet."""
    return [
        *(line.whole for line in lines(scan).values()),
        *unfitted_lines(scan.setup, scan.durable.slow, scan.now.utc),
    ]


def _tell(scan: Scan) -> None:
    """Journal what was not told today yet; in the quiet hours nothing is told."""
    if is_quiet(scan) or not scan.watch_set:
        return
    slow, today = scan.durable.slow, scan.setup.local_day(scan.now.utc).toordinal()
    told = {name: day for name, day in slow.told.items() if day == today}
    for name, line in lines(scan).items():
        if name not in told:
            told[name] = today
            scan.journal("trend", name, "told", grade="notice", text=line.whole)
    if told != slow.told:
        scan.set_slow(replace(slow, told=told))
