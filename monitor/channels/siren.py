"""The siren channel: a dry contact on a pin of the board that sounds at every urgent text.

For whoever sleeps or works in the building: it needs no network and no phone. It sounds for a
while and is quiet again; the next urgent text, such as the call of the next person, starts it
again. A button beside it mutes it for ten minutes at most, and never what comes after them.
"""

import importlib.util
import logging
import threading
from collections.abc import Callable, Iterable
from typing import Annotated, Protocol

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.channels.base import Delivery, Message, Secrets, Sender, read_options
from monitor.clock import boottime
from monitor.errors import Problem, SetupError
from monitor.setup import Channel

log = logging.getLogger(__name__)

LONGEST_MUTE = 600.0
"""Seconds; a mute without an end is forgotten (common practice, no source)."""

TURN = 0.1
"""Seconds between two looks at the button while it sounds."""


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class SirenOptions:
    """chip and line: the pin of the relay; mute_line: the pin of a button that closes to ground.

    sound_s: how long one text sounds. mute_s: how long the button keeps it quiet.
    """

    line: Annotated[int, Field(ge=0, le=1023)]
    chip: Annotated[str, Field(pattern="^/")] = "/dev/gpiochip0"
    active_low: bool = False
    mute_line: Annotated[int, Field(ge=0, le=1023)] | None = None
    sound_s: Annotated[int | float, Field(ge=1, le=600)] = 120.0
    mute_s: Annotated[int | float, Field(ge=1, le=LONGEST_MUTE)] = LONGEST_MUTE


class Contact(Protocol):
    """The pins of one siren. All raise OSError when the chip is gone."""

    def switch(self, on: bool) -> None: ...

    def is_pressed(self) -> bool: ...

    def close(self) -> None: ...


class Sound:
    """When it sounds, in seconds that never step. A text that comes while it is muted sounds after
    the mute."""

    def __init__(self, sound: float, mute: float) -> None:
        self._sound, self._mute = sound, min(mute, LONGEST_MUTE)
        self._until = self._muted_until = float("-inf")

    def ring(self, now: float) -> None:
        self._until = max(now, self._muted_until) + self._sound

    def press(self, now: float) -> None:
        """The button: quiet now, and for a while. Holding it down does not make that longer."""
        if now >= self._muted_until:
            self._muted_until = now + self._mute
            self._until = now

    def is_on(self, now: float) -> bool:
        return self._muted_until <= now < self._until

    def is_over(self, now: float) -> bool:
        """Whether nothing will happen any more without another text."""
        return now >= self._until and now >= self._muted_until


class SirenChannel:
    """One siren. contact: opens its pins; it raises OSError where that fails."""

    def __init__(
        self, name: str, options: SirenOptions, contact: Callable[[SirenOptions], Contact]
    ) -> None:
        self.id = name
        self._options = options
        self._open = contact
        self._sound = Sound(options.sound_s, options.mute_s)
        self._lock = threading.Lock()
        self._contact: Contact | None = None

    def send(self, message: Message) -> Delivery:
        if message.text.grade != "urgent":
            return Delivery("accepted", "silent: it sounds at urgent texts only")
        with self._lock:
            try:
                begins = self._contact is None
                if self._contact is None:
                    self._contact = self._open(self._options)
                self._sound.ring(boottime())
                self._contact.switch(self._sound.is_on(boottime()))
            except OSError as error:
                self._close()
                return Delivery("retry", f"{self._options.chip}: {error.strerror or error}")
            if begins:
                threading.Thread(
                    target=self._sounding, name=f"{self.id} siren", daemon=True
                ).start()
        return Delivery("accepted", f"sounds for {self._options.sound_s:g} s, or after the mute")

    def _sounding(self) -> None:
        """Ends the sound in time and hears the button, until nothing is left to do."""
        pause = threading.Event()
        was_pressed = True  # a button that is stuck mutes nothing
        is_over = False
        while not is_over:
            pause.wait(TURN)
            with self._lock:
                if self._contact is None:
                    return
                try:
                    is_pressed = self._contact.is_pressed()
                    if is_pressed and not was_pressed:
                        self._sound.press(boottime())
                    was_pressed = is_pressed
                    self._contact.switch(self._sound.is_on(boottime()))
                except OSError as error:
                    log.error("channel=%s siren_lost=%r", self.id, str(error))
                    is_over = True
                if is_over or self._sound.is_over(boottime()):
                    is_over = True
                    self._close()

    def _close(self) -> None:
        if self._contact is not None:
            self._contact.close()
            self._contact = None


def siren(setup: Channel, _secrets: Secrets) -> Sender:
    """A siren on the pins of this board. Checks the set-up; SetupError names everything wrong."""
    place = f"channel {setup.id}"
    options, problems = read_options(SirenOptions, setup.options, place)
    if options is not None and options.mute_line == options.line:
        wrong = "is the line of the siren itself"
        problems.append(Problem(place, None, "mute_line", wrong, "Name another line"))
    if importlib.util.find_spec("gpiod") is None:
        wrong = "needs the package gpiod, which is not installed"
        problems.append(Problem(place, None, "kind", wrong, "pip install 'holdwater[gpio]'"))
    if options is None or problems:
        raise SetupError(problems)
    return SirenChannel(setup.id, options, KernelContact)


class KernelContact:
    """The pins as the kernel gives them, by libgpiod 2."""

    def __init__(self, options: SirenOptions) -> None:
        import gpiod
        from gpiod.line import Bias, Direction, Value

        self._line, self._mute_line = options.line, options.mute_line
        siren = gpiod.LineSettings(
            direction=Direction.OUTPUT,
            active_low=options.active_low,
            output_value=Value.INACTIVE,
        )
        lines: dict[Iterable[int | str] | int | str, gpiod.LineSettings | None] = {
            options.line: siren
        }
        if options.mute_line is not None:
            lines[options.mute_line] = gpiod.LineSettings(
                direction=Direction.INPUT, bias=Bias.PULL_UP, active_low=True
            )
        try:
            self._request = gpiod.request_lines(options.chip, config=lines, consumer="holdwater")
        except ValueError as error:
            raise OSError(f"no such line: {error}") from error

    def switch(self, on: bool) -> None:
        from gpiod.line import Value

        self._request.set_value(self._line, Value.ACTIVE if on else Value.INACTIVE)

    def is_pressed(self) -> bool:
        if self._mute_line is None:
            return False
        return bool(self._request.get_value(self._mute_line).value)

    def close(self) -> None:
        self._request.release()
