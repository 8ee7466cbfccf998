"""The duty list as people read it: who is called now, in the coming days, and what is open."""

from monitor.inputs import Moment
from monitor.logic import duty
from monitor.logic.scan import Scan
from monitor.logic.state import State
from monitor.logic.wording_care import person_name
from monitor.setup import DAY, Setup

DAYS_SHOWN = 8
_ASKED = {"duty": "on duty?", "swap": "will you swap?", "sign": "are you well?"}


def duty_lines(setup: Setup, state: State, now: Moment) -> list[str]:
    """Who is called now, what stands about duty, and the turns of the coming week."""
    scan = Scan(setup, state, now)
    called = duty.order_at(setup, state.durable, now.utc)
    lines = [f"Called now: {_names(scan, called)}."]
    lines += duty_warnings(setup, state, now)
    for item in state.durable.questions.values():
        asked = f"{person_name(scan, item.who)} was asked at {scan.site_clock(item.asked)}"
        lines.append(f"Question {item.number}: {asked}: {_ASKED[item.kind]}")
    lines.append("The coming days, as listed with swaps:")
    for turn in duty.turns(setup, state.durable, now.utc, now.utc + DAYS_SHOWN * DAY):
        start, end = (f"{setup.local(at):%a %d %b %H:%M}" for at in (turn.start, turn.end))
        alone = "" if len(turn.order) > 1 else "  one person only"
        lines.append(f"  {start} - {end}  {_names(scan, turn.order)}{alone}")
    return lines


def duty_warnings(setup: Setup, state: State, now: Moment) -> list[str]:
    """What must not be forgotten about duty: a list of one, a storm, somebody who sleeps there."""
    scan, durable = Scan(setup, state, now), state.durable
    lines = []
    called = duty.order_at(setup, durable, now.utc)
    if len(called) == 1:
        lines.append(f"One person only: nobody after {person_name(scan, called[0])}.")
    if durable.sleeper is not None and now.utc < durable.sleeper.until:
        until = scan.site_clock(scan.t + durable.sleeper.until - now.utc)
        lines.append(f"{person_name(scan, durable.sleeper.who)} sleeps on site till {until}.")
    if durable.storm is not None:
        until = scan.site_clock(scan.t + durable.storm.until - now.utc)
        lines.append(f"Storm footing till {until}, by {person_name(scan, durable.storm.who)}.")
    return lines


def alone(setup: Setup) -> list[str]:
    """A warning for each order of the list that is a single person."""
    people = setup.person
    names = dict.fromkeys(order[0] for order in duty.orders(setup) if len(order) == 1)
    return [f"One person only on some nights: nobody after {people[name].name}." for name in names]


def _names(scan: Scan, order: tuple[str, ...]) -> str:
    return ", then ".join(person_name(scan, name) for name in order) or "NOBODY"
