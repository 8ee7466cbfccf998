"""What may enter a step: readings, answers of people, delivery reports and the rest.

Everything here is frozen plain data. An input carries the moment at which it happened at its
source, not the moment at which it is worked off.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.setup import Setup


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in time. `elapsed` never steps; `utc` may, until it is trusted.

    boot: number of the boot of the board, counted by the archive.
    elapsed: seconds of watch time. It runs with the monotonic clock, is never set back, and goes
        on over a restart from where the last one ended (see docs/explanation/clocks.md).
    utc: seconds since 1970-01-01 00:00 UTC as the wall clock had it.
    trusted: whether the wall clock was known to be right.
    """

    boot: int
    elapsed: float
    utc: float
    trusted: bool = True

    def utc_at(self, elapsed: float) -> float:
        """Wall time (UTC seconds) of another point of the same watch time line."""
        return self.utc + (elapsed - self.elapsed)


@dataclass(frozen=True, slots=True)
class Reading:
    """One value as the source delivered it, in the unit of the tag; None when it gave none.

    problem: the driver's own word for what was wrong ("" when nothing was), such as
        "not a number" or "power-on value".
    """

    tag: str
    moment: Moment
    value: float | None
    problem: str = ""


ANSWER_KINDS = (
    "take",
    "here",
    "cannot",
    "flow",
    "done",
    "hold",
    "hold end",
    "note",
    "shelve",
    "withdraw",
    "restore",
    "checked",
    "works",
    "works end",
    "fuel",
    "swap",
    "sleep",
    "storm",
    "storm end",
)
DETAILS = ("alarm", "check", "every", "at", "second", "of")
"""What an answer may name besides, by kind: docs/reference/alarms.md."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person said: takes an event, is on site, cannot come, has proven flow by bucket ...

    kind: one of ANSWER_KINDS. event: the number it names, None where none is needed.
    minutes: promise, or length of a hold, shelf or work, where given. text: for "done" the owed
    line, for what is put aside the reason, for "swap" with whom and which day, for
    "storm" the day and time of its end, else free. details: pairs of a word of DETAILS and
    what stands for it.
    way: how it came ("command", "mail", "text", "page", "button", "script").
    """

    moment: Moment
    kind: str
    who: str
    event: int | None = None
    minutes: float | None = None
    text: str = ""
    way: str = "command"
    details: tuple[tuple[str, str], ...] = ()

    def detail(self, word: str) -> str:
        """What was given for a word of DETAILS, "" where nothing was."""
        return next((value.strip() for key, value in self.details if key == word), "")


@dataclass(frozen=True, slots=True)
class DeliveryReport:
    """What became of a text on one channel: accepted, refused, unknown, or given up.

    next_try: elapsed seconds at which it is sent again; None where the matter is settled.
    """

    moment: Moment
    text: int
    channel: str
    outcome: str
    detail: str = ""
    next_try: float | None = None


@dataclass(frozen=True, slots=True)
class SetupChange:
    """A validated, numbered set-up that comes into force."""

    moment: Moment
    setup: "Setup"
    who: str
    reason: str


@dataclass(frozen=True, slots=True)
class ClockNote:
    """The wall clock became trusted, or stepped by `step` seconds."""

    moment: Moment
    trusted: bool
    step: float = 0.0


SENDING = "sending"
"""Ends the name of a part of the watch that is a way out: "channel mail sending"."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A part of the watch itself failed (a thread, the record, a channel) or recovered."""

    moment: Moment
    part: str
    wrong: str
    over: bool = False


Input = Reading | Answer | DeliveryReport | SetupChange | ClockNote | Fault
