"""The duty sheet: who is called in which order, and how long each needs to the door."""

from monitor.logic import duty
from monitor.logic.state import Durable
from monitor.record.sheets.paper import Block, Place, Sheet
from monitor.setup import DAY

AHEAD = 14.0 * DAY


def duty_sheet(place: Place, durable: Durable, with_numbers: bool) -> Sheet:
    """Two weeks of turns. Phone numbers only on wish; else there is room to write them."""
    setup, start = place.setup, place.utc
    rows = []
    for turn in duty.turns(setup, durable, start, start + AHEAD):
        names = [_name(place, person) for person in turn.order]
        first, second = (*names, "nobody", "nobody")[:2]
        rest = ", ".join(names[2:]) or "nobody"
        rows.append((place.time(turn.start), place.time(turn.end), first, second, rest))
    people = tuple(
        (person.name or person.id, f"{person.night / 60:.0f} min", f"{person.day / 60:.0f} min",
         person.phone if with_numbers else "")
        for person in setup.people
        if person.id in {name for turn in duty.turns(setup, durable, start, start + AHEAD)
                         for name in turn.order}
    )  # fmt: skip
    words: tuple[str, ...] = ()
    if durable.sleeper is not None and durable.sleeper.until > start:
        until = place.time(durable.sleeper.until)
        words = (f"{_name(place, durable.sleeper.who)} sleeps on site until {until}.",)
    waits = [f"{seconds / 60:.0f}" for seconds in setup.delays.call_after]
    blocks = (
        Block(
            "Turns",
            words,
            ("from", "to", "first", "second", "then"),
            tuple(rows[:24]),
            wide=(22, 22, 18, 18, 20),
        ),
        Block(
            "People",
            head=("name", "bed to door", "by day", "phone"),
            rows=people,
            wide=(25, 18, 17, 40),
        ),
        Block(
            "How it calls",
            (
                "First on duty at once. Without an answer the next after "
                f"{', '.join(waits)} min; at the last of these everybody.",
                "Whoever takes an event says when they will be there. Not there by then: a "
                f"reminder, {setup.delays.after_promise / 60:.0f} min later the next is called.",
                "Cannot go? Say so at once: the next is called then, not later.",
            ),
        ),
    )
    caution = (
        "Tell somebody that you go. Do not drive half asleep: people first, fish second.",
        "This page has names and times of people: keep it in the room.",
    )
    return Sheet("duty", "Duty sheet", place.about, blocks, caution, ("Swaps agreed", "Date"))


def _name(place: Place, person: str) -> str:
    known = place.setup.person.get(person)
    return known.name if known is not None and known.name else person
