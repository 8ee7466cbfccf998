"""The parts of the running watch that follow the set-up: sources in, senders out.

A change of the set-up exchanges only what it touches. What leaves is asked to stop and not waited
for: its thread ends by itself, and the scan goes on.
"""

import logging
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from itertools import count

from monitor.archive import OutboxRow
from monitor.channels import CHANNELS
from monitor.channels.base import BY_MAIL, ON_THE_BOARD, Message, Secrets, Sender
from monitor.channels.beacon import Beacon, shine
from monitor.channels.hearing import Hooks, Listener
from monitor.channels.reception import Reply
from monitor.channels.sender import SenderThread
from monitor.clock import Clock
from monitor.effects import Text
from monitor.errors import Problem, SetupError
from monitor.inputs import SENDING, DeliveryReport, Fault, Moment, Reading
from monitor.rig import Rig, Tag
from monitor.setup import Channel, Person, Setup, SourceSetup
from monitor.sign import Sign
from monitor.sources import DRIVERS
from monitor.sources.base import Source
from monitor.workers import Spell, Worker

log = logging.getLogger(__name__)

SENDER_FRESH = 330.0
"""Seconds without a sign of life after which a sender counts as stuck: the longest deadline that
a channel may be given is 300 s, and an idle sender shows itself every 10 s."""

RECORDING = "recording"
"""The kind of a source that only `holdwater replay` plays: nothing runs for it here."""

NO_CHANNEL = "the channel is no longer in the set-up"
NO_PERSON = "the person is no longer in the set-up"


@dataclass(frozen=True, slots=True)
class RunningSource:
    """A source with what it was made from."""

    made_from: tuple[SourceSetup, tuple[Tag, ...]]
    worker: Worker
    stop: threading.Event


@dataclass(frozen=True, slots=True)
class RunningSender:
    """A sender with what it was made from. ear: the second thread of a channel that hears, or that
    sends signs of life; stop ends it."""

    made_from: Channel
    thread: SenderThread
    stop: threading.Event
    ear: Worker | None
    sending: Spell


def build(setup: Setup, secrets: Secrets) -> tuple[list[Source], list[Sender]]:
    """All sources and channels of a set-up, not started; SetupError with every problem."""
    problems: list[Problem] = []
    sources: list[Source] = []
    senders: list[Sender] = []
    for source in setup.sources:
        try:
            sources.append(_source(source, setup.rig, secrets))
        except SetupError as error:
            problems += error.problems
    for channel in setup.channels:
        try:
            senders.append(_sender(channel, secrets))
        except SetupError as error:
            problems += error.problems
    if problems:
        raise SetupError(problems)
    return sources, senders


def _source(source: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    if source.kind == RECORDING:
        wrong, remedy = "is a recording", "Play it with: holdwater replay"
        raise SetupError([Problem(f"source {source.id}", None, "kind", wrong, remedy)])
    driver = DRIVERS.get(source.kind)
    if driver is None:
        raise SetupError([_unknown(f"source {source.id}", source.kind, DRIVERS)])
    return driver(source, rig, secrets)


def _sender(channel: Channel, secrets: Secrets) -> Sender:
    make = CHANNELS.get(channel.kind)
    if make is None:
        raise SetupError([_unknown(f"channel {channel.id}", channel.kind, CHANNELS)])
    return make(channel, secrets)


def _unknown(place: str, kind: str, known: Iterable[str]) -> Problem:
    return Problem(place, None, "kind", f"{kind!r} is unknown", f"There are {', '.join(known)}")


def heard(channels: Iterable[Channel]) -> frozenset[str]:
    """The channels on which the watch reads what is sent back."""
    ways = {channel.id for channel in channels if channel.kind == "modem"}
    return frozenset(
        ways | {str(dict(channel.options).get("reply_by", "")) for channel in channels} - {""}
    )


class Parts:
    """Sources and senders of the set-up in force. Only the owner thread calls these methods, but
    for `say`.

    hooks: what a channel that hears may call; its `report` is told what became of each text, and
    of each reply under a number below zero.
    """

    def __init__(
        self, secrets: Secrets, clock: Clock, put: Callable[[Reading], None], hooks: Hooks
    ) -> None:
        self._secrets = secrets
        self._clock = clock
        self._put = put
        self._hooks = hooks
        self._replies = count(-1, -1)
        self._sign: Sign | None = None
        self._setup: Setup | None = None
        self._sources: dict[str, RunningSource] = {}
        self._senders: dict[str, RunningSender] = {}

    def fit(self, setup: Setup) -> tuple[str, ...]:
        """Bring the parts in line with a set-up; returns the channels that were begun."""
        self._setup = setup
        wanted = {
            source.id: (source, tuple(t for t in setup.rig.tags if t.source == source.id))
            for source in setup.sources
        }
        for name, source in list(self._sources.items()):
            if wanted.get(name) != source.made_from:
                source.stop.set()
                self._over(source.worker.gone(self._clock.now()))
                del self._sources[name]
        for name, made_from in wanted.items():
            if name not in self._sources:
                self._begin_source(made_from, setup.rig)
        channels = {channel.id: channel for channel in setup.channels}
        for name, sender in list(self._senders.items()):
            if channels.get(name) != sender.made_from:
                sender.stop.set()
                sender.thread.stop(0.0)
                self._over(sender.sending.end(self._clock.now()))
                if sender.ear is not None:
                    self._over(sender.ear.gone(self._clock.now()))
                del self._senders[name]
        begun = tuple(name for name in channels if name not in self._senders)
        for name in begun:
            self._begin_sender(channels[name])
        return begun

    def _over(self, fault: Fault | None) -> None:
        """What is gone is not faulty any more."""
        if fault is not None:
            self._hooks.tell(fault)

    def _begin_source(self, made_from: tuple[SourceSetup, tuple[Tag, ...]], rig: Rig) -> None:
        source = _source(made_from[0], rig, self._secrets)
        stop = threading.Event()

        def body(stop: threading.Event) -> None:
            source.run(self._put, self._clock, stop)

        worker = Worker(f"source {source.id}", body, self._clock, stop)
        worker.start()
        self._sources[source.id] = RunningSource(made_from, worker, stop)

    def _begin_sender(self, channel: Channel) -> None:
        sender = _sender(channel, self._secrets)
        thread = SenderThread(sender, self._clock, self._hooks.report)
        thread.start()
        stop = threading.Event()
        ear = self._ear(sender, stop)
        if ear is not None:
            ear.start()
        self._senders[channel.id] = RunningSender(
            channel, thread, stop, ear, Spell(f"channel {channel.id} {SENDING}")
        )

    def _ear(self, sender: Sender, stop: threading.Event) -> Worker | None:
        """The second thread of a channel that hears, or that sends signs of life."""

        def body(stop: threading.Event) -> None:
            if isinstance(sender, Listener):
                sender.listen(self._hooks, self._clock, stop)
            elif isinstance(sender, Beacon):
                shine(sender, lambda: self._sign, self._hooks, self._clock, stop)

        if not isinstance(sender, Listener | Beacon):
            return None
        return Worker(f"channel {sender.id}", body, self._clock, stop)

    def live(self, sign: Sign) -> None:
        """The loop has made a full pass: what the beacons send from now on."""
        self._sign = sign

    def deliver(self, text: Text, channels: tuple[str, ...]) -> None:
        """Hand a text to its channels. What cannot be handed over is reported as given up."""
        for channel in channels:
            handed = self._message(text, channel)
            if handed is not None:
                handed[0].offer(handed[1])

    def go_on(self, row: OutboxRow) -> None:
        """Hand on a text that an earlier process left; one that may have been sent already is
        sent once more only."""
        handed = self._message(row.text, row.channel)
        if handed is None:
            return
        thread, message = handed
        if row.state == "unknown" and row.next_try is not None:
            thread.offer_again(message, row.next_try)
        else:
            thread.offer(message)

    def _message(self, text: Text, channel: str) -> tuple[SenderThread, Message] | None:
        """What is handed to whom; None, and reported as given up, where it cannot be."""
        assert self._setup is not None
        person = self._setup.person.get(text.person)
        sender = self._senders.get(channel)
        if sender is None or person is None:
            why = NO_PERSON if person is None else NO_CHANNEL
            now = self._clock.now()
            self._hooks.report(DeliveryReport(now, text.number, channel, "given up", why))
            return None
        local = self._setup.local(text.moment.utc)
        ways = heard(self._setup.channels)
        instead = self._elsewhere(person, ways)
        label = self._setup.rig.label
        return sender.thread, Message(text, person, label, local, channel in ways, instead)

    def _elsewhere(self, person: Person, ways: frozenset[str]) -> str:
        """Where somebody answers a text on a way that is not heard."""
        known = (self._senders[way] for way in ways if way in self._senders)
        kinds = {way.made_from.kind for way in known if way.made_from.id in person.channels}
        return BY_MAIL if "mail" in kinds else ON_THE_BOARD

    def say(self, reply: Reply) -> None:
        """Hand a reply to its channel and do not wait; may be called by any thread."""
        setup, sender = self._setup, self._senders.get(reply.channel)
        if setup is None or sender is None:
            log.warning("channel=%s reply_lost=%r", reply.channel, reply.body)
            return
        message = reply.message(next(self._replies), setup, self._clock.now())
        is_heard = reply.channel in heard(setup.channels)
        sender.thread.offer(replace(message, is_heard=is_heard))

    def faults(self, now: Moment) -> list[Fault]:
        """News of the threads of the sources and of the channels that hear, and of channels by
        which nothing goes out."""
        senders = self._senders.values()
        workers = [source.worker for source in self._sources.values()]
        workers += [sender.ear for sender in senders if sender.ear is not None]
        found = [worker.fault(now) for worker in workers]
        found += [sender.sending.look(now, sender.thread.wrong) for sender in senders]
        return [fault for fault in found if fault is not None]

    def stuck(self, now: Moment) -> list[str]:
        """Channels whose thread gives no sign of life."""
        return [
            name
            for name, sender in self._senders.items()
            if now.elapsed - sender.thread.fresh > SENDER_FRESH
        ]

    def stop(self, timeout: float) -> None:
        """Ask everything to end, then wait for each a little."""
        for source in self._sources.values():
            source.stop.set()
        for sender in self._senders.values():
            sender.stop.set()
        for sender in self._senders.values():
            if not sender.thread.stop(timeout):
                log.warning("channel=%s still busy", sender.made_from.id)
            if sender.ear is not None and not sender.ear.join(timeout):
                log.warning("%s still busy", sender.ear.name)
        for source in self._sources.values():
            if not source.worker.join(timeout):
                log.warning("%s still busy", source.worker.name)
