"""Sources and senders of the running watch: what a change of the set-up exchanges."""

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.archive import OutboxRow
from monitor.channels import CHANNELS
from monitor.channels.base import Delivery, Message, Secrets
from monitor.channels.hearing import Heard, Hooks
from monitor.channels.reception import Reply
from monitor.clock import Clock, SystemClock, always_trusted
from monitor.errors import SetupError
from monitor.inputs import DeliveryReport, Fault, Reading
from monitor.parts import NO_CHANNEL, NO_PERSON, SENDER_FRESH, Parts, build
from monitor.parts import heard as heard_on
from monitor.rig import Rig, Tag
from monitor.setup import Channel, Setup, SourceSetup
from monitor.sources import DRIVERS
from monitor.units import unit_of
from shell.fakes import SETUP, text

HANG = 20.0
"""Seconds after which a failing test gives up."""


class Bus:
    """A source that notes its life."""

    alive: list["Bus"]

    def __init__(self, setup: SourceSetup, rig: Rig, _secrets: Secrets) -> None:
        self.id = setup.id
        self.tags = [tag.id for tag in rig.tags if tag.source == setup.id]
        self.begun, self.ended = threading.Event(), threading.Event()

    def run(self, put: Callable[[Reading], None], clock: Clock, stop: threading.Event) -> None:
        self.begun.set()
        stop.wait(HANG)
        self.ended.set()


@pytest.fixture
def buses(monkeypatch: pytest.MonkeyPatch) -> list[Bus]:
    """Every bus that was made; the kind "bus" is known."""
    made: list[Bus] = []

    def make(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Bus:
        made.append(Bus(setup, rig, secrets))
        return made[-1]

    monkeypatch.setitem(DRIVERS, "bus", make)
    return made


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    """Two buses with a tag each, one folder to reach Tavrin by."""
    tags = tuple(
        Tag(f"T{number}", "temperature", "LT1", unit_of("temperature"), f"bus{number}")
        for number in (1, 2)
    )
    return replace(
        SETUP,
        rig=replace(SETUP.rig, tags=tags),
        sources=(SourceSetup("bus1", "bus"), SourceSetup("bus2", "bus")),
        channels=(Channel("folder", "folder", (("folder", str(tmp_path / "out")),)),),
    )


@pytest.fixture
def reports() -> list[DeliveryReport]:
    """What was reported."""
    return []


@pytest.fixture
def heard() -> list[Heard]:
    """What channels have heard."""
    return []


@pytest.fixture
def faults() -> list[Fault]:
    """What was told as a fault, or its end."""
    return []


@pytest.fixture
def parts(
    reports: list[DeliveryReport], heard: list[Heard], faults: list[Fault]
) -> Iterator[Parts]:
    """Parts that nothing was begun of yet."""
    clock = SystemClock(1, 0.0, always_trusted)
    hooks = Hooks(heard.append, reports.append, faults.append)
    made = Parts({}, clock, lambda _reading: None, hooks)
    yield made
    made.stop(HANG)


def test_every_source_runs_in_its_own_thread(parts: Parts, setup: Setup, buses: list[Bus]) -> None:
    """Sources begin with the set-up and end when asked to."""
    parts.fit(setup)
    assert all(bus.begun.wait(HANG) for bus in buses)
    parts.stop(HANG)

    assert [["T1"], ["T2"]] == [bus.tags for bus in buses]
    assert all(bus.ended.is_set() for bus in buses)


def test_change_exchanges_only_what_it_touches(
    parts: Parts, setup: Setup, buses: list[Bus]
) -> None:
    """A changed tag restarts its source and no other; the same set-up restarts nothing."""
    parts.fit(setup)
    parts.fit(replace(setup, version=2))
    first, second = setup.rig.tags
    changed = replace(setup.rig, tags=(first, replace(second, gain=1.1)))
    parts.fit(replace(setup, rig=changed))

    assert ["bus1", "bus2", "bus2"] == [bus.id for bus in buses]
    assert buses[1].ended.wait(HANG)
    assert not buses[0].ended.is_set()


def test_source_that_is_gone_ends(parts: Parts, setup: Setup, buses: list[Bus]) -> None:
    """A source that the new set-up does not name is asked to stop."""
    parts.fit(setup)
    parts.fit(replace(setup, sources=setup.sources[:1]))

    assert buses[1].ended.wait(HANG)
    assert not buses[0].ended.is_set()


def test_only_new_channels_are_told_as_begun(
    parts: Parts, setup: Setup, buses: list[Bus], tmp_path: Path
) -> None:
    """Texts that still wait are offered again to what was begun, so that is what is returned."""
    first = parts.fit(setup)
    more = Channel("second", "folder", (("folder", str(tmp_path / "two")),))
    second = parts.fit(replace(setup, channels=(*setup.channels, more)))

    assert (("folder",), ("second",)) == (first, second)


def test_text_that_cannot_be_handed_over_is_given_up(
    parts: Parts, setup: Setup, buses: list[Bus], reports: list[DeliveryReport]
) -> None:
    """A text to a person or a channel that the set-up no longer has is reported, not lost."""
    parts.fit(setup)
    parts.deliver(text(1), ("pager",))
    parts.deliver(text(2, "lendow"), ("folder",))

    assert [(1, "pager", "given up", NO_CHANNEL), (2, "folder", "given up", NO_PERSON)] == [
        (report.text, report.channel, report.outcome, report.detail) for report in reports
    ]


def test_silent_sender_is_stuck(parts: Parts, setup: Setup, buses: list[Bus]) -> None:
    """A channel whose thread has given no sign of life for too long is named."""
    clock = SystemClock(1, 0.0, always_trusted)
    parts.fit(setup)
    now = clock.now()

    assert [] == parts.stuck(now)
    assert ["folder"] == parts.stuck(replace(now, elapsed=now.elapsed + SENDER_FRESH + 20.0))


def test_building_names_every_problem() -> None:
    """Unknown kinds of sources and channels are told together."""
    wrong = replace(
        SETUP,
        sources=(SourceSetup("s1", "telepathy"), SourceSetup("s2", "recording")),
        channels=(Channel("c1", "pigeon"), Channel("c2", "folder", (("folder", "not/full"),))),
    )
    with pytest.raises(SetupError) as caught:
        build(wrong, {})

    assert ["source s1", "source s2", "channel c1", "channel c2"] == [
        problem.file for problem in caught.value.problems
    ]
    assert "Play it with: holdwater replay" in str(caught.value)


class Radio:
    """A channel that hears one message, and then fails or waits as it is told."""

    def __init__(self, setup: Channel, _secrets: Secrets) -> None:
        self.id = setup.id
        self.sent: list[Message] = []
        self.news, self.ended = threading.Event(), threading.Event()
        self.trouble: Exception | None = None

    def send(self, message: Message) -> Delivery:
        self.sent.append(message)
        self.news.set()
        return Delivery("accepted", "on the air")

    def listen(self, hooks: Hooks, _clock: Clock, stop: threading.Event) -> None:
        hooks.take(Heard("+19405550141", "OK 41", "text", self.id))
        if self.trouble is not None:
            trouble, self.trouble = self.trouble, None
            raise trouble
        stop.wait(HANG)
        self.ended.set()


@pytest.fixture
def radios(monkeypatch: pytest.MonkeyPatch) -> list[Radio]:
    """Every radio that was made; the kind "radio" is known."""
    made: list[Radio] = []

    def make(setup: Channel, secrets: Secrets) -> Radio:
        made.append(Radio(setup, secrets))
        return made[-1]

    monkeypatch.setitem(CHANNELS, "radio", make)
    return made


def test_channel_that_hears_is_listened_to_until_it_leaves(
    parts: Parts, setup: Setup, buses: list[Bus], radios: list[Radio], heard: list[Heard]
) -> None:
    """What a channel hears comes in, and its listening ends when the set-up loses it."""
    parts.fit(replace(setup, channels=(Channel("radio", "radio"),)))
    parts.fit(setup)

    assert radios[0].ended.wait(HANG)
    assert [Heard("+19405550141", "OK 41", "text", "radio")] == heard


def test_listening_ends_with_the_watch(
    parts: Parts, setup: Setup, buses: list[Bus], radios: list[Radio]
) -> None:
    """At the end of the watch the listening thread is asked to end and waited for."""
    parts.fit(replace(setup, channels=(Channel("radio", "radio"),)))
    parts.stop(HANG)
    assert radios[0].ended.is_set()


def test_listening_that_fails_is_told(
    parts: Parts,
    setup: Setup,
    buses: list[Bus],
    radios: list[Radio],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """An error in a listening thread is a fault of the channel, and listening begins anew."""
    monkeypatch.setattr("monitor.workers.FIRST_WAIT", 0.0)
    monkeypatch.setattr(Radio, "__init__", _deaf(Radio.__init__))
    parts.fit(replace(setup, channels=(Channel("radio", "radio"),)))
    clock, pause = SystemClock(1, 0.0, always_trusted), threading.Event()
    found: list[str] = []
    deadline = clock.now().elapsed + HANG
    while not found and clock.now().elapsed < deadline:
        found = [f"{fault.part}: {fault.wrong}" for fault in parts.faults(clock.now())]
        pause.wait(0.01)
    parts.stop(HANG)

    assert ["channel radio: RuntimeError: deaf"] == found
    assert radios[0].ended.is_set()


def _deaf(begin: Callable[..., None]) -> Callable[..., None]:
    def begin_deaf(radio: Radio, setup: Channel, secrets: Secrets) -> None:
        begin(radio, setup, secrets)
        radio.trouble = RuntimeError("deaf")

    return begin_deaf


def test_reply_goes_out_by_its_channel_below_zero(
    parts: Parts,
    setup: Setup,
    buses: list[Bus],
    radios: list[Radio],
    reports: list[DeliveryReport],
) -> None:
    """Replies are no counted texts: each has its own number below zero."""
    parts.fit(replace(setup, channels=(Channel("radio", "radio"),)))
    tavrin = setup.person["tavrin"]
    parts.say(Reply(tavrin, "radio", "you have 41", 41))
    parts.say(Reply(tavrin, "nowhere", "lost", 41))
    assert radios[0].news.wait(HANG)
    parts.stop(HANG)

    assert [(-1, "you have 41")] == [(m.text.number, m.text.body) for m in radios[0].sent]
    assert [-1] == [report.text for report in reports]


def test_text_that_may_have_been_sent_goes_out_once_more(
    parts: Parts,
    setup: Setup,
    buses: list[Bus],
    radios: list[Radio],
    reports: list[DeliveryReport],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What an earlier process left as unknown is sent once under its number, then settled."""
    answer = Delivery("unknown", "no answer")
    monkeypatch.setattr(Radio, "send", _answering(answer))
    parts.fit(replace(setup, channels=(Channel("radio", "radio"),)))
    now = SystemClock(1, 0.0, always_trusted).now()
    written = replace(text(7), moment=now, expires=now.elapsed + 600.0)
    parts.go_on(OutboxRow(written, "radio", "unknown", 1, now.elapsed, "no answer", now))
    assert radios[0].news.wait(HANG)
    parts.stop(HANG)

    assert [7] == [message.text.number for message in radios[0].sent]
    assert [("unknown", None)] == [(report.outcome, report.next_try) for report in reports]


def _answering(answer: Delivery) -> Callable[[Radio, Message], Delivery]:
    def send(radio: Radio, message: Message) -> Delivery:
        radio.sent.append(message)
        radio.news.set()
        return answer

    return send


def test_channels_on_which_answers_are_read() -> None:
    """A modem hears by itself; a mail is answered where a mailbox names its channel."""
    channels = (
        Channel("mail", "mail"),
        Channel("other", "mail"),
        Channel("box", "mailbox", (("reply_by", "mail"),)),
        Channel("modem", "modem"),
        Channel("text", "text_gateway"),
    )
    assert {"mail", "modem"} == heard_on(channels)


def test_way_by_which_nothing_goes_out_is_a_fault(
    parts: Parts,
    setup: Setup,
    buses: list[Bus],
    radios: list[Radio],
    faults: list[Fault],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A text that is not taken makes its channel a fault; it ends with the channel."""
    monkeypatch.setattr(Radio, "send", _answering(Delivery("refused", "no credit")))
    now = SystemClock(1, 0.0, always_trusted).now()
    parts.fit(replace(setup, channels=(Channel("radio", "radio"),)))
    assert [] == parts.faults(now)
    parts.deliver(replace(text(7), moment=now, expires=now.elapsed + 600.0), ("radio",))
    assert radios[0].news.wait(HANG)
    deadline, pause = now.elapsed + HANG, threading.Event()
    found: list[Fault] = []
    while not found and SystemClock(1, 0.0, always_trusted).now().elapsed < deadline:
        found = parts.faults(now)
        pause.wait(0.01)
    parts.fit(setup)

    assert [("channel radio sending", "no credit")] == [(f.part, f.wrong) for f in found]
    assert [("channel radio sending", True)] == [(f.part, f.over) for f in faults]


@pytest.mark.parametrize(
    ("box", "instead"),
    [((), "on the board"), ((Channel("box", "box", (("reply_by", "mail"),)),), "by mail")],
)
def test_text_says_where_it_is_answered(
    parts: Parts,
    setup: Setup,
    buses: list[Bus],
    radios: list[Radio],
    box: tuple[Channel, ...],
    instead: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """On a way that is not heard a text names the mail, if that is read, else the board."""
    for kind in ("mail", "box"):
        monkeypatch.setitem(CHANNELS, kind, Radio)
    channels = (Channel("radio", "radio"), Channel("mail", "mail"), *box)
    people = (replace(setup.people[0], channels=("radio", "mail")), *setup.people[1:])
    parts.fit(replace(setup, channels=channels, people=people))
    now = SystemClock(1, 0.0, always_trusted).now()
    parts.deliver(replace(text(7), moment=now, expires=now.elapsed + 600.0), ("radio",))
    assert radios[0].news.wait(HANG)

    assert [(False, instead)] == [(m.is_heard, m.instead) for m in radios[0].sent]
