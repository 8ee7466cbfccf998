"""From one [[flow]] to its limits: the band around the set flow, far too low, and no flow."""

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.config.lines import Path
from monitor.config.models import FlowRow, TagRow
from monitor.config.profiles import Steps
from monitor.config.rig_sheet import MINUTE
from monitor.config.rules import seconds_of_day
from monitor.config.sheet import Sheet
from monitor.setup import Limit, Profile
from monitor.units import L_PER_MIN

BAND = 20.0
"""Percent: the usual band around the set flow (common practice, no source)."""
NO_FLOW = 0.5
"""L/min: small turbines read nothing below it; see also `no_flow_floor`."""


@dataclass(frozen=True, slots=True)
class FirstActions:
    """What to do first when there is too little, too much, or nothing; own words."""

    little: str
    much: str
    nothing: str


SIPHON = FirstActions(
    little="Open the siphon valve, bleed the crest.",
    much="Set the valve back, see the header hold.",
    nothing="Check air, then prime the siphon by hand.",
)
PUMPED = FirstActions(
    little="Look at the pump, strainer and valves.",
    much="Set the valve back.",
    nothing="Look at the pump and its breaker.",
)


@dataclass(frozen=True, slots=True)
class Band:
    """The band of one line in percent of the set flow; None where a side is left out."""

    low: float | None
    high: float | None


def band_of(row: FlowRow) -> Band:
    """Nothing said: 20 percent on both sides. One side said: the other is left out."""
    if row.band_percent is None and row.low_percent is None and row.high_percent is None:
        return Band(BAND, BAND)
    low, high = row.low_percent, row.high_percent
    return Band(
        low if low is not None else row.band_percent,
        high if high is not None else row.band_percent,
    )


def check_band(sheet: Sheet, path: Path, row: FlowRow, steps: Steps) -> None:
    """The limits of one flow have to lie in order: no flow, far too low, low."""
    low = band_of(row).low
    if row.far_too_low and low is not None and row.far_too_low_percent >= 100.0 - low:
        wrong = f"is not below the band, which ends at {100.0 - low:g} % of the set flow"
        remedy = "Write a smaller one, or far_too_low = false"
        sheet.problem((*path, "far_too_low_percent"), wrong, remedy)
    flows = [value for _, value in steps if value > 0.0]
    floor = row.no_flow_below_l_min
    if row.no_flow and floor is not None and flows and floor >= 0.9 * min(flows):
        wrong = f"is no lower than the smallest set flow ({min(flows):g} L/min)"
        sheet.problem((*path, "no_flow_below_l_min"), wrong, "Write what the meter still shows")


def no_flow_floor(row: FlowRow, set_flow: float) -> float:
    """L/min under which there is none: as said, else 0.5 but never over half of what is due."""
    if row.no_flow_below_l_min is not None:
        return row.no_flow_below_l_min
    return min(NO_FLOW, 0.5 * set_flow)


def limits_of_flow(row: FlowRow, tag: TagRow, steps: Steps, actions: FirstActions) -> list[Limit]:
    """The limits of a line on its meter; a set flow of 0 is legal and never too low.

    The deadband is a share of the smallest set flow. A hold quiets what is too low, not what is
    too high.
    """
    dues = [value for _, value in steps if value > 0.0]
    deadband = row.deadband_percent / 100.0 * min(dues, default=0.0) * L_PER_MIN
    return [
        Limit(
            condition=part.condition,
            step="",
            tag=tag.id,
            side=part.side,
            value=flow_profile(row, part.steps),
            grade=part.grade,
            on_delay=part.on_delay,
            off_delay=part.off_delay,
            deadband=deadband,
            held_off=part.side == "low",
            first_action=part.first_action,
        )
        for part in _parts(row, steps, actions)
    ]


def flow_profile(row: FlowRow, steps: Steps) -> Profile:
    """Flows in L/min by dph as a profile in SI, changing at the hour at which people set it."""
    at = seconds_of_day(row.changes_at)
    return Profile(tuple((dph, value * L_PER_MIN) for dph, value in steps), at)


@dataclass(frozen=True, slots=True)
class _Part:
    """One limit of a band, its steps in L/min."""

    condition: str
    side: str
    steps: Steps
    grade: str
    on_delay: float
    first_action: str
    off_delay: float = 0.0


def _parts(row: FlowRow, steps: Steps, actions: FirstActions) -> Iterator[_Part]:
    band = band_of(row)
    on, off = row.on_delay_s, row.off_delay_s
    if band.low is not None:
        low = [(dph, due * (1.0 - band.low / 100.0)) for dph, due in steps]
        yield _Part("flow low", "low", low, row.grade, on, actions.little, off)
    if band.high is not None:
        high = [(dph, due * (1.0 + band.high / 100.0) or NO_FLOW) for dph, due in steps]
        yield _Part("flow high", "high", high, row.grade, on, actions.much, off)
    if row.far_too_low:
        half = [(dph, due * row.far_too_low_percent / 100.0) for dph, due in steps]
        delay = row.far_too_low_after_min * MINUTE
        yield _Part("flow far too low", "low", half, "urgent", delay, actions.little)
    if row.no_flow:
        none = [(dph, no_flow_floor(row, due) if due > 0.0 else 0.0) for dph, due in steps]
        yield _Part("no flow", "low", none, "urgent", _none_after(row), actions.nothing)


def _none_after(row: FlowRow) -> float:
    assert row.no_flow_after_min is not None, "the reader of limits.toml has filled it in"
    return row.no_flow_after_min * MINUTE


def limit_of_witness(row: FlowRow, tag: TagRow, steps: Steps, actions: FirstActions) -> Limit:
    """No flow as a witness sees it, which says yes or no."""
    return Limit(
        condition="no flow",
        step="",
        tag=tag.id,
        side="low",
        value=Profile(tuple((dph, 0.5 if due > 0.0 else 0.0) for dph, due in steps)),
        grade="urgent",
        on_delay=_none_after(row),
        held_off=True,
        first_action=actions.nothing,
    )
