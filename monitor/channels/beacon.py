"""Ways by which signs of life leave the watch, and the thread that sends them.

A beacon carries no text and reaches no person: whoever hears it elsewhere calls when it stops.
"""

import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Protocol, runtime_checkable

from monitor.channels.hearing import Hooks, Trouble
from monitor.clock import Clock
from monitor.sign import Sign

LASTING = 300.0
"""Seconds that a beacon must fail to be told: before those elsewhere call (common practice)."""

NO_TEXTS = "carries signs of life only; name another channel"


@runtime_checkable
class Beacon(Protocol):
    """A channel for signs of life. every: seconds between two."""

    id: str
    every: float

    def send_sign(self, sign: Sign) -> str:
        """Send one sign; why it did not go out, "" if it did. Blocks for a bounded time."""


def shine(
    beacon: Beacon,
    latest: Callable[[], Sign | None],
    hooks: Hooks,
    clock: Clock,
    stop: threading.Event,
) -> None:
    """Send the latest sign every so often until `stop` is set, and none twice: what the loop has
    not renewed is no sign of life."""
    trouble = Trouble(beacon.id, hooks, clock, LASTING)
    sent: Sign | None = None
    while not stop.is_set():
        began = clock.now().elapsed
        sign = latest()
        if sign is not None and (sent is None or sign.elapsed > sent.elapsed):
            trouble.look(beacon.send_sign(replace(sign, every=beacon.every)))
            sent = sign
        clock.wait(stop, began + beacon.every if sent is not None else began + 1.0)
    trouble.look("")
