"""Planned work near the rig: alarms stay, a second person knows of it, and it has an end.

Painting, plumbing, builders. At the end whoever does it is asked what stands closed or unplugged;
work that overruns is told to the second person and to those on duty. Figures: common practice, no
source.
"""

from dataclasses import replace

from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic import telling, wording_care
from monitor.logic.aside import WorksRecord
from monitor.logic.scan import Scan

LONGEST = 86_400.0
"""Seconds of one work: what goes on tomorrow is said again tomorrow."""
OVERRUN = 900.0
"""Seconds after the end at which the others hear that nobody has said it is over."""
ASK_AGAIN = 3600.0
"""And again so often, until it is over or has a new end."""
LONGEST_PLACE = 20


def begin(scan: Scan, said: Answer) -> None:
    """Work begins, or goes on to a new end. RefusedInput without what, where, end or second."""
    place, second = said.detail("at"), said.detail("second")
    if not said.text.strip():
        raise RefusedInput("say what is worked on, such as: painting")
    if not 0 < len(place) <= LONGEST_PLACE:
        raise RefusedInput(f"say where, in at most {LONGEST_PLACE} letters: a circuit or a room")
    if said.minutes is None or not 0.0 < said.minutes * 60.0 <= LONGEST:
        raise RefusedInput("work has an end: at most 24 hours")
    if second not in scan.setup.person or second == said.who:
        others = ", ".join(person for person in scan.setup.person if person != said.who)
        raise RefusedInput(f"a second person must know of it: one of {others or 'nobody yet'}")
    known = scan.durable.works.get(place)
    since = scan.t if known is None else known.since
    record = WorksRecord(said.text.strip(), said.who, second, since, scan.t + said.minutes * 60.0)
    scan.set_works(place, record)
    scan.journal(
        "answer",
        f"works {place}",
        "began" if known is None else "goes on",
        who=said.who,
        cause=said.way,
        evidence=(("till", scan.site_time(record.end)), ("second", second)),
        text=record.what,
    )
    body = wording_care.works_begun(scan, place, record)
    telling.say(scan, "works in progress", "notice", [second], body)


def end(scan: Scan, said: Answer) -> None:
    """Work is over; what still stands closed or unplugged must be said, if only "nothing"."""
    places, place = tuple(scan.durable.works), said.detail("at")
    if not place and len(places) == 1:
        place = places[0]
    record = scan.durable.works.get(place)
    if record is None:
        raise RefusedInput(f"no works at {place[:40]!r}; there are {', '.join(places) or 'none'}")
    left = said.text.strip()
    if not left:
        raise RefusedInput('say what still stands closed or unplugged, or "nothing"')
    scan.set_works(place, None)
    scan.journal("answer", f"works {place}", "over", who=said.who, cause=said.way, text=left)
    others = [person for person in (record.who, record.second) if person != said.who]
    body = wording_care.works_over(scan, place, record, said.who, left)
    telling.say(scan, "works over", "notice", others, body)


def follow(scan: Scan) -> None:
    """Ask at the end, tell an overrun, and tell those on duty before a night."""
    if not scan.watch_set:
        return
    for place in tuple(scan.durable.works):
        _ask(scan, place, scan.durable.works[place])
        _tell_for_the_night(scan, place, scan.durable.works[place])


def _tell_for_the_night(scan: Scan, place: str, record: WorksRecord) -> None:
    if telling.night_to_tell(scan, record.end, record.said):
        scan.set_works(place, replace(record, said=scan.t))
        body = wording_care.works_begun(scan, place, record)
        telling.say(scan, "works in progress", "notice", telling.order(scan)[:1], body)


def _ask(scan: Scan, place: str, record: WorksRecord) -> None:
    """At the end whoever works is asked, then the others too, again and again."""
    wait = (0.0, OVERRUN)[record.asks] if record.asks < 2 else ASK_AGAIN
    due = (record.asked if record.asked is not None else record.end) + wait
    if scan.t < due:
        scan.due(due)
        return
    people = [record.who] if record.asks == 0 else [record.who, record.second]
    if record.asks:
        people += telling.order(scan)[:1]
        scan.journal("event", f"works {place}", "overrun", who=record.who, text=record.what)
    body = wording_care.works_ended(scan, place, record)
    telling.say(scan, "works at their end", "notice", dict.fromkeys(people), body)
    scan.set_works(place, replace(record, asks=record.asks + 1, asked=scan.t))
    scan.due(scan.t + (OVERRUN if record.asks == 0 else ASK_AGAIN))
