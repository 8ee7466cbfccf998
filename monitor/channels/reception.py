"""Where all answers come in: known senders become inputs, questions get their reply.

Called by the threads of all listening channels. What was taken is confirmed, because a sender's
number can be forged and its owner must hear of it. What is not clear is asked back once, so that
a machine that answers by itself cannot keep two machines talking.
"""

import logging
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from monitor.channels import replies
from monitor.channels.base import Message
from monitor.channels.hearing import Heard
from monitor.channels.meaning import Puzzle, Query, Stranger, meaning, named_event
from monitor.clock import Clock
from monitor.effects import Text
from monitor.inputs import Answer, Moment
from monitor.logic.events import is_open
from monitor.logic.quiet import is_quiet
from monitor.logic.scan import Scan
from monitor.logic.state import State
from monitor.setup import Person, Setup

log = logging.getLogger(__name__)

ASK_AGAIN = 3600.0
"""Seconds in which one person is asked back once by one way, or until something is understood."""

MOST, WITHIN = 20, 600.0
"""Messages of one sender that are looked at within so many seconds; all strangers together count
as one sender. Nobody types faster (common practice, no source)."""


TOLD_AGAIN = 3600.0
"""Seconds in which the lab manager is told of one unknown sender at most: a flood must not become
a flood of texts (common practice, no source)."""

REPLY_LIFE = 600.0
"""Seconds after which a reply only puzzles (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What is to be said to a person, and by which channel. event: the number it is about."""

    person: Person
    channel: str
    body: str
    event: int

    def message(self, number: int, setup: Setup, now: Moment) -> Message:
        """The reply as a channel sends it. It is no turn of an event, so its number is not one of
        the counted texts: give each another below zero."""
        expires = now.elapsed + REPLY_LIFE
        who = self.person.id
        text = Text(number, self.event, who, "answer", "notice", self.body, now, expires)
        return Message(text, self.person, setup.rig.label, setup.local(now.utc))


class Reception:
    """Takes messages from any thread.

    look: set-up and state as of the last turn. put: brings an answer in and waits for its fate;
    returns why it was refused, "" if it was not, and raises NotTaken where nobody can tell yet.
    say: hands a reply to a channel and does not wait.
    """

    def __init__(
        self,
        look: Callable[[], tuple[Setup, State]],
        put: Callable[[Answer], str],
        say: Callable[[Reply], None],
        clock: Clock,
    ) -> None:
        self._look = look
        self._put = put
        self._say = say
        self._clock = clock
        self._lock = threading.Lock()
        self._heard: dict[str, deque[float]] = {}
        self._asked: dict[tuple[str, str], float] = {}
        self._told_of_stranger = -TOLD_AGAIN

    def take(self, heard: Heard) -> None:
        """Take one message; returns once its fate is kept. Raises NotTaken."""
        setup, state = self._look()
        found = meaning(setup, state.durable, heard, self._clock.now())
        who = "stranger" if isinstance(found, Stranger) else _person(setup, found).id
        if not self._has_room(who):
            log.warning(
                "way=%s sender=%r too_many=True text=%r", heard.way, heard.sender, heard.text
            )
            return
        if isinstance(found, Stranger):
            self._refuse(setup, state, found, heard)
        elif isinstance(found, Query):
            self._understood(found.person.id, heard)
            now = self._clock.now()
            body = (
                replies.now_text(setup, state, now)
                if found.kind == "now"
                else replies.who_text(setup, state.durable, now)
            )
            self._reply(found.person, heard, body)
        elif isinstance(found, Puzzle):
            self._ask(found, heard)
        else:
            self._bring_in(setup, state, found, heard)

    def _refuse(self, setup: Setup, state: State, stranger: Stranger, heard: Heard) -> None:
        """Logged; if it would have been an answer it is in the record, and the lab manager hears
        of it: it may be one of the people with another phone. The sender is told nothing."""
        log.warning("way=%s sender=%r refused=%r", heard.way, heard.sender, stranger.why)
        if not stranger.kind:
            return
        now = self._clock.now()
        if stranger.kind not in ("now", "who"):
            # A sender may call itself by the id of a person; no id begins like this.
            who = f"unknown sender {heard.sender}"
            self._put(Answer(now, stranger.kind, who, stranger.event, way=heard.way))
        manager = setup.person.get(setup.manager)
        if manager is not None and self._is_told(setup, state, now):
            body = replies.stranger(setup, heard)
            for channel in manager.channels:
                self._say(Reply(manager, channel, body, 0))

    def _is_told(self, setup: Setup, state: State, now: Moment) -> bool:
        """Whether the lab manager is told now: once an hour, by night only in an event."""
        quiet = is_quiet(Scan(setup, state, now))
        if quiet and not any(map(is_open, state.durable.events.values())):
            return False
        with self._lock:
            if now.elapsed - self._told_of_stranger < TOLD_AGAIN:
                return False
            self._told_of_stranger = now.elapsed
        return True

    def _bring_in(self, setup: Setup, state: State, said: Answer, heard: Heard) -> None:
        number = named_event(state.durable, said)
        refused = self._put(said)
        self._understood(said.who, heard)
        if refused:
            body = replies.refused(refused)
        else:
            durable = self._look()[1].durable
            body = replies.confirmed(setup, durable, said, number, self._clock.now())
        self._reply(setup.person[said.who], heard, body, number or 0)

    def _ask(self, found: Puzzle, heard: Heard) -> None:
        now = self._clock.now().elapsed
        key = found.person.id, heard.way
        log.info("way=%s who=%s not_clear=%r", heard.way, found.person.id, found.puzzle.reason)
        with self._lock:
            if now - self._asked.get(key, -ASK_AGAIN) < ASK_AGAIN:
                return
            self._asked[key] = now
        self._reply(found.person, heard, replies.short(found.puzzle.reply), heard.event or 0)

    def _understood(self, person: str, heard: Heard) -> None:
        with self._lock:
            self._asked.pop((person, heard.way), None)

    def _reply(self, person: Person, heard: Heard, body: str, event: int = 0) -> None:
        if heard.channel:
            self._say(Reply(person, heard.channel, body, event))

    def _has_room(self, sender: str) -> bool:
        now = self._clock.now().elapsed
        with self._lock:
            times = self._heard.setdefault(sender, deque(maxlen=MOST))
            if len(times) == MOST and now - times[0] < WITHIN:
                return False
            times.append(now)
            return True


def _person(setup: Setup, found: Answer | Query | Puzzle) -> Person:
    return setup.person[found.who] if isinstance(found, Answer) else found.person
