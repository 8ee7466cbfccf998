"""Threads of the watch that outlive their own errors, and the faults the watch tells of itself."""

import logging
import threading
from collections.abc import Callable

from monitor.clock import Clock
from monitor.inputs import Fault, Moment

log = logging.getLogger(__name__)

FIRST_WAIT = 1.0
LONGEST_WAIT = 30.0
"""Seconds before a body is started again: doubled from the first to the longest."""

STEADY = 60.0
"""Seconds without trouble after which a fault is over and the next wait is the first again."""

Body = Callable[[threading.Event], None]


class Spell:
    """A fault of one part of the watch: told when it begins, and when it has been over a minute."""

    def __init__(self, part: str) -> None:
        self._part = part
        self._until: float | None = None

    def look(self, now: Moment, wrong: str) -> Fault | None:
        """wrong: what went wrong since the last look, "" when nothing did. None: no news."""
        begins = bool(wrong) and self._until is None
        if wrong:
            self._until = now.elapsed + STEADY
        if begins:
            return Fault(now, self._part, wrong)
        if self._until is None or now.elapsed < self._until:
            return None
        return self.end(now)

    def end(self, now: Moment) -> Fault | None:
        """The part is gone, and its fault with it; None if it had none."""
        if self._until is None:
            return None
        self._until = None
        return Fault(now, self._part, "", over=True)


class Worker:
    """A thread that runs `body(stop)`; when that fails it is logged and started again."""

    def __init__(self, name: str, body: Body, clock: Clock, stop: threading.Event) -> None:
        self.name = name
        self._body = body
        self._clock = clock
        self._stop = stop
        self._wrong = ""
        self._spell = Spell(name)
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def join(self, timeout: float) -> bool:
        """Whether the thread has ended, after at most so many seconds."""
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def fault(self, now: Moment) -> Fault | None:
        """News for the inbox: it has failed, or has been well again for a minute."""
        wrong, self._wrong = self._wrong, ""
        return self._spell.look(now, wrong)

    def gone(self, now: Moment) -> Fault | None:
        """The end of its fault, once nobody looks any more."""
        return self._spell.end(now)

    def _run(self) -> None:
        wait = FIRST_WAIT
        while not self._stop.is_set():
            began = self._clock.now().elapsed
            try:
                self._body(self._stop)
                wrong = "ended by itself"
            except Exception as error:
                log.exception("worker=%s failed", self.name)
                wrong = f"{type(error).__name__}: {error}"
            if self._stop.is_set():
                return
            self._wrong = wrong
            now = self._clock.now().elapsed
            if now - began >= STEADY:
                wait = FIRST_WAIT
            log.warning("worker=%s wrong=%r restart_in_s=%.0f", self.name, wrong, wait)
            self._clock.wait(self._stop, now + wait)
            wait = min(2 * wait, LONGEST_WAIT)
