"""Feeding holds: flow reduced or off by intent, with an end; over when flow is back."""

from dataclasses import replace

from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic.conditions import settle
from monitor.logic.derived import Water, water_evidence
from monitor.logic.scan import Scan
from monitor.logic.state import FlowState, HoldRecord

LONGEST = 240.0
"""Minutes of a hold: what is off for longer is no feeding (common practice, no source)."""
MORE = 30.0
"""Minutes by which a hold may be lengthened, once (common practice, no source)."""


def begin(scan: Scan, said: Answer) -> str:
    """A feeding hold begins on a line, or the one in force gets another end; which line."""
    line = _line(scan, said)
    if said.minutes is None or not 0.0 < said.minutes <= LONGEST:
        raise RefusedInput(f"a hold has an end: between 1 and {LONGEST:.0f} minutes")
    end = scan.t + said.minutes * 60.0
    hold = scan.durable.holds.get(line)
    begun = HoldRecord(line, said.who, scan.t, end)
    scan.set_hold(line, begun if hold is None else _with_end(scan, hold, end))
    till = (("till", scan.site_time(end)),)
    what = "began" if hold is None else "goes on"
    scan.journal("answer", f"hold {line}", what, who=said.who, cause=said.way, evidence=till)
    return line


def _with_end(scan: Scan, hold: HoldRecord, end: float) -> HoldRecord:
    """The hold with another end: sooner at will, later once and by half an hour."""
    if end <= hold.end:
        return replace(hold, end=end)
    since = scan.site_clock(hold.start)
    if hold.lengthened:
        raise RefusedInput(f"held since {since} and lengthened once: open the valve, see flow")
    if end - max(hold.end, scan.t) > MORE * 60.0:
        raise RefusedInput(f"held since {since}: it is lengthened by {MORE:.0f} minutes at most")
    return replace(hold, end=end, lengthened=True)


def end(scan: Scan, said: Answer) -> None:
    """A person ends a hold: missing flow counts again at once."""
    line = _line(scan, said)
    if line not in scan.durable.holds:
        raise RefusedInput(f"there is no hold on {line}")
    scan.set_hold(line, None)
    scan.journal("answer", f"hold {line}", "ended", who=said.who, cause=said.way)


def _line(scan: Scan, said: Answer) -> str:
    lines = [chain.line.id for chain in scan.plan.chains]
    line = said.text.strip() or (lines[0] if len(lines) == 1 else "")
    if line not in lines:
        raise RefusedInput(f"no line {line!r}; a hold names one of {', '.join(lines)}")
    return line


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
