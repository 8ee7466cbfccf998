"""The siren: when it sounds, what the button does, and what becomes of it without its pins."""

import threading
from datetime import UTC, datetime

import pytest

from monitor.channels import CHANNELS
from monitor.channels.base import Delivery, Message
from monitor.channels.siren import Contact, SirenChannel, SirenOptions, Sound
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.setup import Channel, Person

PATIENCE = 10.0
NOWHERE = Delivery("retry", "/dev/gpiochip0: no chip")


def message(grade: str = "urgent") -> Message:
    """A text of a grade."""
    text = Text(7, 41, "tavrin", "supply lost", grade, "MAINS OFF", Moment(1, 0.0, 0.0), 9_999.0)
    return Message(text, Person("tavrin", "Tavrin"), "Ostrel", datetime(2026, 10, 18, tzinfo=UTC))


def test_sound_ends_by_itself() -> None:
    """It sounds for its time after a text, and longer after another."""
    sound = Sound(120.0, 600.0)
    assert not sound.is_on(0.0)
    sound.ring(10.0)
    assert [True, True, False] == [sound.is_on(at) for at in (10.0, 129.9, 130.0)]
    sound.ring(100.0)
    assert [True, False] == [sound.is_on(at) for at in (219.9, 220.0)]
    assert sound.is_over(220.0)


def test_mute_ends_and_swallows_nothing() -> None:
    """The button gives ten minutes at most; a text that comes in them sounds after them."""
    sound = Sound(120.0, 9_999.0)
    sound.ring(0.0)
    sound.press(10.0)
    assert not sound.is_on(10.0)
    assert not sound.is_over(10.0)
    sound.press(300.0)
    sound.ring(400.0)
    assert [False, True, True, False] == [sound.is_on(at) for at in (609.9, 610.0, 729.9, 730.0)]
    sound.ring(800.0)
    assert sound.is_on(800.0)


class FakeContact:
    """Pins that note what is done to them. pressed: what the button says, look by look."""

    def __init__(self, *pressed: bool) -> None:
        self.states: list[bool] = []
        self.closed = threading.Event()
        self.is_broken = False
        self._pressed = list(pressed)

    def switch(self, on: bool) -> None:
        if self.is_broken:
            raise OSError(19, "no chip")
        self.states.append(on)

    def is_pressed(self) -> bool:
        return self._pressed.pop(0) if len(self._pressed) > 1 else self._pressed[0]

    def close(self) -> None:
        self.closed.set()


def siren(contact: FakeContact, **options: float) -> SirenChannel:
    """A siren on these pins."""

    def opened(_options: SirenOptions) -> Contact:
        return contact

    given: dict[str, float] = {"sound_s": 1, "mute_s": 1, **options}
    return SirenChannel("siren", SirenOptions(line=17, **given), opened)  # type: ignore[arg-type]


@pytest.mark.long
def test_urgent_text_sounds_and_the_pins_are_given_back() -> None:
    """An urgent text switches it on at once, and off in the end."""
    contact = FakeContact(False)
    delivery = siren(contact).send(message())
    assert Delivery("accepted", "sounds for 1 s, or after the mute") == delivery
    assert contact.states[0]
    assert contact.closed.wait(PATIENCE)
    assert not contact.states[-1]


@pytest.mark.long
def test_button_mutes() -> None:
    """Pressed while it sounds, the button silences it."""
    contact = FakeContact(False, True, False)
    siren(contact, sound_s=600).send(message())
    assert contact.closed.wait(PATIENCE)
    assert [True, True, False] == contact.states[:3]


@pytest.mark.long
def test_button_that_is_stuck_mutes_nothing() -> None:
    """A button that is down from the start is a broken one, and does not keep it quiet."""
    contact = FakeContact(True)
    siren(contact).send(message())
    assert contact.closed.wait(PATIENCE)
    assert [True, True, True] == contact.states[:3]


@pytest.mark.parametrize("grade", ["high", "notice", "record"])
def test_other_texts_are_silent(grade: str) -> None:
    """Nobody is woken by what can wait."""
    contact = FakeContact(False)
    assert "accepted" == siren(contact).send(message(grade)).outcome
    assert [] == contact.states


def test_pins_that_fail_are_tried_again() -> None:
    """A siren whose chip is gone has not sounded; its return is enough."""
    contact = FakeContact(False)
    contact.is_broken = True
    channel = siren(contact)
    assert NOWHERE == channel.send(message())
    contact.is_broken = False
    assert "accepted" == channel.send(message()).outcome
    contact.is_broken = True
    contact.closed.clear()
    assert contact.closed.wait(PATIENCE)


def test_board_without_pins_is_told() -> None:
    """On a board without such a chip the real siren is tried again, and says why."""
    options = (("line", 17), ("chip", "/dev/no-such-chip"))
    delivery = CHANNELS["siren"](Channel("siren", "siren", options), {}).send(message())
    assert Delivery("retry", "/dev/no-such-chip: No such file or directory") == delivery
