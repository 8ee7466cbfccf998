"""The way of the water over a day: delivered, stopped, supply and mains lost. Pure."""

from collections.abc import Callable

from monitor.logic.chains import Chain
from monitor.logic.derived import no_flow_below
from monitor.record.course import Course
from monitor.record.frame import Frame, Seen, in_steps
from monitor.record.rows import Measure, Missing, Water
from monitor.record.spans import Spans, joined, overlap, seconds, without
from monitor.rig import Tag
from monitor.setup import Profile, Setup


class WaterSums:
    """Takes the tags of a day one by one and keeps what concerns the way of the water."""

    def __init__(self, frame: Frame, chain: Chain | None) -> None:
        self._frame = frame
        self._chain = chain
        self._flow: Seen | None = None
        self._delivered = 0.0
        self._none: Spans = ()
        self._lost: dict[str, Measure] = {}

    def add(self, seen: Seen) -> None:
        """A tag of the rig; most have no part in it."""
        chain, tag = self._chain, seen.tag
        if chain is None:
            return
        if tag == chain.flow:
            self._flow, self._delivered = seen, seen.course.integral
            self._none = _below(self._frame, seen.course, lambda setup: no_flow(setup, chain, tag))
        elif tag == chain.witness and chain.flow is None:
            self._flow, self._none = seen, seen.course.below(0.5)
        elif tag == chain.supply:
            lost = _below(self._frame, seen.course, lambda setup: no_supply(setup, chain))
            self._lost["supply"] = seconds(lost) if seen.spans else Missing.NOT_OBSERVED
        elif tag == chain.mains:
            lost = seen.course.below(0.5)
            self._lost["mains"] = seconds(lost) if seen.spans else Missing.NOT_OBSERVED

    @property
    def holds(self) -> Spans:
        """Feeding holds on the line."""
        return self._frame.holds.get(self._chain.line.id, ()) if self._chain is not None else ()

    def row(self, setup: Setup) -> Water:
        """What they say together."""
        by = self._flow.tag if self._flow is not None else None
        nothing = Missing.NOT_OBSERVED if by is not None else Missing.NOT_MEASURED
        observed = self._flow is not None and bool(self._flow.spans)
        volume = setup.rig.vessel[setup.run.tank].volume if setup.run is not None else None
        delivered: Measure = nothing
        if by is not None and by.measures != "flow":
            delivered = Missing.NOT_MEASURED
        elif observed:
            delivered = self._delivered
        holds = self.holds
        return Water(
            by=by.id if by is not None else "",
            seen=seconds(self._flow.spans) if self._flow is not None else 0.0,
            delivered=delivered,
            turnovers=_turnovers(delivered, volume),
            no_flow=seconds(without(self._none, holds)) if observed else nothing,
            no_flow_in_holds=seconds(overlap(self._none, holds)) if observed else nothing,
            supply_lost=self._lost.get("supply", Missing.NOT_MEASURED),
            mains_lost=self._lost.get("mains", Missing.NOT_MEASURED),
        )


def _turnovers(delivered: Measure, volume: float | None) -> Measure:
    if isinstance(delivered, Missing):
        return delivered
    return delivered / volume if volume else Missing.NOT_MEASURED


def _below(frame: Frame, found: Course, profile: Callable[[Setup], Profile]) -> Spans:
    return joined(
        below
        for span, limit in in_steps(frame, profile)
        for below in found.within([span]).below(limit)
    )


def no_flow(setup: Setup, chain: Chain, tag: Tag) -> Profile:
    """The limit "no flow" of the sheet; without one, what the watch takes for none."""
    for limit in setup.limits_of.get(tag.id, ()):
        if limit.condition == "no flow" and limit.side == "low":
            return limit.value
    return no_supply(setup, chain)


def no_supply(setup: Setup, chain: Chain) -> Profile:
    """The flow under which a supply counts as lost, by dph."""
    due = setup.flow_due.get(chain.line.id)
    flow = due.set_flow if due is not None else Profile.constant(0.0)
    steps = tuple((dph, no_flow_below(value)) for dph, value in flow.steps)
    return Profile(steps, flow.changes_at)
