"""The texts of an outage, in the order of a night: lost, broken, back without flow, flow back."""

from monitor.logic import wording_balance
from monitor.logic.derived import Water, refill_seconds
from monitor.logic.gsm import Part
from monitor.logic.tale import Tale
from monitor.units import LITRE


def supply_lost(tale: Tale) -> list[Part]:
    """The header gets nothing: by what time the siphon breaks, and what to do before."""
    water, clock = tale.water, tale.clock(tale.event.lost_since)
    seen = water is not None and (water.supply is not None or water.level is not None)
    parts = [tale.head(tale.event.grade.upper())]
    if not seen:
        sign = "MAINS OFF at pump" if tale.mains_off else "HEADER FLOAT OPEN"
        parts.append(Part(f"{sign} {clock}: supply PRESUMED lost."))
    else:
        mains_on = ", mains on" if water is not None and water.mains else ""
        level = f", {tale.level}" if tale.level else ""
        falling = " falling" if level else ""
        what = f"{tale.power()} {clock}{mains_on}{level}{falling}."
        parts.append(Part(what, 9, f"{tale.power()} {clock}{level}."))
    parts += [tale.breaks(), wording_balance.drains_back(tale)]
    first = "check air, then shut" if seen else "air, shut"
    parts.append(
        Part(
            f"Go: {first} siphon valve."
            if tale.mains_off
            else "Go: look at pump, shut siphon valve.",
            9,
            "Go: shut siphon valve.",
        )
    )
    return [*parts, Part(tale.temperature, 1), tale.reply]


def supply_lost_again(tale: Tale) -> list[Part]:
    """Supply went again within one event; what was not refilled counts."""
    again = f"{tale.power()} AGAIN {tale.clock(tale.event.lost_since)}"
    what = f"{again}, {tale.level}." if tale.level else f"{again}."
    short = tale.supply.short
    longer, action = what, "check air, shut siphon valve"
    if short >= 5 * LITRE:
        longer, action = f"{what[:-1]}, {short / LITRE:.0f} L short.", "shut siphon valve"
    return [
        tale.head(tale.event.grade.upper()),
        Part(longer, 8, what),
        tale.breaks(),
        Part(f"Still event {tale.number}: {action}."),
        tale.who_has_it(short=True),
    ]


def siphon_broken(tale: Tale) -> list[Part]:
    """No water to the larvae: seen by meter or cup, or presumed."""
    since = tale.stopped_at
    mains = Part("Mains off." if tale.mains_off else "")
    if tale.event.no_flow_presumed:
        return [
            tale.head("WORSE"),
            Part(
                f"Siphon PRESUMED broken about {since} ({_how_presumed(tale)}).",
                9,
                f"Siphon PRESUMED broken about {since}.",
            ),
            mains,
            Part("Air first, bring primer."),
            _holder_only(tale),
        ]
    seen = (
        f"Cup shows NO FLOW since {since}."
        if tale.by_cup
        else (f"SIPHON BROKEN {since}, no flow to larvae.")
    )
    when = "power is back" if tale.mains_off else "header is full"
    action = f"Air first; bring primer, prime when {when}."
    first = Part(action, 9, "Air first; bring primer.")
    return [tale.head("WORSE"), Part(seen), mains, first, tale.who_has_it()]


def _how_presumed(tale: Tale) -> str:
    siphons = tale.scan.durable.siphons
    siphon = siphons.get(tale.water.chain.line.id) if tale.water is not None else None
    return siphon.how if siphon is not None else "flow not measured"


def _holder_only(tale: Tale) -> Part:
    if tale.event.stage in ("taken", "on site"):
        return Part(f"{tale.name(tale.event.taken_by)} has {tale.number}.")
    return tale.reply


_OPEN = "Prime was kept: open the siphon valve, see it run."


def power_back(tale: Tale) -> list[Part]:
    """The trap: power is back, the header fills, and the larvae get nothing."""
    water, since = tale.water, tale.stopped_at
    back, head = tale.back(), tale.head("URGENT")
    if tale.event.no_flow_presumed:
        return [
            head,
            Part(
                f"{back}. Siphon PRESUMED broken since {since}, flow not measured.",
                9,
                f"{back}. Siphon PRESUMED broken since {since}.",
            ),
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
        Part("Prime siphon by hand, see it run." if tale.prime_lost else _OPEN),
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
        Part("Bleed crest, prime again." if tale.prime_lost else _OPEN),
        Part(trap, 3),
        Part(tale.temperature, 1),
        tale.reply,
    ]


def flow_proven(tale: Tale) -> list[Part]:
    """Flow runs again; how long it had not, and what is owed."""
    since = tale.clock(tale.event.flow_since)
    if tale.by_cup:
        shown = f"Cup shows flow since {since}, litres not measured."
        shorter = f"Cup shows flow since {since}."
    else:
        facts = [f"Flow {tale.flow} since {since}".replace("  ", " "), tale.level]
        if tale.mains_returned is not None:
            facts.append(f"mains on {tale.clock(tale.mains_returned)}")
        shown, shorter = ", ".join(item for item in facts if item) + ".", f"{facts[0]}."
    stopped = tale.stopped_at
    presumed = "PRESUMED " if tale.event.no_flow_presumed else ""
    return [
        tale.head("FLOW BACK"),
        Part(shown, 9, shorter),
        Part(f"No flow {presumed}{stopped}-{since}."),
        *owed(tale),
    ]


def owed(tale: Tale) -> list[Part]:
    """What must still be entered, and by when."""
    if not tale.event.owed:
        return [Part(f"{tale.number} {'open' if tale.event.asked else 'is closed'}.")]
    owed = ", ".join(tale.event.owed)
    return [Part(f"Owed by {tale.owed_by()}: {owed}."), Part(f"{tale.number} open.")]


def flow_proven_by_hand(tale: Tale) -> list[Part]:
    """Flow runs again by the word of a named person; it will be asked again."""
    presumed = "PRESUMED " if tale.event.no_flow_presumed else ""
    span = f"{tale.stopped_at}-{tale.clock(tale.event.flow_since)}"
    name = tale.name(tale.event.proven_by)
    return [
        tale.head("FLOW BACK", f" by bucket check, {name}", f" by {name}"),
        Part(f"No flow {presumed}{span}."),
        Part(f"Asked again {tale.clock(tale.event.asked)}."),
        *owed(tale),
    ]


def never_stopped(tale: Tale) -> list[Part]:
    """Supply was away for a short time and flow went on."""
    water, event = tale.water, tale.event
    mains = tale.mains_returned
    what, back = ("Power", mains) if mains is not None else ("Supply", event.back_since)
    refill = refill_seconds_running(water)
    full = f"Header full about {tale.clock(tale.scan.t + refill)}." if refill else ""
    return [
        tale.head("NOTICE"),
        Part(f"{what} off {tale.clock(event.lost_since)}, back {tale.clock(back)}."),
        Part(_flow_throughout(tale)),
        Part(full, 3),
        Part("No reply needed."),
        Part(f"Owed by {tale.owed_by()}: light timer, cooling.", 5),
    ]


def _flow_throughout(tale: Tale) -> str:
    """What is known of the flow during a dip: seen, off by intent, or only presumed."""
    water = tale.water
    hold = tale.scan.durable.holds.get(water.chain.line.id) if water is not None else None
    if water is not None and water.flow_none and hold is not None:
        return f"Flow is off for feeding till {tale.clock(hold.end)}."
    if tale.by_cup:
        return "Cup shows flow throughout."
    seen = water is not None and water.flow_none is not None
    return "Flow NEVER stopped." if seen else "Flow PRESUMED never stopped, not measured."


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
    none = tale.water.flow_none if tale.water is not None else None
    if none is None:
        still = "FLOW NOT SEEN."
    else:
        still = "FLOW STILL OFF." if none else f"FLOW STILL LOW, {tale.flow or 'under its band'}."
    ended = ""
    if hold is not None:
        began = "off since" if none else "began"
        ended = f"Feeding hold ended {tale.clock(hold.end)}, {began} {tale.clock(hold.start)}."
    return [
        tale.head(tale.event.grade.upper()),
        Part(still),
        Part(ended),
        Part("Open the siphon valve and see it run."),
        Part("More time: HOLD 30.", 4),
        tale.reply,
    ]
