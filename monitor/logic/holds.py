"""Feeding holds: flow reduced or off by intent, with an end; over when flow is back."""

from monitor.logic.conditions import settle
from monitor.logic.derived import Water, water_evidence
from monitor.logic.scan import Scan
from monitor.logic.state import FlowState, HoldRecord


def judge_hold(scan: Scan, water: Water) -> None:
    """End a hold that is over, and judge whether one has overrun."""
    line = water.chain.line.id
    hold = scan.durable.holds.get(line)
    spec = scan.plan.specs[f"hold overrun/{line}"]
    if hold is None:
        settle(scan, spec, False, lambda: water_evidence(water))
        return
    flow = scan.running.flows.get(line, FlowState())
    if _hold_is_over(scan, hold, flow, water):
        scan.journal("event", f"hold {line}", "ended", who=hold.who)
        scan.set_hold(line, None)
        settle(scan, spec, False, lambda: water_evidence(water))
        return
    scan.due(hold.end)
    if flow.in_band_since is not None:
        scan.due(flow.in_band_since + HOLD_OVER)
    overrun = scan.t >= hold.end and not water.in_band
    settle(scan, spec, overrun, lambda: water_evidence(water), hold.end)


def _hold_is_over(scan: Scan, hold: HoldRecord, flow: FlowState, water: Water) -> bool:
    if not water.chain.flow_is_seen:
        return scan.t >= hold.end
    if flow.in_band_since is None or scan.t < flow.in_band_since + HOLD_OVER:
        return False
    return flow.in_band_since > hold.start or scan.t >= hold.end


HOLD_OVER = 60.0
"""Seconds of flow in band that end a hold: after the valve was shut, or at its planned end."""
