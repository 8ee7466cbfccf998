"""What a step asks for: texts to send, journal rows to keep, flags on readings.

A step performs nothing itself; the loop carries these out after the commit.
"""

from dataclasses import dataclass

from monitor.inputs import Moment

Evidence = tuple[tuple[str, str], ...]
"""Pairs of label and shown value, such as (("LH", "37.0 cm"), ("limit", "36.0 cm"))."""


@dataclass(frozen=True, slots=True)
class Text:
    """One message to one person, sent over every channel by which that person is reached.

    number: counts up over the life of the archive; it makes a repeated delivery recognisable.
    event: the number people answer to; 0 when the text belongs to none.
    turn: what it reports ("supply lost", "siphon broken", "reminder" ...), see docs/reference.
    expires: elapsed seconds after which sending it would mislead.
    channel: the only channel it goes by; "" for all of the person.
    """

    number: int
    event: int
    person: str
    turn: str
    grade: str
    body: str
    moment: Moment
    expires: float
    channel: str = ""


@dataclass(frozen=True, slots=True)
class JournalRow:
    """One line of the record of what happened and why.

    what: "condition", "alarm", "event", "answer", "text", "delivery", "set-up", "clock", "fault",
    "trend".
    subject: name of the condition or alarm, or the number of the event.
    event: the number of the event it belongs to, 0 where it belongs to none.
    """

    moment: Moment
    what: str
    subject: str
    state: str
    grade: str = ""
    cause: str = ""
    who: str = ""
    evidence: Evidence = ()
    text: str = ""
    event: int = 0


@dataclass(frozen=True, slots=True)
class Flag:
    """The quality flag of one reading where it is not 1 (pass); test names what it failed.

    boot: the boot of the reading; 0 stands for the present one.
    """

    tag: str
    elapsed: float
    flag: int
    test: str
    boot: int = 0


@dataclass(frozen=True, slots=True)
class Refusal:
    """An input that could not be taken, and why, for the person who sent it."""

    moment: Moment
    who: str
    way: str
    why: str


Effect = Text | JournalRow | Flag | Refusal
