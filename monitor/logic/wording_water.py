"""The texts of an outage, in the order of a night: lost, broken, back without flow, flow back."""

from monitor.logic.derived import Water, refill_seconds
from monitor.logic.gsm import Part
from monitor.logic.tale import Tale
from monitor.units import LITRE


def supply_lost(tale: Tale) -> list[Part]:
    """The header gets nothing: by what time the siphon breaks, and what to do before."""
    water, clock = tale.water, tale.clock(tale.event.lost_since)
    breaks = tale.break_time()
    seen = water is not None and (water.supply is not None or water.level is not None)
    parts = [tale.head(tale.event.grade.upper())]
    if not seen:
        parts.append(Part(f"{tale.power()} at pump {clock}: supply PRESUMED lost."))
    else:
        what = f"{tale.power()} {clock}" + ("" if tale.mains_off else ", mains not off")
        parts.append(Part(f"{what}, {tale.level} falling." if tale.level else f"{what}."))
    parts.append(Part(f"S{breaks}." if breaks else ""))
    first = "check air, then shut" if seen else "air, shut"
    parts.append(
        Part(
            f"Go: {first} siphon valve."
            if tale.mains_off or not seen
            else "Go: look at the pump, shut siphon valve."
        )
    )
    return [*parts, Part(tale.temperature, 1), tale.reply]


def supply_lost_again(tale: Tale) -> list[Part]:
    """Supply went again within one event; what was not refilled counts."""
    breaks = tale.break_time()
    again = f"{tale.power()} AGAIN {tale.clock(tale.event.lost_since)}"
    what = f"{again}, {tale.level}." if tale.level else f"{again}."
    short = _short_at_loss(tale)
    longer = f"{what[:-1]}, {short / LITRE:.0f} L short." if short >= 5 * LITRE else what
    return [
        tale.head(tale.event.grade.upper()),
        Part(longer, 8, what),
        Part(f"S{breaks}." if breaks else ""),
        Part(f"Still event {tale.number}: check air, shut siphon valve."),
        tale.who_has_it(short=True),
    ]


def _short_at_loss(tale: Tale) -> float:
    """m3 the header lacked when this loss began."""
    header = tale.water.chain.header if tale.water is not None else None
    record = tale.scan.durable.supplies.get(header.id) if header is not None else None
    return record.short if record is not None else 0.0


def siphon_broken(tale: Tale) -> list[Part]:
    """No water to the larvae: seen by meter or cup, or presumed."""
    since = tale.stopped_at
    mains = Part("Mains off." if tale.mains_off else "")
    if tale.event.no_flow_presumed:
        return [
            tale.head("WORSE"),
            Part(f"Siphon PRESUMED broken about {since} (drain test; flow not measured)."),
            mains,
            Part("Air first, bring primer."),
            _holder_only(tale),
        ]
    seen = (
        f"Cup shows NO FLOW since {since}."
        if tale.by_cup
        else (f"SIPHON BROKEN {since}, no flow to larvae.")
    )
    action = "Air first; bring primer, prime when power is back."
    return [tale.head("WORSE"), Part(seen), mains, Part(action), tale.who_has_it()]


def _holder_only(tale: Tale) -> Part:
    if tale.event.stage in ("taken", "on site"):
        return Part(f"{tale.name(tale.event.taken_by)} has {tale.number}.")
    return tale.reply


def power_back(tale: Tale) -> list[Part]:
    """The trap: power is back, the header fills, and the larvae get nothing."""
    water, since = tale.water, tale.stopped_at
    mains_on = water is not None and water.mains is True
    back = tale.clock(water.mains_since if mains_on and water else tale.event.back_since)
    back = f"{'Power' if mains_on else 'Supply'} back {back}"
    head = tale.head("URGENT")
    if tale.event.no_flow_presumed:
        return [
            head,
            Part(f"{back}. Siphon PRESUMED broken since {since}, flow not measured."),
            Part(f"Prime by hand, bucket check, then send FLOW {tale.number}."),
        ]
    if tale.by_cup:
        return [
            head,
            Part(f"{back} but cup shows NO FLOW since {since}."),
            Part("Prime siphon by hand, see the cup fill and stay full."),
            tale.reply,
        ]
    refill = refill_seconds(water) if water is not None else None
    full = f"Header full about {tale.clock(tale.scan.t + refill)}." if refill else ""
    return [
        head,
        Part(f"{back} but NO FLOW to larvae since {since}."),
        Part(full, 2),
        Part("Prime siphon by hand, see it run."),
        tale.reply,
    ]


def still_no_flow(tale: Tale) -> list[Part]:
    """The trap told again, for a meter with the look of a full header."""
    if tale.event.no_flow_presumed or tale.by_cup:
        return power_back(tale)
    full = refill_seconds(tale.water) if tale.water is not None else None
    trap = "Header full and spilling: it looks well and is not." if full == 0.0 else ""
    return [
        tale.head("URGENT"),
        Part(f"STILL {tale.stopped(capital=True)}."),
        Part("Bleed crest, prime again."),
        Part(trap, 3),
        Part(tale.temperature, 1),
        tale.reply,
    ]


def flow_proven(tale: Tale) -> list[Part]:
    """Flow runs again; how long it had not, and what is owed."""
    since = tale.clock(tale.event.flow_since)
    if tale.by_cup:
        shown = f"Cup shows flow since {since}, litres not measured."
    else:
        facts = [f"Flow {tale.flow} since {since}".replace("  ", " "), tale.level]
        if tale.water is not None and tale.water.mains and tale.event.losses:
            facts.append(f"mains on {tale.clock(tale.water.mains_since)}")
        shown = ", ".join(item for item in facts if item) + "."
    stopped = tale.stopped_at
    presumed = "PRESUMED " if tale.event.no_flow_presumed else ""
    return [
        tale.head("FLOW BACK"),
        Part(shown),
        Part(f"No flow {presumed}{stopped}-{since}."),
        *owed(tale),
    ]


def owed(tale: Tale) -> list[Part]:
    """What must still be entered, and by when."""
    if not tale.event.owed:
        return [Part(f"{tale.number} is closed.")]
    owed = ", ".join(tale.event.owed)
    return [Part(f"Owed by {tale.owed_by()}: {owed}."), Part(f"{tale.number} open.")]


def flow_proven_by_hand(tale: Tale) -> list[Part]:
    """Flow runs again by the word of a named person; it will be asked again."""
    presumed = "PRESUMED " if tale.event.no_flow_presumed else ""
    span = f"{tale.stopped_at}-{tale.clock(tale.event.flow_since)}"
    return [
        tale.head("FLOW BACK", f" by bucket check, {tale.name(tale.event.proven_by)}"),
        Part(f"No flow {presumed}{span}."),
        Part(f"Asked again {tale.clock(tale.event.asked)}."),
        *owed(tale),
    ]


def never_stopped(tale: Tale) -> list[Part]:
    """Supply was away for a short time and flow went on."""
    water, event = tale.water, tale.event
    mains_on = water is not None and water.mains is True
    back = water.mains_since if mains_on and water is not None else event.back_since
    what = "Power" if mains_on else "Supply"
    refill = refill_seconds_running(water)
    full = f"Header full about {tale.clock(tale.scan.t + refill)}." if refill else ""
    flow = "Cup shows flow throughout." if tale.by_cup else "Flow NEVER stopped."
    return [
        tale.head("NOTICE"),
        Part(f"{what} off {tale.clock(event.lost_since)}, back {tale.clock(back)}."),
        Part(flow),
        Part(full, 3),
        Part("No reply needed."),
        Part(f"Owed by {tale.owed_by()}: light timer, cooling.", 5),
    ]


def refill_seconds_running(water: Water | None) -> float | None:
    """Seconds until the header is at its lip again while the siphon goes on drawing."""
    if water is None or water.level is None or water.chain.header is None:
        return None
    header, pump = water.chain.header, water.chain.pump
    supply = water.supply or (pump.pump_flow if pump is not None else None)
    draw = water.flow if water.flow is not None else water.set_flow
    if header.area is None or header.lip is None or supply is None or draw is None:
        return None
    missing = max(0.0, header.lip - water.level) * header.area
    return missing / (supply - draw) if supply > draw else None


def hold_overrun(tale: Tale) -> list[Part]:
    """A feeding hold is over and the flow is still off."""
    hold = tale.scan.durable.holds.get(tale.spec.subject) if tale.spec is not None else None
    ended = (
        f"Feeding hold ended {tale.clock(hold.end)}, off since {tale.clock(hold.start)}."
        if (hold is not None)
        else ""
    )
    return [
        tale.head(tale.event.grade.upper()),
        Part("FLOW STILL OFF."),
        Part(ended),
        Part("Open the siphon valve and see it run."),
        Part("More time: HOLD 30.", 4),
        tale.reply,
    ]
