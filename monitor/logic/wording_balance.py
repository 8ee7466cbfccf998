"""What the balance of the water adds to a text: the cause, and by what clock time harm comes."""

from monitor.logic.books import Found
from monitor.logic.gsm import Part
from monitor.logic.tale import Tale

SAYS = {
    "outlet blocked": ("TANK RISING", "Lower flow, change screen."),
    "overflow blocked": ("HEADER RISING", "Clear the header overflow, else stop the pump."),
    "header sinking": ("HEADER SINKING with pump on", "Shut siphon valve a little; see to it."),
    "meter doubtful": ("FLOW METER DOUBTFUL", "Look at the siphon, then clean the meter."),
    "flow doubtful": ("NO FLOW to larvae, PRESUMED", "Look at the siphon, prime it."),
    "leak": ("WATER IS LOST", "Find the leak. Seawater in, not fresh."),
    "sump falling": ("SUMP FALLING", "Look at outlet screen and floor."),
    "sump filling": ("SUMP FILLING", "Shut the top-up. In an outage leave it."),
}
"""Condition -> how a text names it, and the first action."""

OF_LIMIT = {
    "tank high": ("outlet blocked",),
    "sump low": ("outlet blocked", "leak", "sump falling"),
    "header high": ("overflow blocked",),
    "header low": ("header drains back", "header sinking"),
    "sump high": ("sump filling",),
    "no flow": ("meter doubtful",),
    "flow far too low": ("meter doubtful",),
    "flow low": ("meter doubtful",),
    "supply low": ("meter doubtful",),
    "floor wet": ("leak", "sump falling", "outlet blocked"),
}
"""Condition from a limit -> what the balance may have found about it."""

HARM = {"rim": "Rim", "break": "Siphon breaks", "pump dry": "Pump dry"}


def found(tale: Tale, names: tuple[str, ...]) -> Found | None:
    """What the balance found about any of these, for the vessel of the event."""
    for books in tale.scan.running.books.values():
        for spec_id, item in books.found.items():
            spec = tale.scan.plan.specs.get(spec_id)
            if spec is None or spec.name not in names or spec.vessel != tale.event.vessel:
                continue
            return item
    return None


def because(tale: Tale, limit: str) -> list[Part]:
    """The cause of a limit that is passed, where the balance knows it."""
    item = found(tale, OF_LIMIT.get(limit, ()))
    if item is None or not item.cause:
        return []
    facts = dict(item.why)
    held = f"{facts['held back']} held back, " if "held back" in facts else ""
    cause = f"{held}{item.cause}."
    return [_told(cause, item), harm(tale, item)]


def _told(cause: str, item: Found) -> Part:
    """The cause with its figures, or shorter without them."""
    short = f"{item.cause[0].upper()}{item.cause[1:]}."
    return Part(f"{cause[0].upper()}{cause[1:]}", 9, short)


def drains_back(tale: Tale) -> Part:
    """What to do besides in an outage in which the header drains back through the riser."""
    item = found(tale, ("header drains back",))
    return Part("Header DRAINS BACK: close riser valve." if item is not None else "", 8)


def harm(tale: Tale, item: Found) -> Part:
    """By what clock time harm comes, told early; nothing where it is not known."""
    if item.harm is None:
        return Part("")
    return Part(f"{HARM[item.harm_is]} about {tale.clock(item.harm)}.", 9)


def balance(tale: Tale) -> list[Part]:
    """A condition of the balance that calls on its own: what, why, harm, first action."""
    name = tale.spec.name if tale.spec is not None else tale.event.first_out.split("/")[0]
    what, action = SAYS.get(name, (name.upper(), "Go and look."))
    item = found(tale, (name,))
    since = f" since {tale.clock(item.since)}" if item is not None else ""
    parts = [tale.head("WORSE" if len(tale.event.told) > 1 else tale.event.grade.upper())]
    parts.append(Part(f"{what}{since}."))
    if item is not None:
        facts = dict(item.why)
        pace = next((f"{facts[key]}: " for key in ("loses", "gains") if key in facts), "")
        cause = f"{pace}{item.cause}."
        parts += [_told(cause, item), harm(tale, item)]
    shorter = f"{action.split('. ')[0].rstrip('.')}."
    return [*parts, Part(action, 9, shorter if shorter != action else None), tale.who_has_it()]
