"""What is quiet now, as lines for people: put aside by somebody, or explained by its cause."""

from monitor.inputs import Moment
from monitor.logic.scan import Scan
from monitor.logic.state import State
from monitor.logic.wording_care import HOW, person_name
from monitor.setup import Setup


def standing_lines(setup: Setup, state: State, now: Moment) -> list[str]:
    """One line each of what people put aside, none of which may be forgotten: alarms, holds,
    works, a backup that runs."""
    scan = Scan(setup, state, now)
    durable = state.durable
    lines = []
    for alarm, kept in durable.aside.items():
        till, who = scan.site_clock(kept.end), person_name(scan, kept.who)
        check = f"; check by hand: {kept.check}" if kept.check else ""
        lines.append(f"{alarm}: {HOW[kept.how]} till {till} by {who} ({kept.reason}){check}.")
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


def explained_lines(state: State) -> list[str]:
    """One line a cause: what follows from it, is judged and recorded, and calls nobody."""
    follows: dict[str, list[str]] = {}
    for alarm, record in state.durable.suppressed.items():
        follows.setdefault(_plain(record.cause), []).append(_plain(alarm))
    return [
        f"Quiet, for {cause} explains it: {', '.join(dict.fromkeys(names))}."
        for cause, names in follows.items()
    ]


def _plain(alarm: str) -> str:
    """Condition and place of an alarm in words: "header low/HD1/warn" is header low HD1."""
    return " ".join(alarm.split("/")[:2])


def aside_lines(setup: Setup, state: State, now: Moment) -> list[str]:
    """The same for somebody who asks: it says so if there is nothing."""
    own = standing_lines(setup, state, now) or ["Nothing is put aside."]
    return own + explained_lines(state)
