"""What a message means under the set-up in force: who says it, and which input it is. Pure.

A sender is known by his exact phone number or mail address. Somebody unknown is told nothing:
a reply would tell a stranger what stands behind this number.
"""

import hashlib
import re
from dataclasses import dataclass

from monitor.channels import answers
from monitor.channels.answers import Misunderstood, Said
from monitor.channels.hearing import Heard
from monitor.inputs import Answer, Moment
from monitor.logic.events import is_open
from monitor.logic.state import Durable, EventRecord
from monitor.setup import Person, Setup

LATE = 3600.0
"""Seconds after which an answer that hung somewhere no longer says what its sender means now,
who is then asked again. Common practice, no source."""

_HOLDS_NOW = ("take", "here", "flow", "hold", "hold end", "swap", "sleep", "storm", "storm end")
_NO_EVENT = ("hold", "hold end", "note", "swap", "sleep", "storm", "storm end")
_E164 = re.compile(r"\+[1-9][0-9]{6,14}")
"""A phone number as ITU-T E.164 has it, in its plain form."""


@dataclass(frozen=True, slots=True)
class Stranger:
    """Nobody of the set-up, or more than one. kind: what it would have meant, "" for nothing."""

    why: str
    kind: str = ""
    event: int | None = None


@dataclass(frozen=True, slots=True)
class Query:
    """Somebody only asks: kind "now" or "who"."""

    person: Person
    kind: str


@dataclass(frozen=True, slots=True)
class Puzzle:
    """Somebody known said what cannot be taken."""

    person: Person
    puzzle: Misunderstood


def named_event(durable: Durable, said: Answer) -> int | None:
    """The event an answer is about: the one it names, else the only one that is open."""
    if said.event is not None or said.kind in _NO_EVENT:
        return said.event
    unfinished = [event.number for event in durable.events.values() if is_open(event)]
    return unfinished[0] if len(unfinished) == 1 else None


def plain_number(number: str) -> str:
    """A phone number in its plain form, "" if it is not international (E.164)."""
    plain = re.sub(r"[ ()./-]", "", number)
    return plain if _E164.fullmatch(plain) else ""


def people_of(setup: Setup, heard: Heard) -> list[Person]:
    """Everybody who has this very number or address."""
    if heard.way == "text":
        number = plain_number(heard.sender)
        return [
            person for person in setup.people if number and plain_number(person.phone) == number
        ]
    address = heard.sender.casefold()
    return [person for person in setup.people if address and person.mail.casefold() == address]


def meaning(
    setup: Setup, durable: Durable, heard: Heard, now: Moment
) -> Answer | Query | Puzzle | Stranger:
    """What is to be done with a message."""
    unfinished = [event for event in durable.events.values() if is_open(event)]
    example = max((event.number for event in unfinished), default=41)
    lines = tuple(line.id for line in setup.rig.lines)
    said = answers.parse(heard.text, heard.event, example, lines)
    found = people_of(setup, heard)
    if not found:
        why = "sender is nobody of the set-up"
        return Stranger(why, said.kind, said.event) if isinstance(said, Said) else Stranger(why)
    person = found[0]
    if len(found) > 1:
        names = " and ".join(item.name for item in found)
        reply = f"Not taken: {names} share this sender, so nobody knows who you are. Call."
        return Puzzle(person, Misunderstood("sender belongs to several people", reply))
    if heard.mark and heard.mark != thread_mark(setup.rig.label, heard.event or 0):
        reply = f"Not taken: you answered a mail of another rig than {setup.rig.label}."
        return Puzzle(person, Misunderstood("answers a mail of another rig", reply))
    if isinstance(said, Misunderstood):
        return Puzzle(person, said)
    if said.kind in ("now", "who"):
        return Query(person, said.kind)
    if (late := _late(said, heard, now)) is not None:
        return Puzzle(person, late)
    text = _done_text(said, unfinished) if said.kind == "done" else said.text
    return Answer(now, said.kind, person.id, said.event, said.minutes, text, heard.way)


def thread_mark(label: str, event: int) -> str:
    """What `letter.compose` puts beside the number of an event, so that two rigs that share a
    mailbox keep their events apart."""
    return hashlib.sha256(repr((label, event)).encode("utf-8", "backslashreplace")).hexdigest()[:12]


def _late(said: Said, heard: Heard, now: Moment) -> Misunderstood | None:
    """An answer of an hour ago must not stop the calling now. A clock not trusted cannot tell."""
    if said.kind not in _HOLDS_NOW or heard.written is None or not now.trusted:
        return None
    late = now.utc - heard.written
    if late <= LATE:
        return None
    hours = f"{late / 3600.0:.0f} h"
    reply = f"Not taken: your answer came {hours} late. Send it again if it still holds."
    return Misunderstood(f"{hours} late", reply)


def _done_text(said: Said, unfinished: list[EventRecord]) -> str:
    """The owed line, a colon, and what was found: "dead count: 160"; the longest line that fits."""
    if ":" in said.text:
        return said.text
    meant = [event for event in unfinished if said.event in (None, event.number)]
    owed = sorted((line for event in meant for line in event.owed), key=len, reverse=True)
    for line in owed:
        rest = said.text[len(line) :]
        if said.text.casefold().startswith(line.casefold()) and not rest[:1].isalnum():
            found = rest.strip(" ,.;-")
            return f"{line}: {found}" if found else line
    return said.text
