"""Sources and senders of the running watch: what a change of the set-up exchanges."""

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.channels.base import Secrets
from monitor.clock import Clock, SystemClock, always_trusted
from monitor.errors import SetupError
from monitor.inputs import DeliveryReport, Reading
from monitor.parts import NO_CHANNEL, NO_PERSON, SENDER_FRESH, Parts, build
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
def parts(reports: list[DeliveryReport]) -> Iterator[Parts]:
    """Parts that nothing was begun of yet."""
    clock = SystemClock(1, 0.0, always_trusted)
    made = Parts({}, clock, lambda _reading: None, reports.append)
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
