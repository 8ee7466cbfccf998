"""The quiet rule: what may wait for the morning, by the computed time of harm. Pure.

A notice waits. A high alarm waits only where its harm is known to come after the start of the
working day, the way there and the work; by night one whose harm would come before the fastest
person has done the work is called as urgent. A time of harm that is not known is no comfort.
"""

from math import inf, isfinite, sqrt

from monitor.logic import duty, storm
from monitor.logic.plan import LimitPlan, Spec
from monitor.logic.scan import Scan
from monitor.logic.state import Bucket
from monitor.setup import Setup

TEXT = 60.0
"""Seconds from a condition that is told to the phone (common practice, no source)."""
WORK, MARGIN = 900.0, 900.0
"""Seconds of work at the tank, and to spare (common practice, no source)."""
MORNING_WORK = 3600.0
"""Seconds of work that a matter of the morning takes (common practice, no source)."""
LEAST_TREND = 300.0
"""Seconds of readings from which a trend is taken at all (common practice, no source)."""


def is_quiet(scan: Scan) -> bool:
    """Whether these are the quiet hours of the site."""
    return in_quiet_hours(scan.setup, scan.now.utc)


def in_quiet_hours(setup: Setup, utc: float) -> bool:
    """Whether a UTC second lies in the quiet hours of the site."""
    begin, end = setup.quiet
    clock = setup.seconds_into_day(utc)
    return begin <= clock or clock < end if begin > end else begin <= clock < end


def morning(scan: Scan) -> float:
    """Elapsed time of the end of these quiet hours."""
    return scan.t + scan.setup.next_time_of_day(scan.now.utc, scan.setup.quiet[1]) - scan.now.utc


def waits_until(scan: Scan, spec: Spec) -> float:
    """Elapsed time before which a condition is not told."""
    if spec.grade != "high" or storm.is_on(scan) or not is_quiet(scan):
        return grade_waits_until(scan, spec.grade)
    start, harm = morning(scan), harm_at(scan, spec)
    return start if harm is not None and may_wait(scan, start, harm) else scan.t


def grade_waits_until(scan: Scan, grade: str) -> float:
    """The same where only the grade is known: a notice waits, except in a storm."""
    if grade in ("high", "urgent") or storm.is_on(scan) or not is_quiet(scan):
        return scan.t
    return morning(scan)


def may_wait(scan: Scan, start: float, harm: float) -> bool:
    """Whether harm comes only after the start of the day, the way of the first, and the work."""
    return harm > start + _way(scan, start, fastest=False) + MORNING_WORK


def grade_by_night(scan: Scan, spec: Spec) -> str:
    """The grade of a condition now: by night high is urgent where nobody can be done before the
    harm that is reckoned."""
    if spec.grade != "high" or not is_quiet(scan):
        return spec.grade
    harm = harm_at(scan, spec)
    late = scan.t + _way(scan, scan.t, fastest=True) + WORK + MARGIN
    return "urgent" if harm is not None and harm < late else "high"


def _way(scan: Scan, at: float, fastest: bool) -> float:
    """Seconds to the door of the fastest or of the first of the list, who wakes up for it."""
    order = duty.order_at(scan.setup, scan.durable, scan.now.utc_at(at))
    ways = [
        duty.to_door(scan.setup, scan.durable, scan.setup.person[name], scan.now.utc_at(at), True)
        for name in order
    ]
    if not ways:
        return inf if not fastest else 0.0
    return TEXT + (min(ways) if fastest else ways[0])


def harm_at(scan: Scan, spec: Spec) -> float | None:
    """Elapsed time at which a limit on the same tag that needs people at once is reached, reckoned
    early from the trend of the tag; None where that is not known, inf where it never comes."""
    plan = next(
        (item for on_tag in scan.plan.limits.values() for item in on_tag if item.spec is spec), None
    )
    if plan is None:
        return _found_by_balance(scan, spec)
    state = scan.usable(plan.tag)
    if state is None or state.value is None:
        return None
    border = _border(scan, plan)
    slope = _slope(state.trail)
    if border is None or slope is None:
        return None
    sign = 1.0 if plan.limit.side == "high" else -1.0
    left = sign * (border - state.value)
    if left <= 0.0:
        return scan.t
    mean, error = slope
    pace = sign * mean + 2.0 * error
    return state.at + left / pace if pace > 0.0 else inf


def _found_by_balance(scan: Scan, spec: Spec) -> float | None:
    """The time of harm of a condition of the balance, told early; None where it is not known."""
    books = scan.running.books.values()
    found = next((item.found[spec.id] for item in books if spec.id in item.found), None)
    return found.harm if found is not None else None


def _border(scan: Scan, plan: LimitPlan) -> float | None:
    """The nearest limit of grade urgent beyond this one, in SI; None where the tag has none."""
    sign = 1.0 if plan.limit.side == "high" else -1.0
    own = sign * plan.limit.value.at(scan.dph, scan.clock)
    found = [
        sign * item.limit.value.at(scan.dph, scan.clock)
        for item in scan.plan.limits[plan.tag.id]
        if item.limit.side == plan.limit.side and item.limit.grade == "urgent"
    ]
    beyond = [value for value in found if isfinite(value) and value >= own]
    return sign * min(beyond) if beyond else None


def _slope(trail: tuple[Bucket, ...]) -> tuple[float, float] | None:
    """Change per second over the trail and its standard error, by least squares; None where it is
    too short. The error of a straight line: Draper & Smith, Applied Regression Analysis, chapter 1
    (from memory)."""
    count = len(trail)
    if count < 3 or trail[-1].at - trail[0].at < LEAST_TREND:
        return None
    mean_at = sum(item.at for item in trail) / count
    mean = sum(item.value for item in trail) / count
    spread = sum((item.at - mean_at) ** 2 for item in trail)
    slope = sum((item.at - mean_at) * (item.value - mean) for item in trail) / spread
    rest = sum((item.value - mean - slope * (item.at - mean_at)) ** 2 for item in trail)
    return slope, sqrt(rest / (count - 2) / spread)
