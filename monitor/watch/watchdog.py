"""Signs of life to the service manager, as long as every part that calls people is alive."""

import logging

from monitor.archive import Writer
from monitor.inputs import Moment
from monitor.parts import Parts
from monitor.systemd import notify

log = logging.getLogger(__name__)

WRITER_FRESH = 120.0
"""Seconds without a sign of life after which the writer counts as stuck: far over the seconds for
which a tired card may hang (from memory)."""


class Watchdog:
    """Tells the service manager that all is well, as long as it is."""

    def __init__(self, writer: Writer, parts: Parts) -> None:
        self._writer = writer
        self._parts = parts
        self._passes = -1
        self._passed = 0.0
        self._ready = False
        self._stuck: list[str] = []

    def look(self, now: Moment) -> bool:
        """After each scan that ended well: whether everything that calls people is alive."""
        if not self._ready:
            self._ready = True
            notify("READY=1", "STATUS=watching")
        if self._writer.passes != self._passes:
            self._passes, self._passed = self._writer.passes, now.elapsed
        stuck = self._parts.stuck(now)
        if now.elapsed - self._passed > WRITER_FRESH:
            stuck.append("record")
        if stuck != self._stuck:
            self._stuck = stuck
            log.error("stuck=%s", ",".join(stuck) or "nothing")
        if not stuck:
            notify("WATCHDOG=1")
        return not stuck
