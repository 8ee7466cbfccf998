"""What goes back to somebody who answered or asked: one text of at most 160 places. Pure."""

from monitor.channels.hearing import Heard
from monitor.inputs import Answer, Moment
from monitor.logic.duty import order_at
from monitor.logic.events import is_open
from monitor.logic.gsm import LIMIT, Part, fit, fold
from monitor.logic.scan import Scan
from monitor.logic.state import Durable, EventRecord, State
from monitor.setup import Setup
from monitor.units import STATES


def short(text: str) -> str:
    """A text that any phone shows in one piece."""
    return fold(" ".join(text.split()))[:LIMIT]


def refused(why: str) -> str:
    """The watch understood, and cannot take it."""
    return short(f"Not taken: {why}.")


def stranger(setup: Setup, heard: Heard) -> str:
    """What the lab manager hears of an answer that came from nobody of the set-up."""
    said = " ".join(heard.text.split())[:20]
    return short(
        f'{setup.rig.label}: "{said}" came from {heard.sender[:50]}, who is nobody of duty.toml. '
        "Not taken. If it is one of you, correct duty.toml."
    )


def confirmed(setup: Setup, durable: Durable, said: Answer, number: int | None, now: Moment) -> str:
    """What was taken, as it now stands. It also warns the owner of a number that was forged.

    number: the event it was about, None for none.
    """
    event = durable.events.get(number) if number is not None else None
    told = (
        _unnumbered(setup, durable, said, now)
        if event is None
        else _numbered(setup, event, said, now)
    )
    return short(f"{setup.rig.label}: {told}")


def _unnumbered(setup: Setup, durable: Durable, said: Answer, now: Moment) -> str:
    if said.kind == "note":
        return "your note is in the record."
    if said.kind == "hold end":
        return "the hold is over."
    if said.kind in _DUTY:
        return _DUTY[said.kind]
    ends = [hold.end for hold in durable.holds.values() if hold.who == said.who]
    if said.kind == "hold" and ends:
        return f"hold till {_clock(setup, now, max(ends))}. HOLD END ends it."
    if said.event is not None:
        return f"{said.event}: noted."
    return f"{said.kind} noted."


_DUTY = {
    "swap": "asked. You hear when it is taken; until then you stay on duty.",
    "sleep": "you sleep on site: you are called first until the morning.",
    "storm": "storm footing is on.",
    "storm end": "storm footing is over.",
}


def _numbered(setup: Setup, event: EventRecord, said: Answer, now: Moment) -> str:
    number = event.number
    holder = setup.person.get(event.taken_by)
    has_it = f"{holder.name} has it." if holder is not None else "The next is called."
    if said.kind == "take":
        if event.taken_by != said.who:
            return f"{number}: noted. {has_it}"
        if event.stage != "taken" or event.promise is None:
            return f"you have {number}."
        due = _clock(setup, now, event.promise)
        return f"you have {number}, due {due}. HERE {number} when in, NO {number} if you cannot."
    if said.kind == "here":
        return f"{number}: on site noted. See water run before you leave."
    if said.kind == "cannot":
        return f"{number}: noted that you cannot. {has_it}"
    if said.kind == "flow":
        return f"{number}: flow noted."
    owed = ", ".join(event.owed)
    return f"{number}: noted. Still owed: {owed}." if owed else f"{number}: noted, nothing owed."


def _clock(setup: Setup, now: Moment, elapsed: float) -> str:
    return f"{setup.local(now.utc_at(elapsed)):%H:%M}"


def now_text(setup: Setup, state: State, now: Moment) -> str:
    """The state of the water in one text: open events, then each tag with its age in seconds.

    A tag that is faulty or silent is left out: the last value of a dead sensor misleads.
    """
    scan = Scan(setup, state, now)
    parts = [Part(f"{setup.rig.label} {setup.local(now.utc):%a %H:%M}.")]
    numbers = [str(e.number) for e in state.durable.events.values() if is_open(e)]
    parts.append(Part(f"Open: {', '.join(numbers)}." if numbers else "No open event.", 8))
    if setup.run is not None and not setup.run.watch_set:
        parts.append(Part("WATCH STOOD DOWN."))
    for place, tag in enumerate(setup.rig.tags):
        found = scan.usable(tag)
        if found is None or found.value is None:
            continue
        if tag.measures in STATES:
            value = STATES[tag.measures][int(found.value)]
        else:
            value = tag.unit.show(found.value)
        parts.append(Part(f"{tag.id} {value} {now.elapsed - found.at:.0f}s", 7 - min(place, 6)))
    return fit(parts)


def who_text(setup: Setup, durable: Durable, now: Moment) -> str:
    """Who is called in which order now, and who has what."""
    order = [setup.person[name].name for name in order_at(setup, durable, now.utc)]
    parts = [Part(f"{setup.rig.label} on duty: {', '.join(order) or 'nobody'}.")]
    for event in durable.events.values():
        if not is_open(event):
            continue
        holder = setup.person.get(event.taken_by)
        parts.append(Part(f"{event.number}: {holder.name if holder else 'nobody'} has it.", 5))
    return fit(parts)
