"""Where the water is: litres in header, larval tank and sump, weighed against what runs.

Each look draws up the balance of one way of the water from whatever levels and flows there are,
and names what a practitioner at the tank would name: an outlet or an overflow blocked, a header
that sinks with the pump on or that drains back, a leak, a sump that fills. Every figure comes
from the geometry of the rig and its own last quarter of an hour; nothing is learnt from faults.
What a missing level would rule out is not ruled out: then the words name both.
"""

from dataclasses import dataclass
from functools import partial

from monitor.effects import Evidence
from monitor.logic import meters, sump
from monitor.logic.books import Books, Found
from monitor.logic.conditions import settle
from monitor.logic.derived import Water, early, no_flow_below
from monitor.logic.hydraulics import drain_time
from monitor.logic.scan import Scan
from monitor.logic.sheet import Sheet, flow_out, litres, per_hour, sheet_of
from monitor.logic.trails import MEAN_SPAN

EVERY = 10.0
"""Seconds between two looks: the length of the sums the slopes are read from."""
RISES = 0.003
"""Metres a larval tank must have risen: three readings' noise, less than a lip layer."""
OVER_LIP = 0.002
"""Metres above the highest level that the pump can give at the overflow: the gauge's own error."""
BACK_SHARE = 1.3
"""A header that falls by so much more than its siphon draws drains another way too: flow by
bucket is 6 % off, a meter 3 % (common practice)."""
LOST_SHARE = 0.75
"""Without a supply meter: a header that loses more than this share of what the siphon draws gets
next to nothing, and counts as without supply."""


def judge_balance(scan: Scan, water: Water) -> None:
    """Draw up the balance of one way every ten seconds, and carry its conditions."""
    subject = water.chain.line.id
    books = scan.running.books.get(subject, Books())
    key = int(scan.t // EVERY)
    if key != books.key:
        books = _look(scan, water, books, key)
        scan.set_books(subject, books)
    for spec_id in scan.plan.balanced[subject]:
        found = books.found.get(spec_id)
        if found is None and spec_id not in scan.running.conditions:
            continue
        truth = None if spec_id in books.held else found is not None
        spec = scan.plan.specs[spec_id]
        settle(
            scan,
            spec,
            truth,
            partial(_evidence, found),
            found.since if found is not None else None,
        )


def _evidence(found: Found | None) -> Evidence:
    return found.why if found is not None else (("balance", "over"),)


@dataclass(slots=True)
class Ledger:
    """What one look finds; `take` keeps the onset of what stands already."""

    books: Books
    found: dict[str, Found]
    held: set[str]

    def take(self, spec_id: str, found: Found | None, judged: bool = True) -> None:
        """Enter a finding (None: not true). judged: whether anything usable could say so."""
        if not judged:
            self.held.add(spec_id)
            found = self.books.found.get(spec_id)
        if found is not None:
            self.found[spec_id] = found

    def was(self, spec_id: str) -> Found | None:
        return self.books.found.get(spec_id)


def _look(scan: Scan, water: Water, books: Books, key: int) -> Books:
    sheet = sheet_of(scan, water)
    ledger = Ledger(books, {}, set())
    known = scan.plan.balanced[water.chain.line.id]
    for spec_id in known:
        judge = RULES.get(spec_id.partition("/")[0])
        if judge is not None:
            ledger.take(spec_id, *judge(sheet, ledger.was(spec_id)))
    for spec_id, found, judged in meters.doubts(sheet, books):
        if spec_id in known:
            ledger.take(spec_id, found, judged)
    totals, sums = books.totals, books.sums
    if sheet.sump is not None:
        totals, sums = sump.follow(sheet, books)
        blocked = any(item.startswith("outlet blocked/") for item in ledger.found)
        for spec_id, found, judged in sump.judge(sheet, books, totals, blocked):
            if spec_id in known:
                ledger.take(spec_id, found, judged)
    return Books(key, ledger.found, frozenset(ledger.held), totals, sums)


Verdict = tuple[Found | None, bool]
"""What was found (None: nothing), and whether anything usable could say so."""


def outlet_blocked(sheet: Sheet, was: Found | None) -> Verdict:
    """The larval tank rises although no more water runs in than before."""
    tank, vessel = sheet.tank, sheet.water.chain.tank
    if tank is None or vessel is None:
        return None, False
    slope, now = tank.sure(), tank.mean(tank.newest - MEAN_SPAN, sheet.t)
    if now is None:
        return None, False
    if was is not None:
        over = now[0] <= was.mark + RISES or (slope is not None and slope.rate < 0.0)
        return (None if over else _rim(sheet, was, now[0])), True
    if slope is None or slope.rate <= 0.0:
        return None, True
    usual = sheet.before(tank)
    if usual is None:
        return None, True
    least = RISES if sheet.flow_steady else sheet.tank_layer + RISES
    if now[0] - usual[0] < least + 2.0 * (usual[1] + now[1]):
        return None, True
    return _rim(sheet, Found(sheet.onset(slope, usual[0]), usual[0], ()), now[0]), True


def _rim(sheet: Sheet, found: Found, level: float) -> Found:
    """A blocked outlet with its litres, its rim time and what the sump says of it."""
    vessel, tank = sheet.water.chain.tank, sheet.tank
    assert vessel is not None and tank is not None
    risen, slope = level - found.mark, tank.sure()
    why = [("tank", f"{risen * 1e3:+.0f} mm")]
    if vessel.area:
        why.append(("held back", litres(risen * vessel.area)))
    sump_says, cause = _sump_and_tank(sheet, risen * (vessel.area or 0.0), slope is not None)
    why += [("sump", sump_says), ("because", cause)]
    harm = None
    if vessel.rim is not None and vessel.lip is not None and slope is not None and slope.rate > 0:
        left = vessel.rim - vessel.lip - sheet.tank_layer - risen
        harm = early(sheet.t + max(0.0, left) / (slope.rate + 2.0 * slope.error), sheet.t)
    return Found(found.since, found.mark, tuple(why), cause, harm, "rim")


def _sump_and_tank(sheet: Sheet, held_back: float, rising: bool) -> tuple[str, str]:
    """What the sump says of a rising tank, and the cause in the words of a text."""
    if sheet.sump is None or sheet.sump_area is None or not held_back:
        return "not seen", "outlet screen, or tank sensor"
    slope = sheet.sump.slope(120.0)
    before = sheet.before(sheet.sump)
    now = sheet.sump.mean(sheet.sump.newest - MEAN_SPAN, sheet.t)
    if slope is None or before is None or now is None:
        return "not known yet", "outlet screen"
    down = (before[0] - now[0]) * sheet.sump_area
    if down > 0.5 * held_back:
        return f"down {litres(down)}", "sump down the same: outlet screen"
    unsure = 4.0 * (before[1] + now[1]) * sheet.sump_area
    if down < 0.3 * held_back and held_back > unsure and rising:
        return "not down", "sump not down: tank sensor, or water from elsewhere"
    return "not clear yet", "outlet screen"


def overflow_blocked(sheet: Sheet, was: Found | None) -> Verdict:
    """The header stands higher than the pump can lift it over a clear lip."""
    header, vessel = sheet.header, sheet.water.chain.header
    if header is None or vessel is None or vessel.lip is None:
        return None, False
    now = header.mean(header.newest - MEAN_SPAN, sheet.t)
    if now is None:
        return None, False
    ceiling = vessel.lip + sheet.full_layer + OVER_LIP
    if now[0] <= ceiling - (0.001 if was is not None else 0.0):
        return None, True
    slope = header.sure()
    if was is None and (slope is None or slope.rate <= 0.0):
        return None, True
    above = now[0] - vessel.lip
    since = was.since if was is not None else sheet.onset(slope, ceiling) if slope else sheet.t
    harm = None
    if vessel.rim is not None and slope is not None and slope.rate > 0.0:
        left = max(0.0, vessel.rim - now[0])
        harm = early(sheet.t + left / (slope.rate + 2.0 * slope.error), sheet.t)
    why = (
        ("header", f"{above * 1e3:+.0f} mm over its lip"),
        ("most with a clear lip", f"{sheet.full_layer * 1e3:.0f} mm"),
    )
    return Found(since, ceiling, why, "overflow blocked, or header sensor", harm, "rim"), True


def header_sinking(sheet: Sheet, was: Found | None) -> Verdict:
    """The header sinks below its lip with the pump on: more goes out than comes in."""
    water, vessel, header = sheet.water, sheet.water.chain.header, sheet.header
    if header is None or vessel is None or vessel.lip is None or not vessel.area:
        return None, False
    now = header.mean(header.newest - MEAN_SPAN, sheet.t)
    if now is None:
        return None, False
    if sheet.lost or water.mains is False or sheet.just_back:
        return None, True
    slope = header.sure()
    if was is not None:
        over = now[0] >= vessel.lip - 0.001 or (slope is not None and slope.rate > 0.0)
        if over:
            return None, True
    elif slope is None or slope.rate >= 0.0 or now[0] >= vessel.lip - OVER_LIP:
        return None, True
    loss = -slope.rate * vessel.area if slope is not None else 0.0
    drawn = flow_out(sheet.scan, water)
    if was is None and water.supply is None and drawn and loss > LOST_SHARE * drawn:
        return None, True
    since = was.since if was is not None else sheet.onset(slope, vessel.lip) if slope else sheet.t
    cause = _why_sinking(sheet, loss)
    why = (("header", f"{(now[0] - vessel.lip) * 1e3:+.0f} mm"), ("loses", per_hour(loss)))
    harm = was.harm if was is not None else None
    end = water.chain.line.break_level
    if end is not None and slope is not None and slope.rate < 0.0:
        at = sheet.t + max(0.0, now[0] - end) / (2.0 * slope.error - slope.rate)
        harm = early(at, sheet.t)
    return Found(since, vessel.lip, (*why, ("because", cause)), cause, harm, "break"), True


def _why_sinking(sheet: Sheet, loss: float) -> str:
    """Which of supply and siphon has changed; both where neither is measured or both fit."""
    drawn, due = sheet.flow_now, sheet.water.set_flow
    usual = sheet.flow_usual or due
    given = sheet.supply_now
    full = sheet.supply_usual or (sheet.water.chain.pump and sheet.water.chain.pump.pump_flow)
    wide = drawn is not None and usual and drawn > 1.08 * usual
    wide = wide or (drawn is not None and due and drawn > 1.15 * due)
    weak = given is not None and full and given < 0.93 * full
    if given is not None and drawn is not None and given - drawn > 0.5 * loss > 0.0:
        return "meters do not explain it: header leaks, or a meter is wrong"
    if wide and not weak:
        return "siphon valve open too far"
    if weak and not wide:
        return "pump gives less: strainer, pump"
    if wide and weak:
        return "valve open too far and pump gives less"
    if drawn is not None and given is None and not wide:
        return "pump gives less (not measured): strainer, pump"
    if given is not None and drawn is None and not weak:
        return "siphon valve open too far (flow not measured)"
    return "strainer or pump weak, or siphon valve open too far"


def header_drains_back(sheet: Sheet, was: Found | None) -> Verdict:
    """Without supply the header falls faster than the siphon draws: another way is open."""
    water, vessel, header = sheet.water, sheet.water.chain.header, sheet.header
    if header is None or vessel is None or not vessel.area:
        return None, False
    if not sheet.lost:
        return None, True
    slope = header.sure()
    if slope is None:
        return (None if was is None else was), True
    loss, error = -slope.rate * vessel.area, slope.error * vessel.area
    siphon = flow_out(sheet.scan, water)
    drawn = siphon if sheet.flow_now is None else max(sheet.flow_now, 0.0)
    if sheet.flow_now is not None and sheet.flow_now < no_flow_below(water.set_flow):
        drawn = siphon  # a header that falls as the siphon draws has a dead meter, see meters
    if not drawn or loss - 2.0 * error < (BACK_SHARE - (0.1 if was else 0.0)) * drawn:
        return None, True
    end, level = water.chain.line.break_level, slope.value_at(sheet.t)
    at = None
    if end is not None:
        at = early(sheet.t + max(0.0, level - end) * vessel.area / (loss + error), sheet.t)
        if vessel.lip is not None:
            by_siphon = drain_time(
                vessel.area, drawn, level, vessel.lip, end, water.chain.line.head
            )
            at = min(at, sheet.t + by_siphon)
    cause = "check valve open or header leaks"
    why = (
        ("header loses", per_hour(loss)),
        ("siphon draws", per_hour(drawn)),
        ("because", cause),
    )
    since = was.since if was is not None else slope.at
    return Found(since, level, why, cause, at, "break"), True


RULES = {
    "outlet blocked": outlet_blocked,
    "overflow blocked": overflow_blocked,
    "header sinking": header_sinking,
    "header drains back": header_drains_back,
}
