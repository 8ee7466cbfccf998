"""The rig in figures, before any sensor is bought: how long it lasts, and whether anybody can come.

Each figure says where it comes from. Simple hydraulics: see logic/hydraulics.py; the flow number
of a siphon is v / sqrt(g d), and under 0.9 it does not clear its own air (common pipe practice,
from memory).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi, sqrt

from monitor.logic.chains import Chain
from monitor.logic.derived import endurance, usable_volume
from monitor.logic.duty import orders
from monitor.logic.hydraulics import flow_at
from monitor.logic.plan import plan_of
from monitor.rig import Line
from monitor.setup import Person, Setup
from monitor.units import L_PER_MIN, LITRE

READ = 60.0
"""Seconds until somebody who is called has read the text; bed to door comes after (assumed)."""
CLEARS = 0.9
"""Flow number from which a siphon clears its own air (common pipe practice, from memory)."""
GRAVITY = 9.81
DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class Figure:
    """One line: what, the value as people read it, and where it comes from."""

    what: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class Reach:
    """Somebody who is called, and after how many seconds they are at the tank by night."""

    name: str
    seconds: float


def minutes(seconds: float) -> str:
    """Minutes as people say them: 22.7 min."""
    return f"{seconds / 60.0:.1f} min"


def flow_number(line: Line, flow: float) -> float | None:
    """v / sqrt(g d) of a siphon at a flow in m3/s; None without a bore.

    >>> round(flow_number(Line("S1", "siphon", bore=0.013), 2.0 / 60_000), 2)
    0.7
    """
    if not line.bore:
        return None
    speed = flow / (pi * line.bore**2 / 4.0)
    return speed / sqrt(GRAVITY * line.bore)


def reaches(setup: Setup) -> list[Reach]:
    """Everybody who stands in the duty list, the fastest first."""
    called = {name for order in orders(setup) for name in order}
    people = [person for person in setup.people if person.id in called]
    return sorted((_reach(person) for person in people), key=lambda reach: reach.seconds)


def _reach(person: Person) -> Reach:
    return Reach(person.name.split(" ")[-1], READ + person.night)


def flows_of(setup: Setup, chain: Chain) -> list[float]:
    """The flows that the protocol asks for, m3/s, the greatest first."""
    due = setup.flow_due.get(chain.line.id)
    if due is None:
        return []
    return sorted({flow for _, flow in due.set_flow.steps if flow > 0.0}, reverse=True)


def sentences(setup: Setup, chain: Chain, flow: float | None = None) -> list[str]:
    """Whether anybody can come before the siphon breaks, in plain words."""
    flows = flows_of(setup, chain) if flow is None else [flow]
    lasts = {q: seconds for q in flows if (seconds := endurance(chain, q)) is not None}
    if not lasts:
        missing = "the header's area, lip and break level, or a drain test, and a set flow"
        return [f"{chain.line.id}: how long the header lasts is not known; needed: {missing}."]
    people = reaches(setup)
    top = max(lasts)
    said = [f"At {_flow(top)} the header lasts {lasts[top] / 60.0:.1f} minutes; "]
    if not people:
        return [said[0] + "nobody stands in the duty list."]
    fastest = people[0]
    said[0] += (
        f"the fastest night arrival is {READ / 60:.0f} min (text) + "
        f"{(fastest.seconds - READ) / 60:.0f} min."
    )
    hopeless = [q for q in sorted(lasts) if lasts[q] < fastest.seconds]
    if hopeless:
        named = _list([f"{q / L_PER_MIN:.1f}" for q in hopeless], "and")
        said.append(f"The siphon WILL break in every night outage at {named} L/min.")
    for q in sorted(set(lasts) - set(hopeless)):
        able = [f"{r.name} ({r.seconds / 60:.0f} min)" for r in people if r.seconds <= lasts[q]]
        at = f"{_flow(q)} ({minutes(lasts[q])})"
        if hopeless:
            said.append(f"Only at {at} can {_list(able, 'or')} arrive in time.")
        else:
            said.append(f"At {at} {_list(able, 'or')} can arrive in time.")
    longest = max(lasts.values())
    unable = [f"{r.name} ({r.seconds / 60:.0f} min)" for r in people if r.seconds > longest]
    if unable:
        said.append(f"{_list(unable, 'and')} cannot at any of these flows.")
    said += _air(chain, flows)
    return said


def _air(chain: Chain, flows: Sequence[float]) -> Iterator[str]:
    for flow in flows:
        number = flow_number(chain.line, flow) if chain.drawn_by_siphon else None
        if number is not None and number < CLEARS:
            yield (
                f"At {_flow(flow)} the flow number of {chain.line.id} is {number:.2f}, under the "
                f"usual {CLEARS}: it may air-lock. Bleed the crest, or use a narrower bore."
            )


def _flow(flow: float) -> str:
    return f"{flow / L_PER_MIN:.1f} L/min"


def _list(words: Sequence[str], last: str) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def figures(setup: Setup, chain: Chain, flow: float) -> Iterator[Figure]:
    """The figures of one water at one flow (m3/s); what the rig does not say is left out."""
    tank, header, pump, line = chain.tank, chain.header, chain.pump, chain.line
    if tank is not None and tank.volume:
        yield Figure("turnovers a day", f"{flow * DAY / tank.volume:.1f}", "flow and tank volume")
    if tank is not None and tank.area:
        rise = flow / tank.area * 60e3
        yield Figure("tank rises if the screen blocks", f"{rise:.1f} mm/min", "flow and tank area")
        if tank.rim is not None and tank.lip is not None:
            to_rim = (tank.rim - tank.lip) * tank.area / flow
            yield Figure("  and is at its rim after", minutes(to_rim), "lip to rim")
    lasts = endurance(chain, flow)
    if lasts is not None:
        how = (
            "drain test, scaled by flow" if line.drain_test is not None else "geometry, Torricelli"
        )
        yield Figure("header lasts without supply", minutes(lasts), how)
    if header is not None and header.area:
        fall = flow / header.area * 60e3
        yield Figure("  header falls, at first", f"{fall:.1f} mm/min", "flow and header area")
    if header is not None and header.lip is not None and line.break_level is not None:
        end = flow_at(flow, line.break_level, header.lip, line.head)
        yield Figure("  flow when the siphon breaks", _flow(end), "head at the break level")
    volume = usable_volume(chain)
    if volume is not None:
        yield Figure("usable water in the header", f"{volume / LITRE:.1f} L", "lip to break level")
    if pump is not None and pump.pump_flow is not None:
        if volume is not None:
            full = volume / pump.pump_flow
            yield Figure("header refills, siphon broken", minutes(full), "usable water and pump")
        margin = (pump.pump_flow - flow) / flow
        yield Figure("supply margin", f"{margin:.0%}", "pump and flow")
    number = flow_number(line, flow) if chain.drawn_by_siphon else None
    if number is not None:
        yield Figure("flow number of the siphon", f"{number:.2f}", "bore and flow")


def sheet_lines(setup: Setup, flow: float | None = None) -> Iterator[str]:
    """The whole sheet as text. flow: only this one, m3/s; without it every flow of the protocol."""
    chains = plan_of(setup).chains
    if not chains:
        yield "This rig has no water that is described: no siphon or line into a larval tank."
    for chain in chains:
        name = chain.tank.id if chain.tank is not None else chain.line.id
        yield f"{name}, fed by {chain.line.id}"
        yield from (f"  {line}" for line in sentences(setup, chain, flow))
        for q in flows_of(setup, chain) if flow is None else [flow]:
            yield f"  at {_flow(q)}"
            yield from (
                f"    {f.what:32} {f.value:>12}   {f.source}" for f in figures(setup, chain, q)
            )
    people = reaches(setup)
    if people:
        yield "Arrival by night, text and reading included"
    for reach in people:
        there = f"{reach.seconds / 60:.0f} min"
        yield f"    {reach.name:32} {there:>12}   duty.toml, and {READ:.0f} s to read"
