"""What to prepare before a storm, for one rig and its duty list: to print and tick off."""

from collections.abc import Iterator

from monitor.drill.rig_sheet import READ, flows_of, minutes, sentences
from monitor.logic import duty
from monitor.logic.derived import endurance
from monitor.logic.plan import plan_of
from monitor.logic.state import Durable
from monitor.setup import DAY, Setup
from monitor.units import L_PER_MIN

NIGHTS = 3
"""Nights that are shown; storm footing lasts no longer."""

TICKS = (
    "battery of the watch full, its plug out for 5 minutes: it stays on",
    "battery air tried: the stones bubble",
    "torch, primer, clean bucket, screened cup at the tank",
    "header spills at its lip, strainer clean",
    "sump not above its mark; room for what drains down",
    "seawater mixed and warm; ice sealed in bags",
    "fuel, generator and its lead outside: never indoors, exhaust away from any opening",
    "numbers on paper: each other, the utility, an electrician",
    "outage card and priming card hang at the door",
    "everybody has sent OK to the question of the evening",
)
"""What is looked at by hand (common practice, no source)."""


def storm_lines(setup: Setup, utc: float) -> Iterator[str]:
    """The sheet: how long the header lasts, also throttled; who is called; what to tick off."""
    yield f"STORM SHEET {setup.rig.label}, {setup.local(utc):%a %d %b %Y %H:%M}"
    for chain in plan_of(setup).chains:
        if not chain.drawn_by_siphon:
            continue
        place = chain.tank.id if chain.tank is not None else chain.line.id
        yield f"{place}, fed by {chain.line.id}"
        yield from (f"  {said}" for said in sentences(setup, chain))
        for flow in _throttled(flows_of(setup, chain)):
            lasts = endurance(chain, flow)
            if lasts is not None:
                yield f"  Throttled to {flow / L_PER_MIN:.1f} L/min it lasts {minutes(lasts)}."
                yield from (
                    f"    {said}" for said in sentences(setup, chain, flow) if "air" in said
                )
    yield "Called, by night with the minutes from a text to the door:"
    for turn in duty.turns(setup, Durable(), utc, utc + NIGHTS * DAY):
        people = (setup.person[name] for name in turn.order if name in setup.person)
        order = ", ".join(
            f"{person.name.split(' ')[-1]} {(READ + person.night) / 60.0:.0f}" for person in people
        )
        yield f"  {setup.local(turn.start):%a %H:%M} - {setup.local(turn.end):%a %H:%M}  {order}"
    yield "Who sleeps on site: ____________________  (then: holdwater sleeping)"
    yield from (f"  [ ] {line}" for line in TICKS)
    yield "People first; local codes and licensed people prevail over this sheet."
    yield 'When all is ready: holdwater storm --until "sat 22:00"'


def _throttled(flows: list[float]) -> list[float]:
    """Half and a third of the greatest flow, less what the protocol has anyway."""
    most = max(flows, default=0.0)
    wished = [most / 2.0, most / 3.0] if most else []
    return [flow for flow in wished if all(abs(flow - known) > 0.01 * most for known in flows)]
