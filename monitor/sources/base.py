"""What every source is: a driver that puts readings into the inbox, from a thread of its own."""

import logging
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from typing import Protocol, TypeVar

from monitor.clock import Clock
from monitor.errors import Problem
from monitor.inputs import Reading
from monitor.options import read_options as options_of

log = logging.getLogger(__name__)

Options = TypeVar("Options")
Secrets = Mapping[str, str]

LOG_EVERY = 60.0
"""Seconds between two log lines on one kind of trouble: a storm must not fill the card."""


class Source(Protocol):
    """A bus or service readings come from. Building one checks its set-up and opens nothing."""

    id: str

    def run(self, put: Callable[[Reading], None], clock: Clock, stop: threading.Event) -> None:
        """Deliver readings until `stop` is set. Trouble outside is logged and outlived."""


class Complaints:
    """Counts trouble by kind and logs each kind at most once a minute, with its count so far."""

    def __init__(self, source: str, clock: Clock) -> None:
        self.counts: Counter[str] = Counter()
        self.source = source
        self._clock = clock
        self._quiet_until: dict[str, float] = {}

    def note(self, kind: str, detail: object) -> None:
        self.counts[kind] += 1
        now = self._clock.now().elapsed
        if now >= self._quiet_until.get(kind, now):
            self._quiet_until[kind] = now + LOG_EVERY
            log.warning(
                "source=%s trouble=%r count=%d detail=%r",
                self.source,
                kind,
                self.counts[kind],
                str(detail),
            )


def read_options(
    kind: Callable[..., Options], options: Iterable[tuple[str, object]], place: str
) -> tuple[Options | None, list[Problem]]:
    """The options of one source as a checked dataclass, or None and every problem in them."""
    return options_of(kind, options, place, "docs/reference/sources-common.md")
