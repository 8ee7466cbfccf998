"""What stands put aside now, as lines for people: nothing of it may be forgotten."""

from monitor.inputs import Moment
from monitor.logic.scan import Scan
from monitor.logic.state import State
from monitor.logic.wording_care import HOW, person_name
from monitor.setup import Setup


def standing_lines(setup: Setup, state: State, now: Moment) -> list[str]:
    """One line each: alarms put aside or suppressed, holds, works, a backup that runs."""
    scan = Scan(setup, state, now)
    durable = state.durable
    lines = []
    for alarm, kept in durable.aside.items():
        till, who = scan.site_clock(kept.end), person_name(scan, kept.who)
        check = f"; check by hand: {kept.check}" if kept.check else ""
        lines.append(f"{alarm}: {HOW[kept.how]} till {till} by {who} ({kept.reason}){check}.")
    lines += [
        f"{alarm}: suppressed by design, explained by {record.cause}."
        for alarm, record in durable.suppressed.items()
    ]
    lines += [
        f"{line}: feeding hold till {scan.site_clock(hold.end)} by {person_name(scan, hold.who)}."
        for line, hold in durable.holds.items()
    ]
    for place, work in durable.works.items():
        late = "OVERRUN since" if scan.t >= work.end else "till"
        till, who = scan.site_clock(work.end), person_name(scan, work.who)
        second = person_name(scan, work.second)
        lines.append(f"Works at {place} {late} {till}: {work.what}, {who}; {second} knows.")
    if durable.fuel is not None:
        running = durable.fuel
        fuel = f", fuel till about {scan.site_clock(running.end)}" if running.end else ""
        lines.append(f"On {running.of} since {scan.site_clock(running.since)}{fuel}.")
    return lines


def aside_lines(setup: Setup, state: State, now: Moment) -> list[str]:
    """The same for somebody who asks: it says so if there is nothing."""
    return standing_lines(setup, state, now) or ["Nothing is put aside."]
