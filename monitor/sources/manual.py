"""What people measure and enter: salinity, nitrate, pH, a hand thermometer, a bucket check.

The source itself reads nothing: values come by `holdwater enter` over the control socket. What
the watch takes for proof of water (flow, level, floats, mains) is never entered here: a value that
stays until the next one would go on showing water that has stopped. A person who has seen the
water run says so with `holdwater flow`.
"""

import threading

from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources.addresses import OPTIONS, Sheet, fit
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import Put

KIND = "manual"
QUANTITIES = ("salinity", "temperature", "share", "light", "flow check")
"""What may be entered, with `number` for anything else, such as nitrate or pH."""
IDLE = 60.0
"""Seconds between two looks at the stop."""


@checked(frozen=True, slots=True, config=OPTIONS)
class ManualOptions:
    """A source of this kind has no options."""


def manual(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """What people enter. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(ManualOptions)
    sheet.points(_entered)
    sheet.sound(read)
    return _Manual(setup.id)


def _entered(tag: Tag) -> None:
    fit(tag, *QUANTITIES)
    if tag.address:
        raise ValueError("is an address, and what is entered needs none: leave it out")


class _Manual:
    """Waits for the stop: readings come from the desk."""

    def __init__(self, name: str) -> None:
        self.id = name

    def run(self, _put: Put, clock: Clock, stop: threading.Event) -> None:
        """Deliver nothing until `stop` is set."""
        while not stop.is_set():
            clock.wait(stop, clock.now().elapsed + IDLE)
