"""The loop on the real clock: the inbox every thread fills, and a scan once a second.

A scan also comes when something is due, or at once when anything but a reading arrives. A scan
that comes late is not caught up: `step` sees the true moment.
"""

import logging
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from monitor.clock import Clock, WallWatch
from monitor.inputs import Answer, Input, Moment, Reading, SetupChange
from monitor.loop import Loop, StepFailed
from monitor.workers import Spell

log = logging.getLogger(__name__)

SCAN = 1.0
"""Seconds between two scans."""

SUMMARY = 60.0
"""Seconds between two summaries in the log."""

READINGS_HELD = 20_000
"""Readings the inbox holds: 20 tags at 1 Hz for a quarter of an hour."""

SETTLED_WITHIN = 15.0
"""Seconds after which whoever waits for the fate of an input goes on: far over a late scan."""


@dataclass(frozen=True, slots=True)
class Post:
    """One input on its way in. reply is told why it was refused ("" when it was taken).

    files: for a change of the set-up, what it was read from (name: text).
    """

    item: Input
    reply: Callable[[str], None] | None = None
    files: Mapping[str, str] | None = None


class Inbox:
    """Where every thread puts what it has. Readings are dropped when full; nothing else is."""

    def __init__(self, room: int = READINGS_HELD) -> None:
        self.wake = threading.Event()
        self._room = room
        self._posts: deque[Post] = deque()
        self._readings: deque[Reading] = deque()
        self._dropped = 0
        self._lock = threading.Lock()

    def reading(self, reading: Reading) -> None:
        """For sources. A reading wakes nobody: the next scan is never further than a second."""
        with self._lock:
            if len(self._readings) < self._room:
                self._readings.append(reading)
            else:
                self._dropped += 1

    def put(self, post: Post) -> None:
        """Answers, reports, faults, changes: never dropped, and looked at at once."""
        with self._lock:
            self._posts.append(post)
        self.wake.set()

    def settle(
        self, item: Answer | SetupChange, files: Mapping[str, str] | None = None
    ) -> str | None:
        """Put an input and wait for its fate: why it was refused, "" when it was taken and kept.

        None when the loop did not get to it within SETTLED_WITHIN; it may still come to it.
        """
        done = threading.Event()
        fate: list[str] = []

        def reply(refused: str) -> None:
            fate.append(refused)
            done.set()

        self.put(Post(item, reply, files))
        return fate[0] if done.wait(SETTLED_WITHIN) else None

    def drain(self) -> tuple[list[Reading], list[Post], int]:
        """All readings, all else, and how many readings were dropped since the last drain."""
        with self._lock:
            readings, posts, dropped = list(self._readings), list(self._posts), self._dropped
            self._readings.clear()
            self._posts.clear()
            self._dropped = 0
        return readings, posts, dropped


class Live:
    """The owner thread of the running watch. after_scan is called when a scan ended well."""

    def __init__(
        self,
        loop: Loop,
        inbox: Inbox,
        clock: Clock,
        after_scan: Callable[[Moment], None],
    ) -> None:
        self._loop = loop
        self._inbox = inbox
        self._clock = clock
        self._after_scan = after_scan
        now = clock.now()
        self._wall = WallWatch(now)
        self._next_scan = now.elapsed
        self._tally = Tally(now.elapsed)
        self._inbox_fault = Spell("inbox")
        self._logic_fault = Spell("logic")
        self._failed = ""

    def run(self, stop: threading.Event) -> None:
        """Scan until `stop` is set; whoever sets it also wakes the inbox."""
        while not stop.is_set():
            self._clock.wait(self._inbox.wake, min(self._next_scan, self._loop.next_due))
            self.scan()

    def scan(self) -> None:
        """Work off everything that has arrived, at least one turn."""
        self._inbox.wake.clear()
        now = self._clock.now()
        self._next_scan = now.elapsed + SCAN
        readings, posts, dropped = self._inbox.drain()
        self._loop.keep(readings)
        group: list[Input] = [*readings, *self._notes(now, dropped)]
        for post in posts:
            if post.reply is None and not isinstance(post.item, Answer | SetupChange):
                group.append(post.item)
                continue
            if group:
                self._take(group)
                group = []
            self._take_alone(post)
        if group or not posts:
            self._take(group)
        self._tally.count(len(readings), len(posts), dropped, now, self._clock.now())
        if not self._failed:
            try:
                self._after_scan(now)
            except Exception:  # what comes after a scan must not cost the next one
                log.exception("after_scan=failed")

    def _notes(self, now: Moment, dropped: int) -> list[Input]:
        """What the loop itself has noticed: steps of the wall clock, faults of its own parts."""
        step = self._wall.look(now)
        if step is not None:
            log.warning("clock_trusted=%s wall_step_s=%.1f", step.trusted, step.step)
        full = self._inbox_fault.look(now, f"full: {dropped} readings dropped" if dropped else "")
        failed = self._logic_fault.look(now, self._failed)
        self._failed = ""
        return [note for note in (step, full, failed) if note is not None]

    def _take(self, inputs: Sequence[Input]) -> None:
        """One turn. Where the step fails on several inputs, each is tried alone."""
        try:
            self._loop.turn(inputs)
        except StepFailed as error:
            if len(inputs) > 1:
                for item in inputs:
                    self._take([item])
            else:
                self._note_failure(error, inputs)

    def _take_alone(self, post: Post) -> None:
        """An answer or a change has a turn of its own, so a refusal is surely its own."""
        try:
            refused = self._loop.turn([post.item], post.files, post.reply is not None)
        except StepFailed as error:
            self._note_failure(error, [post.item])
            refused = f"the watch failed on this ({error}); nothing was changed"
        if post.reply is not None:
            post.reply(refused)

    def _note_failure(self, error: StepFailed, inputs: Sequence[Input]) -> None:
        log.error("step_failed=%r inputs=%r", str(error), inputs, exc_info=error)
        self._failed = str(error)


class Tally:
    """Counts for the line that the log gets once a minute."""

    def __init__(self, now: float) -> None:
        self._due = now + SUMMARY
        self._clear()

    def _clear(self) -> None:
        self._scans = self._readings = self._others = self._dropped = 0
        self._longest = 0.0

    def count(self, readings: int, others: int, dropped: int, start: Moment, end: Moment) -> None:
        """Add one scan; write and clear once a minute."""
        self._scans += 1
        self._readings += readings
        self._others += others
        self._dropped += dropped
        self._longest = max(self._longest, end.elapsed - start.elapsed)
        if end.elapsed >= self._due:
            log.info(
                "scans=%d readings=%d other_inputs=%d dropped=%d longest_scan_ms=%.0f",
                self._scans,
                self._readings,
                self._others,
                self._dropped,
                1000.0 * self._longest,
            )
            self._due = end.elapsed + SUMMARY
            self._clear()
