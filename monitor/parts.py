"""The parts of the running watch that follow the set-up: sources in, senders out.

A change of the set-up exchanges only what it touches. What leaves is asked to stop and not waited
for: its thread ends by itself, and the scan goes on.
"""

import logging
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from monitor.channels import CHANNELS
from monitor.channels.base import Message, Secrets, Sender
from monitor.channels.sender import SenderThread
from monitor.clock import Clock
from monitor.effects import Text
from monitor.errors import Problem, SetupError
from monitor.inputs import DeliveryReport, Fault, Moment, Reading
from monitor.rig import Rig, Tag
from monitor.setup import Channel, Setup, SourceSetup
from monitor.sources import DRIVERS
from monitor.sources.base import Source
from monitor.workers import Worker

log = logging.getLogger(__name__)

SENDER_FRESH = 330.0
"""Seconds without a sign of life after which a sender counts as stuck: the longest deadline that
a channel may be given is 300 s, and an idle sender shows itself every 10 s."""

RECORDING = "recording"
"""The kind of a source that only `holdwater replay` plays: nothing runs for it here."""

NO_CHANNEL = "the channel is no longer in the set-up"
NO_PERSON = "the person is no longer in the set-up"

Report = Callable[[DeliveryReport], None]


@dataclass(frozen=True, slots=True)
class RunningSource:
    """A source with what it was made from."""

    made_from: tuple[SourceSetup, tuple[Tag, ...]]
    worker: Worker
    stop: threading.Event


@dataclass(frozen=True, slots=True)
class RunningSender:
    """A sender with what it was made from."""

    made_from: Channel
    thread: SenderThread


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


class Parts:
    """Sources and senders of the set-up in force. Only the owner thread calls these methods."""

    def __init__(
        self, secrets: Secrets, clock: Clock, put: Callable[[Reading], None], report: Report
    ) -> None:
        self._secrets = secrets
        self._clock = clock
        self._put = put
        self._report = report
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
                del self._sources[name]
        for name, made_from in wanted.items():
            if name not in self._sources:
                self._begin_source(made_from, setup.rig)
        channels = {channel.id: channel for channel in setup.channels}
        for name, sender in list(self._senders.items()):
            if channels.get(name) != sender.made_from:
                sender.thread.stop(0.0)
                del self._senders[name]
        begun = tuple(name for name in channels if name not in self._senders)
        for name in begun:
            self._begin_sender(channels[name])
        return begun

    def _begin_source(self, made_from: tuple[SourceSetup, tuple[Tag, ...]], rig: Rig) -> None:
        source = _source(made_from[0], rig, self._secrets)
        stop = threading.Event()

        def body(stop: threading.Event) -> None:
            source.run(self._put, self._clock, stop)

        worker = Worker(f"source {source.id}", body, self._clock, stop)
        worker.start()
        self._sources[source.id] = RunningSource(made_from, worker, stop)

    def _begin_sender(self, channel: Channel) -> None:
        thread = SenderThread(_sender(channel, self._secrets), self._clock, self._report)
        thread.start()
        self._senders[channel.id] = RunningSender(channel, thread)

    def deliver(self, text: Text, channels: tuple[str, ...]) -> None:
        """Hand a text to its channels. What cannot be handed over is reported as given up."""
        assert self._setup is not None
        person = self._setup.person.get(text.person)
        for channel in channels:
            sender = self._senders.get(channel)
            if sender is None or person is None:
                why = NO_PERSON if person is None else NO_CHANNEL
                now = self._clock.now()
                self._report(DeliveryReport(now, text.number, channel, "given up", why))
                continue
            local = self._setup.local(text.moment.utc)
            sender.thread.offer(Message(text, person, self._setup.rig.label, local))

    def faults(self, now: Moment) -> list[Fault]:
        """News of the threads of the sources."""
        found = (source.worker.fault(now) for source in self._sources.values())
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
            if not sender.thread.stop(timeout):
                log.warning("channel=%s still busy", sender.made_from.id)
        for source in self._sources.values():
            if not source.worker.join(timeout):
                log.warning("%s still busy", source.worker.name)
