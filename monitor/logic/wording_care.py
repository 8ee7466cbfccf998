"""Texts on the care of alarms and events: what has eased."""

from monitor.logic.gsm import Part
from monitor.logic.names import WORDS
from monitor.logic.tale import Tale


def eased(tale: Tale) -> list[Part]:
    """What called people is over; only something that can wait for the day is left."""
    name = tale.worst()
    what, _ = WORDS.get(name, (name.upper(), ""))
    return [
        tale.head("EASED"),
        Part(f"No longer {tale.event.grade} since {tale.clock(tale.event.milder_since)}."),
        Part(f"Left: {what}."),
        Part("Nobody need go for that now; look at it by day."),
        Part(f"{tale.number} open."),
    ]
