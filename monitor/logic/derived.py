"""What follows from readings and rig: mean levels, falls, header endurance, time of the break.

The level at which the siphon breaks is measured at commissioning, never computed: vortex
formulas do not hold for the small bores used here.
"""

from dataclasses import dataclass
from math import inf

from monitor.effects import Evidence
from monitor.logic.chains import Chain
from monitor.logic.hydraulics import drain_time
from monitor.logic.scan import Scan
from monitor.logic.state import SupplyRecord, TagState
from monitor.logic.trails import mean_level, rises, sure_fall
from monitor.rig import Line, Vessel
from monitor.units import L_PER_MIN

AT_BREAK = 0.004
"""A mean header level within 4 mm of the measured break level is at it: noise of a 30 s mean is
0.4 mm, and a valve shut half a centimetre above the break keeps the prime."""
EARLY_SHARE, EARLY_SECONDS = 0.03, 10.0
"""A told break time is earlier by 3 % of what is left and 10 s: the flow meter's own error."""
RUN_UP = 60.0
"""Refill without a flow meter is counted from so long after the mains (riser fills first)."""
UNKNOWN_REFILL = 7200.0
"""Seconds after which a header counts as full where neither level nor pump flow is known."""
UNMEASURED = 60.0
"""Seconds after a loss at which a siphon counts as broken if nobody ever measured how long it
lasts and nothing shows flow: harm time unknown is the worst case."""


@dataclass(frozen=True, slots=True)
class Water:
    """One chain as it stands: values in SI, None where nothing usable says so.

    level: mean header level and level_at the time of that mean. mains_since: since when mains
    is as it is, float_since the same of the float. gauge: the state of the header's level tag,
    from which falls are read.
    """

    chain: Chain
    set_flow: float | None
    flow: float | None
    witness: bool | None
    supply: float | None
    mains: bool | None
    mains_since: float
    level: float | None
    level_at: float
    gauge: TagState | None
    float_closed: bool | None
    float_since: float

    @property
    def fall(self) -> float | None:
        """Metres the header fell over 30 to 120 s where that is sure, else None."""
        return None if self.gauge is None else sure_fall(self.gauge)

    @property
    def rising(self) -> bool:
        """Whether the header rises by more than noise."""
        return self.gauge is not None and rises(self.gauge)

    @property
    def at_lip(self) -> bool:
        """Whether the header is seen full: at its lip, but for 2 mm of the gauge's own error."""
        lip = self.chain.header.lip if self.chain.header is not None else None
        return self.level is not None and lip is not None and self.level >= lip - 0.002

    @property
    def flow_none(self) -> bool | None:
        """Whether no water reaches the larvae, None where no sensor says."""
        if self.flow is not None:
            return self.flow < no_flow_below(self.set_flow)
        return None if self.witness is None else not self.witness

    @property
    def in_band(self) -> bool | None:
        """Whether the flow to the larvae is within a fifth of what is due."""
        if self.flow is not None:
            if not self.set_flow:
                return self.flow > no_flow_below(None)
            return abs(self.flow - self.set_flow) <= 0.2 * self.set_flow
        return self.witness


def no_flow_below(set_flow: float | None) -> float:
    """Flow under which there is none, m3/s: 0.5 L/min, where small turbines stop reading.

    Never above a sixth of the set flow, so that a slow protocol keeps a reading of its own.
    """
    floor = 0.5 * L_PER_MIN
    return floor if not set_flow else min(floor, set_flow / 6.0)


def observe(scan: Scan, chain: Chain) -> Water:
    """Read one chain off the tag states."""
    level = scan.usable(chain.level)
    mean, mean_at = mean_level(level) if level is not None else (None, 0.0)
    mains = scan.usable(chain.mains)
    witness, float_ = scan.value(chain.witness), scan.usable(chain.float)
    due = scan.setup.flow_due.get(chain.line.id)
    return Water(
        chain=chain,
        set_flow=due.set_flow.at(scan.dph, scan.clock) if due is not None else None,
        flow=scan.value(chain.flow),
        witness=None if witness is None else witness >= 0.5,
        supply=scan.value(chain.supply),
        mains=None if mains is None else mains.value == 1.0,
        mains_since=mains.changed if mains is not None else float("-inf"),
        level=mean,
        level_at=mean_at,
        gauge=level,
        float_closed=None if float_ is None else float_.value == 1.0,
        float_since=float_.changed if float_ is not None else float("-inf"),
    )


def water_evidence(water: Water) -> Evidence:
    """What the tags of a chain say, in their own units; only what there is."""
    chain, pairs = water.chain, []
    if chain.mains is not None and water.mains is not None:
        pairs.append((chain.mains.id, "on" if water.mains else "off"))
    for tag, value in (
        (chain.supply, water.supply),
        (chain.level, water.level),
        (chain.flow, water.flow),
    ):
        if tag is not None and value is not None:
            pairs.append((tag.id, tag.unit.show(value)))
    if chain.float is not None and water.float_closed is not None:
        pairs.append((chain.float.id, "closed" if water.float_closed else "open"))
    if chain.witness is not None and water.witness is not None:
        pairs.append((chain.witness.id, "flow" if water.witness else "no flow"))
    return tuple(pairs)


def usable_volume(chain: Chain, flow: float | None = None) -> float | None:
    """m3 between the header lip and the break level, or what the drain test let through."""
    header, line = chain.header, chain.line
    if _has_geometry(header, line):
        return header.area * (header.lip - line.break_level)  # type: ignore[union-attr,operator]
    if line.drain_test is not None:
        return line.drain_test.flow * line.drain_test.endurance
    return None


def endurance(chain: Chain, flow: float | None) -> float | None:
    """Seconds a full header lasts at this flow at the lip: as measured, else by geometry.

    A drain test at another flow is scaled by the flows: the same fall takes longer in proportion.
    """
    header, line = chain.header, chain.line
    test = line.drain_test
    if test is not None:
        return test.endurance * test.flow / flow if flow else test.endurance
    if not flow or not _has_geometry(header, line):
        return None
    assert header is not None and header.area and header.lip and line.break_level is not None
    return drain_time(header.area, flow, header.lip, header.lip, line.break_level, line.head)


def _has_geometry(header: Vessel | None, line: Line) -> bool:
    return (
        header is not None
        and header.area is not None
        and header.lip is not None
        and line.break_level is not None
    )


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the siphon breaks (elapsed): as reckoned, and early enough to be told.

    measured: from a level seen now; otherwise from a drain test or the float.
    """

    at: float
    told: float
    measured: bool


def break_forecast(scan: Scan, water: Water) -> Forecast | None:
    """Time of the break with the supply gone as it is; None where nothing allows to say.

    From the mean header level and the flow before the loss where there is a level; else from
    the float and its drain test; else from the measured endurance less what was not refilled.
    """
    chain = water.chain
    header = chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    flow = (supply.flow_before if supply is not None else None) or water.set_flow
    at: float | None = None
    measured = False
    if water.level is not None and flow and _has_geometry(header, chain.line):
        assert header is not None and header.area and header.lip
        assert chain.line.break_level is not None
        at = water.level_at + drain_time(
            header.area, flow, water.level, header.lip, chain.line.break_level, chain.line.head
        )
        measured = True
    elif supply is not None and supply.lost_since is not None:
        at = _reckoned_break(supply, water)
    if at is None:
        return None
    books = scan.running.books.get(chain.line.id)
    faster = books.harm("header drains back", header) if books is not None else None
    if faster is not None and faster < at:
        return Forecast(faster, faster, True)
    return Forecast(at, early(at, scan.t), measured)


def early(at: float, now: float) -> float:
    """A reckoned time of the break, made earlier by what its reckoning may be wrong."""
    return at - max(0.0, at - now) * EARLY_SHARE - EARLY_SECONDS


def presumed_break(scan: Scan, water: Water) -> float | None:
    """Elapsed time at which the siphon must be taken as broken, with no level and no witness."""
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    if supply is None or supply.lost_since is None:
        return None
    at = _reckoned_break(supply, water)
    return at if at is not None else supply.lost_since + UNMEASURED


def _reckoned_break(supply: SupplyRecord, water: Water) -> float | None:
    """Time of the break by the float's drain test, else by endurance less what is missing."""
    if supply.lost_since is None:
        return None
    test = water.chain.line.drain_test
    opened = supply.float_open_since
    if opened is not None and test is not None and test.float_to_break is not None:
        scale = test.flow / water.set_flow if water.set_flow else 1.0
        return opened + test.float_to_break * scale
    whole, usable = endurance(water.chain, water.set_flow), usable_volume(water.chain)
    if whole is None or not usable:
        return None
    return supply.lost_since + whole * max(0.0, 1.0 - supply.short / usable)


def short_at_float(chain: Chain) -> float:
    """m3 a header lacks when its float opens; all that is usable where nobody measured it."""
    usable = usable_volume(chain) or 0.0
    header, end = chain.header, chain.line.break_level
    height = chain.float.height if chain.float is not None else None
    if header is None or header.area is None or height is None or end is None:
        return usable
    return max(0.0, usable - (height - end) * header.area)


def short_now(scan: Scan, water: Water) -> float:
    """m3 missing in the header now, by integration of what went out and came in."""
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    if supply is None:
        return 0.0
    usable = usable_volume(water.chain) or 0.0
    out = supply.flow_before or water.set_flow or 0.0
    if supply.lost_since is not None:
        return min(usable, supply.short + out * (scan.t - supply.changed))
    refilled = _surplus(water, out) * max(0.0, scan.t - supply.changed - RUN_UP)
    return max(0.0, supply.short - refilled)


def full_again(scan: Scan, water: Water) -> float:
    """Elapsed time at which the header is reckoned full, supply being back; two hours after its
    return where nobody knows what the pump gives."""
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    if supply is None or supply.short <= 0.0:
        return scan.t
    surplus = _surplus(water, supply.flow_before or water.set_flow or 0.0)
    if surplus <= 0.0:
        return supply.changed + UNKNOWN_REFILL
    return supply.changed + RUN_UP + supply.short / surplus


def float_due(scan: Scan, water: Water) -> float:
    """Elapsed time by which the float must have closed after an outage, with a quarter to spare.

    inf where it is closed, or where nobody knows how fast the header fills.
    """
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    if supply is None or supply.lost_since is not None or water.float_closed is not False:
        return inf
    surplus = _surplus(water, supply.flow_before or water.set_flow or 0.0)
    missing = max(0.0, supply.short - short_at_float(water.chain))
    if surplus <= 0.0:
        return inf
    return supply.changed + 2.0 * RUN_UP + 1.25 * missing / surplus


def _surplus(water: Water, out: float) -> float:
    """What the pump gives more than the siphon takes, m3/s; 0.0 where that is not known."""
    pump = water.chain.pump
    return max(0.0, (pump.pump_flow or 0.0) - out) if pump is not None else 0.0


def refill_seconds(water: Water) -> float | None:
    """Seconds from the level now to the lip with the pump on and the siphon taking nothing."""
    header, pump = water.chain.header, water.chain.pump
    if header is None or header.area is None or header.lip is None or water.level is None:
        return None
    inflow = water.supply or (pump.pump_flow if pump is not None else None)
    if not inflow:
        return None
    return max(0.0, header.lip - water.level) * header.area / inflow
