"""One sheet of the balance: the levels and flows of a way of the water as they run just now."""

from monitor.logic.chains import Chain
from monitor.logic.derived import Water, no_flow_below
from monitor.logic.hydraulics import lip_layer
from monitor.logic.scan import Scan
from monitor.logic.slopes import Course, Slope
from monitor.logic.state import FlowState
from monitor.rig import Tag, Vessel
from monitor.units import L_PER_MIN, LITRE

FLOW_FLOOR = 0.05 * L_PER_MIN
"""Noise of one reading of a flow meter at least, m3/s: a pulse or two in its interval."""
STEADY = 0.12
"""Share by which the flow may differ from the minutes before and still count as the same."""
BEFORE = (150.0, 900.0)
"""Seconds ago between which a level or a flow was usual."""
JUST_BACK = 300.0
"""Seconds after the mains or supply came on in which header and sump still move."""
SETTLED = 900.0
"""Seconds of flow in band after which the lip layers stand still (they need two minutes)."""


def litres(volume: float) -> str:
    """A volume for people."""
    return f"{volume / LITRE:.0f} L"


def per_hour(flow: float) -> str:
    """A slow flow for people: L/h under 1 L/min, else L/min."""
    per_minute = flow / L_PER_MIN
    return f"{per_minute:.1f} L/min" if abs(per_minute) >= 1.0 else f"{per_minute * 60:.1f} L/h"


class Sheet:
    """Levels as courses (None where there is no usable gauge), flows as means of 30 s.

    newest readings count, so that a slow gauge is not taken for a still one.
    """

    def __init__(self, scan: Scan, water: Water, sump: Vessel | None, sump_tag: Tag | None) -> None:
        chain = water.chain
        self.scan, self.water, self.t = scan, water, scan.t
        self.header = _course(scan, chain.level)
        self.tank = _course(scan, chain.tank_level)
        self.sump = _course(scan, sump_tag)
        self.sump_vessel = sump
        self.sump_area = sump.area if sump is not None else None
        self.flow_course = _course(scan, chain.flow, FLOW_FLOOR)
        self.supply_course = _course(scan, chain.supply, FLOW_FLOOR)
        header = chain.header
        supply = scan.durable.supplies.get(header.id) if header is not None else None
        self.lost = supply is not None and supply.lost_since is not None
        back = supply.back_since if supply is not None else None
        self.back_ago = self.t - back if back is not None else float("inf")
        self.just_back = min(self.t - water.mains_since, self.back_ago) < JUST_BACK
        self.flow_now, self.flow_usual = self._means(self.flow_course)
        self.supply_now, self.supply_usual = self._means(self.supply_course)
        self.tank_bore = _bore(scan, chain.tank)
        self.tank_layer = lip_layer(self._most_in(), self.tank_bore)
        full = max(chain.pump.pump_flow or 0.0 if chain.pump else 0.0, self.supply_usual or 0.0)
        self.full = full or 2.0 * (water.set_flow or 0.0)
        self.header_bore = _bore(scan, header)
        self.full_layer = lip_layer(self.full, self.header_bore)

    def _most_in(self) -> float:
        """The most that runs into the larval tank in ordinary times, m3/s."""
        return max(self.water.set_flow or 0.0, self.flow_now or 0.0, self.flow_usual or 0.0)

    def _means(self, course: Course | None) -> tuple[float | None, float | None]:
        if course is None:
            return None, None
        now = course.mean(course.newest - 30.0, self.t)
        usual = self.before(course)
        return (now[0] if now else None), (usual[0] if usual else None)

    def before(self, course: Course) -> tuple[float, float] | None:
        """What was usual before the last minutes; of a young watch, its first minute."""
        found = course.mean(self.t - BEFORE[1], self.t - BEFORE[0])
        if found is None and course.newest - course.at[0] > 60.0:
            found = course.mean(course.at[0], course.at[0] + 30.0)
        return found

    def before_at(self, course: Course, at: float) -> tuple[float, float] | None:
        """What was usual in the five minutes before a moment."""
        return course.mean(at - 300.0, at - 15.0)

    def onset(self, slope: Slope, usual: float) -> float:
        """When a straight course left what was usual, not before the quarter of an hour."""
        return max(self.t - BEFORE[1], min(self.t, slope.at - (slope.value - usual) / slope.rate))

    @property
    def flow_steady(self) -> bool:
        """Whether no more runs to the larvae than in the minutes before: metered or by the cup."""
        now, usual = self.flow_now, self.flow_usual
        if now is not None and usual is not None:
            return now <= (1.0 + STEADY) * usual
        return self.water.flow is None and self.settled

    @property
    def settled(self) -> bool:
        """Whether flow has been in band for so long that the lip layers stand still."""
        flow = self.scan.running.flows.get(self.water.chain.line.id, FlowState())
        since = flow.in_band_since
        return since is not None and self.t - since >= SETTLED

    @property
    def comparable(self) -> bool:
        """Whether what the sump does can be told from what header and pipes do in an outage."""
        if self.sump is None or min(self.t - self.water.mains_since, self.back_ago) < SETTLED:
            return False
        return self.header is not None or not (self.lost or self.water.mains is False)

    @property
    def calm(self) -> bool:
        """Whether nothing moves but what leaks: supply on, no hold, flow as it was."""
        if self.lost or self.water.mains is False or not self.comparable:
            return False
        if self.water.chain.line.id in self.scan.durable.holds:
            return False
        return self.settled or not self.water.chain.flow_is_seen

    @property
    def drawn(self) -> float | None:
        """What the siphon draws, m3/s: metered, else as it is set; None where nobody knows."""
        if self.flow_now is not None and self.flow_now >= no_flow_below(self.water.set_flow):
            return self.flow_now
        return flow_out(self.scan, self.water)


def _course(scan: Scan, tag: Tag | None, floor: float | None = None) -> Course | None:
    state = scan.usable(tag)
    if state is None or not state.trail:
        return None
    return Course(state) if floor is None else Course(state, floor)


def _bore(scan: Scan, vessel: Vessel | None) -> float | None:
    """Bore of the overflow of a vessel, where its line says one."""
    lines = scan.setup.rig.lines
    return next(
        (
            line.bore
            for line in lines
            if vessel is not None and line.kind == "overflow" and line.source == vessel.id
        ),
        None,
    )


def sump_of(scan: Scan, chain: Chain) -> tuple[Vessel | None, Tag | None]:
    """The vessel the pump of a chain draws from, and its gauge."""
    source = chain.pump.source if chain.pump is not None else None
    rig = scan.setup.rig
    vessel = rig.vessel.get(source or "")
    return vessel, rig.tag_for("level", source)


def sheet_of(scan: Scan, water: Water) -> Sheet:
    """The sheet of one way of the water, now."""
    return Sheet(scan, water, *sump_of(scan, water.chain))


def flow_out(scan: Scan, water: Water) -> float | None:
    """What the siphons of a header draw while they run, m3/s: as it was before supply went, else
    as set; None where nobody knows."""
    header = water.chain.header
    supply = scan.durable.supplies.get(header.id) if header is not None else None
    if supply is not None and supply.lost_since is not None and supply.flow_before:
        return supply.flow_before
    same = [item for item in scan.waters if item.chain.header is header] or [water]
    drawn = [item.set_flow or item.flow for item in same]
    return sum(flow for flow in drawn if flow) or None
