"""Meter against water: a flow meter that the levels contradict, and flow that only levels deny.

When the flow to the larvae stops, the header lifts by the difference of two lip layers and the
larval tank sinks by its own; both within two minutes. A meter that falls to nothing while neither
moves is faulty. A meter that shows flow (or none at all) while both say it stopped is the worse
case: it hides a lost siphon. One level alone accuses a meter, but never clears it.
"""

from collections.abc import Iterator
from math import hypot

from monitor.logic.books import Books, Found
from monitor.logic.derived import AT_BREAK, no_flow_below
from monitor.logic.hydraulics import lip_layer
from monitor.logic.sheet import Sheet, flow_out
from monitor.logic.slopes import Course

WAIT = 90.0
"""Seconds from the end of the flow after which the lips have moved by nine tenths and more: their
time constants are 20 to 30 s, A x / (1.5 Q) with the lip layer x."""
LATEST = 900.0
"""Seconds after which what was usual before is out of sight."""
LOOKS = (WAIT, 240.0, 480.0)
"""Seconds ago at which a stop may have begun: slow and noisy gauges need longer means."""
CLEAR = 3.0
"""Errors of the difference that a third of the expected movement must exceed to be read at all."""
MOVED = 0.7
"""Share of the expected movement from which a level has moved: half the flow moves it by 0.4."""

RAN = 0.7
"""Share of the set flow from which flow counts as having run before: under it, levels that do not
move say nothing."""

Doubt = tuple[str, Found | None, bool]


def doubts(sheet: Sheet, books: Books) -> Iterator[Doubt]:
    """Verdicts on the meters of one way: condition id, finding, whether it could be judged."""
    chain = sheet.water.chain
    if chain.flow is not None:
        spec_id = f"meter doubtful/{chain.flow.id}"
        yield (spec_id, *_dead_flow_meter(sheet, books.found.get(spec_id)))
    if chain.supply is not None:
        spec_id = f"meter doubtful/{chain.supply.id}"
        yield (spec_id, *_dead_supply_meter(sheet, books.found.get(spec_id)))
    spec_id = f"flow doubtful/{chain.line.id}"
    yield (spec_id, *_hidden_stop(sheet, books.found.get(spec_id)))


def _dead_flow_meter(sheet: Sheet, was: Found | None) -> tuple[Found | None, bool]:
    """The meter shows no flow and the water does not behave like it."""
    water = sheet.water
    flow, line = water.flow, water.chain.line
    state = sheet.scan.running.flows.get(line.id)
    if flow is None:
        return None, False
    since = state.none_since if state is not None else None
    if flow >= no_flow_below(water.set_flow) or since is None:
        return None, True
    if was is not None:
        return was, True
    if sheet.t - since < WAIT or sheet.t - since > LATEST or _held(sheet):
        return None, True
    if sheet.lost:
        return _in_outage(sheet, since), True
    usual = _usual_flow(sheet, since)
    if sheet.just_back or usual is None:
        return None, True
    says = stopped_by_levels(sheet, since, usual)
    if water.witness is not None:
        says["cup"] = not water.witness
    flows = [name for name, stopped in says.items() if not stopped]
    if not flows or any(says.values()):
        return None, True
    sure = len(flows) > 1
    words = " and ".join(flows)
    cause = f"{words} say{'' if sure else 's'} flow: meter, or look at the siphon"
    why = tuple((name, "says flow") for name in flows)
    return Found(since, 0.0, why, cause), True


def _in_outage(sheet: Sheet, since: float) -> Found | None:
    """In an outage a header above its break that falls as the siphon draws has a dead meter."""
    header, vessel = sheet.header, sheet.water.chain.header
    end, drawn = sheet.water.chain.line.break_level, flow_out(sheet.scan, sheet.water)
    if header is None or vessel is None or not vessel.area or end is None or not drawn:
        return None
    slope = header.slope(60.0)
    now = header.mean(header.newest - 15.0, sheet.t)
    if slope is None or now is None or not slope.is_sure or now[0] <= end + 2.0 * AT_BREAK:
        return None
    if not 0.6 * drawn <= -slope.rate * vessel.area <= 1.3 * drawn:
        return None
    why = (("header", "falls as the siphon draws"),)
    return Found(since, 0.0, why, "header falls as the siphon draws: meter")


def _usual_flow(sheet: Sheet, since: float) -> float | None:
    """What the meter showed before it showed nothing, m3/s; None unless about the set flow ran.

    After a stop, or a priming that failed, the levels stand where no flow leaves them and move
    no more when it ends.
    """
    course = sheet.flow_course
    before = sheet.before_at(course, since) if course is not None else None
    least = max(no_flow_below(sheet.water.set_flow), RAN * (sheet.water.set_flow or 0.0))
    return before[0] if before is not None and before[0] >= least else None


def stopped_by_levels(sheet: Sheet, since: float, usual: float) -> dict[str, bool]:
    """Whether header and tank say that the flow has stopped since; only what can be read."""
    said: dict[str, bool] = {}
    vessel, level = sheet.water.chain.header, sheet.water.level
    if vessel is not None and vessel.lip is not None and sheet.header is not None:
        full_before = level is not None and level >= vessel.lip - 0.002
        lift = sheet.full_layer - lip_layer(max(0.0, sheet.full - usual), sheet.header_bore)
        if full_before:
            _read(said, "header", sheet, sheet.header, since, lift)
    if sheet.tank is not None:
        _read(said, "tank", sheet, sheet.tank, since, -lip_layer(usual, sheet.tank_bore))
    return said


def _read(
    said: dict[str, bool], name: str, sheet: Sheet, course: Course, since: float, whole: float
) -> None:
    """Enter whether a level moved as a stop would move it, where its noise lets that be seen."""
    before = sheet.before_at(course, since)
    now = course.mean(since + 45.0, sheet.t)
    if before is None or now is None:
        return
    if 0.3 * abs(whole) < CLEAR * hypot(before[1], now[1]):
        return
    moved = (now[0] - before[0]) / whole
    if moved > MOVED:
        said[name] = True
    elif moved < 0.4:
        said[name] = False


def _held(sheet: Sheet) -> bool:
    return sheet.water.chain.line.id in sheet.scan.durable.holds


def _dead_supply_meter(sheet: Sheet, was: Found | None) -> tuple[Found | None, bool]:
    """The supply meter shows nothing, and the header does not sink although flow leaves it."""
    water, vessel = sheet.water, sheet.water.chain.header
    if water.supply is None:
        return None, False
    course = sheet.supply_course
    if water.supply >= no_flow_below(water.set_flow) or course is None:
        return None, True
    if was is not None:
        return (None if sheet.lost else was), True
    if sheet.lost or vessel is None or not vessel.area or sheet.header is None:
        return None, True
    since = _none_since(course, no_flow_below(water.set_flow))
    drawn = sheet.drawn if water.flow_none is False else None
    if since is None or not drawn or water.mains is False:
        return None, True
    due = drawn * (sheet.t - since) / vessel.area
    before = sheet.before_at(sheet.header, since)
    now = sheet.header.mean(sheet.header.newest - 30.0, sheet.t)
    if before is None or now is None or due < 0.012 + 4.0 * (before[1] + now[1]):
        return None, True
    if before[0] - now[0] > 0.3 * due:
        return None, True
    why = (("header", f"steady; it would be {due * 1e3:.0f} mm down"),)
    return Found(since, 0.0, why, "header does not sink: supply meter"), True


def _none_since(course: Course, least: float) -> float | None:
    """When the last unbroken row of readings under `least` began."""
    since = None
    for at, value in zip(reversed(course.at), reversed(course.values), strict=True):
        if value >= least:
            break
        since = at
    return since


def _hidden_stop(sheet: Sheet, was: Found | None) -> tuple[Found | None, bool]:
    """Header and tank both moved as a stop moves them, and the meter shows flow, or there is none.

    Both are needed: a hand on the valve moves them too, but not so far.
    """
    water = sheet.water
    if sheet.header is None or sheet.tank is None:
        return None, False
    if water.flow_none or _held(sheet) or sheet.lost or sheet.just_back:
        return None, True
    usual = _steady_flow(sheet)
    if was is not None:
        return (None if _moved_back(sheet, was, usual) else was), True
    looks = ((sheet.t - ago, stopped_by_levels(sheet, sheet.t - ago, usual)) for ago in LOOKS)
    both = (since for since, said in looks if len(said) == 2 and all(said.values()))
    since = next(both, None)
    if since is None:
        return None, True
    mark = sheet.before_at(sheet.tank, since)
    meter = water.chain.flow.id if water.flow is not None and water.chain.flow else "nothing"
    why = (
        ("header", "lifted as if nothing were drawn"),
        ("tank", "sunk to its lip"),
        ("flow shown by", meter),
    )
    cause = "header lifted and tank sank as without flow"
    return Found(since, mark[0] if mark else 0.0, why, cause), True


def _steady_flow(sheet: Sheet) -> float:
    return sheet.water.set_flow or sheet.flow_usual or 0.0


def _moved_back(sheet: Sheet, was: Found, usual: float) -> bool:
    """Whether the tank is back at the level it had before."""
    tank = sheet.tank
    now = tank.mean(sheet.t - 60.0, sheet.t) if tank is not None else None
    return now is not None and now[0] > was.mark - 0.4 * lip_layer(usual, sheet.tank_bore)
