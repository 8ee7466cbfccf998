"""What every channel is: one way to reach a person, and what became of a message on it."""

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal, Protocol, TypeVar

from monitor.effects import Text
from monitor.errors import Problem, SetupError
from monitor.logic.gsm import LIMIT, places
from monitor.options import read_options as options_of
from monitor.setup import Channel, Person

Options = TypeVar("Options")
Secrets = Mapping[str, str]

Outcome = Literal["accepted", "refused", "retry", "unknown"]


ON_THE_BOARD, BY_MAIL = "on the board", "by mail"
"""Where one answers a text to which no reply is read."""


@dataclass(frozen=True, slots=True)
class Message:
    """One text on its way to one person. local_time: when it was written, in the site's zone.

    is_heard: whether the watch reads what is sent back on the same way; if not, instead says where
    one answers.
    """

    text: Text
    person: Person
    rig_label: str
    local_time: datetime
    is_heard: bool = False
    instead: str = ON_THE_BOARD

    @property
    def body(self) -> str:
        """The words of the text; they ask for a reply only where one is read.

        Where one is not, they say how to answer as far as there is room for it.
        """
        event, words = self.text.event, self.text.body
        if self.is_heard:
            return words
        asked = re.compile(rf"Reply OK {event}(?:, or NO {event})?\.")
        longer = asked.sub(f"Take {event} {self.instead}.", words)
        has_room = (places(longer) or LIMIT + 1) <= LIMIT
        return longer if has_room else asked.sub(f"Event {event}.", words)


@dataclass(frozen=True, slots=True)
class Delivery:
    """What became of one attempt, with a detail fit to be shown.

    outcome: "accepted" (the next station answers for it; nobody has read it yet), "refused" (for
    good: the same again would be refused again), "retry" (surely not sent), "unknown" (may have
    been sent).
    """

    outcome: Outcome
    detail: str


class Sender(Protocol):
    """One channel. Building one checks its set-up and opens nothing."""

    id: str

    def send(self, message: Message) -> Delivery:
        """Hand over one message. Blocks for a bounded time; outside trouble is an outcome."""


def one_line(text: str) -> str:
    """Text fit for a header: controls, line breaks and half characters become spaces.

    Unicode categories C (control, format, surrogate, private, unassigned) and Zl, Zp (line and
    paragraph separators) go; runs of space become one.
    """
    kept = (" " if _is_unfit(sign) else sign for sign in text)
    return " ".join("".join(kept).split())


def many_lines(text: str) -> str:
    """Text fit for a body: as `one_line`, but line breaks and spaces stay as they are."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join("".join(" " if _is_unfit(sign) else sign for sign in line) for line in lines)


def _is_unfit(sign: str) -> bool:
    return sign != "\t" and unicodedata.category(sign) in (
        "Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp",
    )  # fmt: skip


def read_options(
    kind: Callable[..., Options], options: Iterable[tuple[str, object]], place: str
) -> tuple[Options | None, list[Problem]]:
    """The options of one channel as a checked dataclass, or None and every problem in them."""
    return options_of(kind, options, place, "docs/reference/channels.md")


def checked_options(
    kind: Callable[..., Options],
    setup: Channel,
    secrets: Secrets,
    clashes: Callable[[Options, Secrets, str], list[Problem]],
) -> Options:
    """The options of one channel; SetupError with every problem, those that `clashes` finds too.

    clashes: what is wrong with options that are each sound by themselves, or with their secrets.
    """
    place = f"channel {setup.id}"
    options, problems = read_options(kind, setup.options, place)
    if options is not None:
        problems += clashes(options, secrets, place)
    if options is None or problems:
        raise SetupError(problems)
    return options


Check = tuple[bool, str, str, str]
"""Whether something is wrong in a set-up; then the key, what is wrong, and the remedy."""


def wrong_in(place: str, checks: Iterable[Check]) -> list[Problem]:
    """The problems among checks that no single option shows."""
    return [
        Problem(place, None, key, wrong, remedy) for is_so, key, wrong, remedy in checks if is_so
    ]


def no_secret(key: str, name: str, secrets: Secrets) -> Check:
    """A secret that is named and not there."""
    wrong = f"there is no secret named {name!r}"
    remedy = "Add it to the secrets, or correct the name"
    return bool(name) and name not in secrets, key, wrong, remedy


def no_full_path(key: str, path: str) -> Check:
    """A path that hangs on where the watch was started."""
    is_short = bool(path) and not Path(path).is_absolute()
    return is_short, key, f"{path!r} is not a full path", "Begin it with /"
