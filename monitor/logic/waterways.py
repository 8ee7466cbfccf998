"""What is true of the way of the water: supply lost, siphon broken, a feeding hold overrun.

An outage is read off whatever tags there are. The siphon counts as broken until flow is proven,
and where nothing shows flow it is presumed broken once the measured endurance has run out.
"""

from dataclasses import replace

from monitor.logic.conditions import settle
from monitor.logic.derived import (
    AT_BREAK,
    Water,
    early,
    endurance,
    float_due,
    no_flow_below,
    presumed_break,
    short_at_float,
    short_now,
    water_evidence,
)
from monitor.logic.holds import judge_hold
from monitor.logic.hydraulics import flow_at
from monitor.logic.scan import Scan
from monitor.logic.state import FlowState, SiphonRecord, SupplyRecord
from monitor.logic.trails import FLOW_SPAN, MEAN_SPAN, mean_level

BREAKS_WITHIN = 90.0
"""Seconds from the end of the flow in which the header must be seen at the break level: the mean
lags by half its span, the rest is spare. One that gets there later without falling evaporates."""
SHALLOW = 0.005
"""Metres below the lip at which a header has begun to sink."""
PUMP_UP = 180.0
"""Seconds after the mains came on in which a header may still show the fall of the outage."""
OLD_SIGN = 300.0
"""Mains off for longer than this is no sign of a loss that begins now."""


def judge_water(scan: Scan, water: Water) -> None:
    """Judge the conditions of one chain."""
    _follow_flow(scan, water)
    _judge_witnesses(scan, water)
    if water.chain.drawn_by_siphon:
        _judge_supply(scan, water)
        _judge_siphon(scan, water)
    judge_hold(scan, water)


def _judge_supply(scan: Scan, water: Water) -> None:
    chain = water.chain
    subject = chain.header.id if chain.header is not None else chain.line.id
    spec = scan.plan.specs[f"supply lost/{subject}"]
    record = scan.durable.supplies.get(subject, SupplyRecord())
    was = scan.running.conditions.get(spec.id)
    held = was is not None and was.truth
    closes = float_due(scan, water)
    scan.due(closes)
    truth = supply_is_lost(water, held, record.mains_not_off, scan.t, closes)
    sign = scan.t
    if record.lost_since is not None:
        sign = record.lost_since
    elif water.mains is False and scan.t - water.mains_since <= OLD_SIGN:
        sign = max(water.mains_since, scan.running.started)
    settle(scan, spec, truth, lambda: water_evidence(water), sign)
    _keep_supply(scan, water, subject, truth, sign)


def supply_is_lost(
    water: Water, held: bool, mains_not_off: bool, now: float, closes: float
) -> bool | None:
    """Whether the header gets nothing: by flow, else by mains, else by the water in it.

    A flow of zero alone may be a dead meter, so mains or the falling header must agree; without
    a header level the meter is believed, for a pump may stop with the mains on. Without a meter,
    mains off means lost unless the header plainly stays full; mains on means supplied unless the
    header sinks. `held`: whether it counted as lost a moment ago, `mains_not_off`: and that with
    the mains on or not sensed. `closes`: when a float that opened in an outage must have closed.
    """
    if water.supply is not None:
        if water.supply >= no_flow_below(water.set_flow):
            return False
        alone = water.level is None
        return held or alone or water.mains is False or water.fall is not None
    if water.mains is False:
        return held or not _stays_full(water)
    by_water = mains_not_off and held
    if water.mains is True and not by_water and now - water.mains_since < PUMP_UP:
        return False
    if water.level is not None:
        if held:
            return not (water.rising or water.at_lip)
        return water.fall is not None and _has_sunk(water)
    if water.mains is True and not by_water:
        still_open = water.float_since > water.mains_since or now >= closes
        return water.float_closed is False and still_open
    if water.float_closed is None or (held and not by_water):
        return None
    return not water.float_closed


def _has_sunk(water: Water) -> bool:
    """Whether the header stands plainly below its lip, or nobody knows where its lip is."""
    lip = water.chain.header.lip if water.chain.header is not None else None
    return water.level is not None and (lip is None or water.level <= lip - SHALLOW)


def _stays_full(water: Water) -> bool:
    """Whether the header is full and not sinking although flow leaves it."""
    if water.level is None or water.flow_none is not False:
        return False
    return not _has_sunk(water) and water.fall is None


def _keep_supply(scan: Scan, water: Water, subject: str, truth: bool | None, sign: float) -> None:
    """Remember when supply went and came, and how far the header is from full by then."""
    record = scan.durable.supplies.get(subject, SupplyRecord())
    if truth is True and record.lost_since is None:
        before = flow_before(scan, water)
        record = SupplyRecord(
            lost_since=sign,
            back_since=record.back_since,
            short=_short_at_loss(scan, water, (before or 0.0) * (scan.t - sign)),
            changed=sign,
            flow_before=before,
            mains_not_off=water.mains is not False,
        )
    elif truth is False and record.lost_since is not None:
        _presume_late_return(scan, water, record.lost_since)
        record = SupplyRecord(
            back_since=scan.t,
            short=short_now(scan, water),
            changed=scan.t,
            flow_before=record.flow_before,
            mains_not_off=record.mains_not_off,
        )
    if water.float_closed is False and record.float_open_since is None:
        if record.lost_since is not None and water.float_since >= record.lost_since:
            record = replace(record, float_open_since=water.float_since)
    elif water.float_closed and record.float_open_since is not None:
        record = replace(record, float_open_since=None)
    if record != SupplyRecord():
        scan.set_supply(subject, record)


def _presume_late_return(scan: Scan, water: Water, lost_since: float) -> None:
    """Supply that comes back when the siphon was about to break comes too late, for all one knows.

    Only where neither flow nor header is seen; the margin is that of a time told at the loss.
    """
    at, line = presumed_break(scan, water), water.chain.line.id
    if at is None or water.flow_none is not None or water.level is not None:
        return
    if line not in scan.durable.siphons and scan.t >= early(at, lost_since):
        scan.set_siphon(line, SiphonRecord(min(at, scan.t), True, _reckoned_by(water)))


def _short_at_loss(scan: Scan, water: Water, since_then: float) -> float:
    """m3 the header lacked before `since_then` m3 ran out: by level, by float, or reckoned."""
    header, level = water.chain.header, scan.value(water.chain.level)
    if level is not None and header is not None and header.area and header.lip:
        return max(0.0, (header.lip - level) * header.area - since_then)
    if water.supply is None and water.mains is not False:
        return short_at_float(water.chain)
    reckoned = short_now(scan, water)
    return max(reckoned, short_at_float(water.chain)) if _was_open(scan, water) else reckoned


def _was_open(scan: Scan, water: Water) -> bool:
    """Whether the float had opened before the supply went this time."""
    return water.float_closed is False and water.float_since < scan.t


def flow_before(scan: Scan, water: Water) -> float | None:
    """Mean siphon flow of the ten minutes before now, referred to the header lip; m3/s.

    Only of the time since it came into band, where that is shorter. In a feeding hold it is what
    will flow when the hold ends.
    """
    state = scan.usable(water.chain.flow)
    header, line = water.chain.header, water.chain.line
    in_band = scan.running.flows.get(line.id, FlowState()).in_band_since
    held_off = line.id in scan.durable.holds and in_band is None and water.set_flow
    if state is None or not state.trail or header is None or held_off:
        return water.set_flow
    since = scan.t - in_band if in_band is not None else FLOW_SPAN
    mean, _ = mean_level(state, min(FLOW_SPAN, max(since, MEAN_SPAN)))
    if mean < no_flow_below(water.set_flow):
        return water.set_flow
    if water.level is None or header.lip is None:
        return mean
    return mean / flow_at(1.0, min(water.level, header.lip), header.lip, line.head)


# The siphon


def _judge_siphon(scan: Scan, water: Water) -> None:
    chain = water.chain
    line = chain.line.id
    spec = scan.plan.specs[f"siphon broken/{line}"]
    latched = scan.durable.siphons.get(line)
    if latched is not None:
        settle(scan, spec, True, lambda: water_evidence(water))
        _see_presumption(scan, water, latched)
        return
    truth, how, presumed, since = siphon_signs(scan, water)
    settle(scan, spec, truth, lambda: (("how", how), *water_evidence(water)), since)
    state = scan.running.conditions.get(spec.id)
    if state is not None and state.active and state.truth:
        scan.set_siphon(line, SiphonRecord(state.first_sign, presumed, how))


def siphon_signs(scan: Scan, water: Water) -> tuple[bool | None, str, bool, float | None]:
    """Whether the siphon has broken: truth, how it is known, whether presumed, since when.

    Only an outage that is under way, or a header that has run down to its break level, can break
    it here; flow that stops for another reason is the condition `no flow`.
    """
    chain = water.chain
    header = chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    lost_since = supply.lost_since if supply is not None else None
    end = chain.line.break_level
    at_break = None if water.level is None or end is None else water.level <= end + AT_BREAK
    if lost_since is None and not at_break:
        return False, "", False, None
    if water.flow_none is not None:
        since = scan.running.flows.get(chain.line.id, FlowState()).none_since
        seen_by = "flow" if water.flow is not None else "witness"
        if not water.flow_none:
            return False, "", False, None
        if at_break is not None:
            broken = at_break and not _ended_before(scan, water, since)
            return broken, f"{seen_by} shows none, header at break level", False, since
        stopped_before = since is not None and lost_since is not None and since < lost_since
        return not stopped_before, f"{seen_by} shows none", False, since
    if at_break is not None:
        return at_break, BY_LEVEL, True, None
    at = presumed_break(scan, water)
    if at is None or _may_still_speak(scan, water):
        return None, "", True, None
    scan.due(at)
    return scan.t >= at, _reckoned_by(water), True, at


def _ended_before(scan: Scan, water: Water, since: float | None) -> bool:
    """Whether flow ended well before a steady header came to its break level: a valve was shut."""
    standing = scan.running.conditions.get(f"siphon broken/{water.chain.line.id}")
    if since is None or (standing is not None and standing.truth):
        return False
    return scan.t - since > BREAKS_WITHIN and water.fall is None


def _may_still_speak(scan: Scan, water: Water) -> bool:
    """Whether the watch has just started and a sensor that would know has not reported yet."""
    since = scan.t - scan.running.started
    tags = (water.chain.flow, water.chain.witness, water.chain.level)
    return any(
        tag is not None and since <= tag.stale and tag.id not in scan.running.tags for tag in tags
    )


BY_LEVEL = "header run down; flow not measured"
BY_TEST = "drain test; flow not measured"
RECKONED = "reckoned; flow not measured"
UNTESTED = "endurance unknown; flow not measured"
"""How a break is presumed, in the words of texts and record."""


def _reckoned_by(water: Water) -> str:
    if water.chain.line.drain_test is not None:
        return BY_TEST
    return UNTESTED if endurance(water.chain, water.set_flow) is None else RECKONED


def _see_presumption(scan: Scan, water: Water, latched: SiphonRecord) -> None:
    """A witness that comes to see no flow turns a presumption into something seen."""
    if latched.presumed and water.flow_none:
        since = scan.running.flows.get(water.chain.line.id, FlowState()).none_since
        scan.set_siphon(
            water.chain.line.id, SiphonRecord(since or latched.since, False, "seen later")
        )


def _follow_flow(scan: Scan, water: Water) -> None:
    """Follow flow to the larvae: since when in band without a break, since when none.

    One reading outside the band (a bubble) breaks nothing; two in a row do.
    """
    chain = water.chain
    tag = chain.flow if scan.usable(chain.flow) is not None else chain.witness
    state = scan.usable(tag)
    was = scan.running.flows.get(chain.line.id, FlowState())
    if state is None:
        scan.set_flow(chain.line.id, FlowState())
        return
    if state.at == was.seen_at:
        return
    in_band, since, outside = bool(water.in_band), was.in_band_since, was.outside
    if in_band:
        since, outside = (state.at if since is None else since), 0
    else:
        outside += 1
        since = None if outside >= 2 else since
    none_since = (was.none_since or state.at) if water.flow_none else None
    scan.set_flow(chain.line.id, FlowState(since, outside, none_since, state.at))


def _judge_witnesses(scan: Scan, water: Water) -> None:
    """Whether nothing that shows flow to the larvae is left: every such tag silent or bad."""
    tags = water.chain.sighted
    if not tags:
        return
    waited = all(scan.t - scan.running.started > tag.stale for tag in tags)
    blind = waited and all(scan.usable(tag) is None for tag in tags)
    spec = scan.plan.specs[f"flow not seen/{water.chain.line.id}"]
    settle(scan, spec, blind, lambda: tuple((tag.id, "bad or silent") for tag in tags))
