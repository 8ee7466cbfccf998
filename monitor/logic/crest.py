"""Flow that drops out and comes back by itself: air that collects at the crest of a siphon.

A drop-out is a flow under three quarters of what is set for 10 s to 10 min, outside of a feeding
hold and with the supply there. Longer is an alarm of its own; shorter is a bubble in the sensor.
"""

from dataclasses import replace

from monitor.logic.conditions import holds_quiet
from monitor.logic.derived import Water
from monitor.logic.scan import Scan
from monitor.logic.slow import Dips

DOWN, BACK = 0.75, 0.9
"""Shares of the set flow at which it counts as down, and as back (own choice, no source)."""
SHORTEST, LONGEST = 10.0, 600.0
DAYS = 7


def watch_crest(scan: Scan, water: Water) -> None:
    """Count the drop-outs of one line by local day."""
    line, due = water.chain.line.id, water.set_flow
    since = scan.running.dips.get(line)
    if water.flow is None or not due or not water.chain.drawn_by_siphon:
        return
    if since is None:
        if water.flow < DOWN * due and not _explained(scan, water):
            scan.set_dip(line, scan.t)
    elif _explained(scan, water):
        scan.set_dip(line, None)
    elif water.flow > BACK * due:
        scan.set_dip(line, None)
        if SHORTEST <= scan.t - since <= LONGEST and scan.now.trusted:
            _count(scan, line)


def _explained(scan: Scan, water: Water) -> bool:
    """Whether a hold, a lost supply or a broken siphon is why the flow is down."""
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    lost = supply is not None and supply.lost_since is not None
    return (
        lost
        or water.chain.line.id in scan.durable.siphons
        or holds_quiet(scan, water.chain.line.id)
    )


def _count(scan: Scan, line: str) -> None:
    slow = scan.durable.slow
    today, was = scan.setup.local_day(scan.now.utc).toordinal(), slow.dips.get(line, Dips())
    if was.days and was.days[-1] == today:
        dips = replace(was, counts=(*was.counts[:-1], was.counts[-1] + 1))
    else:
        dips = Dips((*was.days, today)[-DAYS:], (*was.counts, 1)[-DAYS:])
    scan.set_slow(replace(slow, dips={**slow.dips, line: dips}))
