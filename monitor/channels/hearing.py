"""How people's answers come in: what a channel heard, and what it may call when it listens."""

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol, runtime_checkable

from monitor.clock import Clock
from monitor.errors import HoldwaterError
from monitor.inputs import DeliveryReport, Fault


@dataclass(frozen=True, slots=True)
class Heard:
    """One message of somebody, as it came in.

    sender: phone number with + and country, or a mail address. channel: the id of the channel by
    which an answer goes back, "" for none. event: the event whose mail it answers, if any.
    written: UTC seconds at which the network or the mail server got it; None where that is now.
    """

    sender: str
    text: str
    way: Literal["text", "mail"]
    channel: str
    event: int | None = None
    mark: str = ""
    written: float | None = None


class NotTaken(HoldwaterError):
    """The watch did not get to a message in time; offer it again later."""


@dataclass(frozen=True, slots=True)
class Hooks:
    """What a listening channel may call, from its own thread.

    take: hands over a message and returns once its fate is kept; only then may the channel delete
    or mark it. Raises NotTaken. report: what became of a text that was sent earlier. tell: a
    fault of the channel itself, or the end of it.
    """

    take: Callable[[Heard], None]
    report: Callable[[DeliveryReport], None]
    tell: Callable[[Fault], None]


@runtime_checkable
class Listener(Protocol):
    """A channel that also hears."""

    id: str

    def listen(self, hooks: Hooks, clock: Clock, stop: threading.Event) -> None:
        """Hear until `stop` is set. Trouble outside is told and outlived."""


class Trouble:
    """Tells a fault of a channel once it has lasted, when it changes, and when it is over.

    after: seconds it must last, also between two reasons; a network that is lost for a moment is
    nobody's business.
    """

    def __init__(self, channel: str, hooks: Hooks, clock: Clock, after: float) -> None:
        self._part = f"channel {channel}"
        self._hooks = hooks
        self._clock = clock
        self._after = after
        self._since: float | None = None
        self._told = ""
        self._told_at = -math.inf

    def look(self, wrong: str) -> None:
        """wrong: what is wrong now, "" if nothing is."""
        now = self._clock.now()
        if not wrong:
            self._since, self._told_at = None, -math.inf
            if self._told:
                self._told = ""
                self._hooks.tell(Fault(now, self._part, "", over=True))
            return
        if self._since is None:
            self._since = now.elapsed
        if wrong != self._told and now.elapsed - max(self._since, self._told_at) >= self._after:
            self._told, self._told_at = wrong, now.elapsed
            self._hooks.tell(Fault(now, self._part, wrong))
