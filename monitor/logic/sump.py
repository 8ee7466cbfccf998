"""The sump, last link of the round: leak or evaporation, a screen nobody sees, water that comes in.

Header, larval tank and sump together lose nothing but what evaporates. What is lost faster is a
leak; lost from the sump alone, with the larval tank not seen, it may stand in that tank as well.
"""

from collections.abc import Iterator

from monitor.logic.books import Books, Found
from monitor.logic.derived import early
from monitor.logic.sheet import Sheet, litres, per_hour
from monitor.logic.slopes import SURE, Course, Slope
from monitor.rig import Vessel
from monitor.units import LITRE

HOUR, DAY = 3600.0, 86400.0
OPEN_EVAPORATION = 6.0 * LITRE / DAY
"""m3/s from a square metre of open water at most: 3 to 6 L a day (common practice)."""
FAST = 5.0 * LITRE / HOUR
"""Leak from which it is urgent: 5 L/h (common practice)."""
SLOW_SHARE = 2.0
"""A slow leak loses at least so many times what could evaporate."""
MEAN = 300.0
"""Seconds of one mean of all water."""
KEPT = 36
"""Such means kept: three hours."""
ENOUGH = 9
STILL = 120.0
"""Seconds without a sure loss after which it is over."""
JUMP = 1.0 * LITRE
"""A jump of the mean by more than this is a bucket or a change of flow: the row begins anew."""
RISER = 3.0 * LITRE
"""Water of a riser that comes down when the pump stops (demo rig; no rig describes it)."""

Judged = tuple[str, Found | None, bool]


def parts(sheet: Sheet) -> list[tuple[Course, Vessel]]:
    """The vessels whose water is seen: gauge and area."""
    chain = sheet.water.chain
    seen = (
        (sheet.header, chain.header),
        (sheet.tank, chain.tank),
        (sheet.sump, sheet.sump_vessel),
    )
    return [
        (course, vessel) for course, vessel in seen if course is not None and vessel and vessel.area
    ]


Totals = tuple[tuple[float, float], ...]


def follow(sheet: Sheet, books: Books) -> tuple[Totals, tuple[int, float, float]]:
    """Carry the row of five-minute means of all water that is seen; it begins anew at a jump."""
    if not sheet.calm:
        return (), (0, 0.0, 0.0)
    volume = 0.0
    for course, vessel in parts(sheet):
        now = course.mean(course.newest - 30.0, sheet.t)
        if now is None:
            return books.totals, books.sums
        volume += now[0] * (vessel.area or 0.0)
    count, total, seconds = books.sums
    count, total, seconds = count + 1, total + volume, seconds + sheet.t
    if count < MEAN / 10.0:
        return books.totals, (count, total, seconds)
    mean, at = total / count, seconds / count
    totals = books.totals
    if totals and (abs(mean - totals[-1][1]) > JUMP or at - totals[-1][0] > 3.0 * MEAN):
        totals = ()
    return (*totals[-(KEPT - 1) :], (at, mean)), (0, 0.0, 0.0)


def judge(sheet: Sheet, books: Books, totals: Totals, blocked: bool) -> Iterator[Judged]:
    """Verdicts on the sump: condition id, finding, whether it could be judged."""
    assert sheet.sump_vessel is not None
    subject = sheet.sump_vessel.id
    fast, slow = f"leak/{subject}/fast", f"leak/{subject}/slow"
    falling, filling = f"sump falling/{subject}", f"sump filling/{subject}"
    loss = None if blocked or not sheet.comparable else _loss(sheet)
    was = {key: books.found.get(key) for key in (fast, slow, falling, filling)}
    judged = sheet.comparable
    seen = sheet.tank is not None
    yield falling, (None if seen else _fast(sheet, loss, was[falling], seen)), judged
    yield fast, (_fast(sheet, loss, was[fast], seen) if seen else None), judged
    yield filling, _filling(sheet, loss, was[filling]), judged
    creeping = None if blocked else _slow(sheet, totals, was[slow])
    yield slow, creeping, bool(totals)


def _loss(sheet: Sheet) -> tuple[float, float, float] | None:
    """m3/s that all seen water loses, its error, and the m3 that have gone; None if not sure.

    The span is the shortest in which the sump's own change is sure; the same of the others counts.
    """
    assert sheet.sump is not None
    sump = sheet.sump.sure()
    if sump is None:
        return None
    span = max(60.0, 2.0 * (sheet.t - sump.at))
    rate, variance, gone = 0.0, 0.0, 0.0
    for course, vessel in parts(sheet):
        slope = course.slope(span)
        if slope is None:
            return None
        area = vessel.area or 0.0
        rate += slope.rate * area
        variance += (slope.error * area) ** 2
        usual, now = sheet.before(course), course.mean(course.newest - 30.0, sheet.t)
        if usual is not None and now is not None:
            gone += (usual[0] - now[0]) * area
    error = variance**0.5
    return (-rate, error, gone) if abs(rate) > SURE * error else None


def _fast(
    sheet: Sheet, loss: tuple[float, float, float] | None, was: Found | None, seen: bool
) -> Found | None:
    """Water goes at 5 L/h and more, by more than lip layers that nobody sees could hold."""
    if loss is None or loss[0] <= 0.0:
        return _still_down(sheet, was)
    rate, error, gone = loss
    if was is None and (rate - 2.0 * error < FAST or gone < _unseen(sheet)):
        return None
    since = was.since if was is not None else sheet.t
    cause = _where(sheet) if seen else "leak, or outlet screen blocked"
    why = (("loses", per_hour(rate)), ("could evaporate", per_hour(_evaporates(sheet))))
    dry = _dry(sheet, rate + error)
    return Found(since, sheet.t, (*why, ("where", cause)), cause, dry, "pump dry")


def _still_down(sheet: Sheet, was: Found | None) -> Found | None:
    """What was lost is over once no loss has been sure for two minutes."""
    if was is None or sheet.t - was.mark > STILL:
        return None
    return was


def _where(sheet: Sheet) -> str:
    """Which vessel loses the water, as far as the levels tell."""
    chain = sheet.water.chain
    if sheet.tank is not None:
        usual = sheet.before(sheet.tank)
        now = sheet.tank.mean(sheet.tank.newest - 30.0, sheet.t)
        if usual is not None and now is not None and usual[0] - now[0] > sheet.tank_layer + 0.003:
            return f"{chain.tank.id if chain.tank else 'tank'} itself sinks below its lip"
    return "sump, pipes, or a tank above its lip"


def _dry(sheet: Sheet, rate: float) -> float | None:
    """When the pump draws air, told early: the sump at the height of the pump's mouth."""
    pump, area = sheet.water.chain.pump, sheet.sump_area
    if pump is None or pump.mouth is None or not area or sheet.sump is None or rate <= 0.0:
        return None
    now = sheet.sump.mean(sheet.sump.newest - 30.0, sheet.t)
    if now is None:
        return None
    return early(sheet.t + max(0.0, now[0] - pump.mouth) * area / rate, sheet.t)


def _unseen(sheet: Sheet) -> float:
    """m3 that may go into lip layers and pipes that nobody sees without being lost."""
    chain = sheet.water.chain
    unseen = RISER if sheet.header is None and not sheet.settled else 0.0
    if sheet.tank is None and chain.tank is not None and not sheet.settled:
        unseen += sheet.tank_layer * (chain.tank.area or 1.0)
    if sheet.header is None and chain.header is not None and not sheet.settled:
        unseen += sheet.full_layer * (chain.header.area or 1.0)
    return unseen + 0.5 * LITRE


def _filling(
    sheet: Sheet, loss: tuple[float, float, float] | None, was: Found | None
) -> Found | None:
    """More water than there was: the top-up stands open, or something drains into the sump."""
    if loss is None or loss[0] >= 0.0:
        return _still_down(sheet, was)
    rate, error, gone = -loss[0], loss[1], -loss[2]
    if was is None and (rate - 2.0 * error < FAST or gone < _unseen(sheet) + 2.0 * LITRE):
        return None
    since = was.since if was is not None else sheet.t
    why = (("gains", per_hour(rate)), ("so far", litres(max(gone, 0.0))))
    return Found(since, sheet.t, why, "top-up open, or water from elsewhere")


def _evaporates(sheet: Sheet) -> float:
    """m3/s that could evaporate at most from the vessels of this way."""
    chain = sheet.water.chain
    vessels = (chain.header, chain.tank, sheet.sump_vessel)
    return OPEN_EVAPORATION * sum(vessel.area or 0.5 for vessel in vessels if vessel is not None)


def _slow(sheet: Sheet, totals: tuple[tuple[float, float], ...], was: Found | None) -> Found | None:
    """Water goes twice as fast as it could evaporate, over three quarters of an hour or more."""
    if len(totals) < ENOUGH:
        return was if totals or not sheet.calm else None
    slope = line_through(totals)
    could = SLOW_SHARE * _evaporates(sheet)
    if -slope.rate - 4.0 * slope.error < could * (1.0 if was is None else 0.7):
        return None
    since = was.since if was is not None else totals[0][0]
    cause = _where(sheet) if sheet.tank is not None else "leak somewhere in the round"
    why = (("loses", per_hour(-slope.rate)), ("could evaporate", per_hour(_evaporates(sheet))))
    dry = _dry(sheet, -slope.rate + slope.error)
    return Found(since, sheet.t, (*why, ("where", cause)), cause, dry, "pump dry")


def line_through(points: tuple[tuple[float, float], ...]) -> Slope:
    """Least squares through (time, value) with the error from what is left over."""
    count = len(points)
    mean_at = sum(at for at, _ in points) / count
    mean = sum(value for _, value in points) / count
    spread = sum((at - mean_at) ** 2 for at, _ in points)
    rate = sum((at - mean_at) * (value - mean) for at, value in points) / spread
    left = sum((value - mean - rate * (at - mean_at)) ** 2 for at, value in points)
    return Slope(rate, (left / (count - 2) / spread) ** 0.5, mean, mean_at)
