"""The watch itself: puts archive, sources, senders, control socket and loop together, and runs.

Threads: the main one scans (`Live`) and owns the state; one a source, one a channel, the writer,
the control socket. They meet in the inbox. What the watch knew last is in the archive: the set-up
in force, the durable state, and the texts that still wait.
"""

import fcntl
import logging
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from monitor.archive import Writer
from monitor.channels.hearing import Heard, Hooks, NotTaken
from monitor.channels.reception import Reception
from monitor.chores import Chore, Chores, DiskChore
from monitor.clock import SystemClock, base_for, board_time, boot_id, gap_is_known
from monitor.config import Secrets, load_secrets
from monitor.control import RECORD, SOCKET, ControlServer
from monitor.desk import Desk
from monitor.effects import Effect, JournalRow
from monitor.errors import HoldwaterError
from monitor.inputs import Answer, DeliveryReport, Fault, Input, Moment, SetupChange
from monitor.live import Inbox, Live, Post
from monitor.logic.state import State
from monitor.logic.step import resume
from monitor.loop import Loop, StepFailed
from monitor.parts import Parts, build
from monitor.record.keeping import NoteDesk
from monitor.setup import Setup
from monitor.systemd import notify
from monitor.watch.memory import Memory, durable_from, last_readings, remember, set_up
from monitor.watch.signing import sign_of
from monitor.watch.watchdog import Watchdog
from monitor.workers import Worker

log = logging.getLogger(__name__)

LOCK = "watch.lock"

END_WITHIN = 5.0
"""Seconds each part is given to end; the service manager kills after 90 (systemd.service(5))."""


@contextmanager
def sole_watch(state: Path) -> Iterator[None]:
    """The state folder for this process alone; HoldwaterError when another watch has it."""
    try:
        state.mkdir(mode=0o750, parents=True, exist_ok=True)
        lock = (state / LOCK).open("a+")
    except OSError as error:
        raise HoldwaterError(f"{state}: {error.strerror}; choose a folder with --state") from error
    with lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.seek(0)
            other = lock.read(20).strip() or "unknown"
            raise HoldwaterError(
                f"another watch (process {other}) has the state folder {state}; "
                "stop it first, or choose another folder with --state"
            ) from None
        lock.truncate(0)
        lock.write(f"{os.getpid()}\n")
        lock.flush()
        yield


def watch(config: Path, state: Path, trusted: Callable[[], bool]) -> None:
    """Run until SIGTERM or SIGINT. trusted: whether the wall clock is known to be right."""
    with sole_watch(state):
        secrets = load_secrets(config)
        memory = remember(state / RECORD)
        setup, files = set_up(config, memory.version)
        build(setup, secrets)  # what cannot be built is told before anything is begun
        _Watch(state, setup, secrets, trusted).run(memory, files)


class _Watch:
    """The running watch."""

    def __init__(
        self, state: Path, setup: Setup, secrets: Secrets, trusted: Callable[[], bool]
    ) -> None:
        self._state = state
        self._setup = setup
        self._secrets = secrets
        self._stop = threading.Event()
        self._inbox = Inbox()
        self._trouble: deque[tuple[str, bool]] = deque()
        self._writer = Writer(
            state / RECORD,
            setup.rig.board,
            setup.rig.id,
            lambda wrong, over: self._trouble.append((wrong, over)),
        )
        board = board_time(trusted)
        self._opening = self._writer.start(board.utc)
        earlier = self._opening.earlier
        base = base_for(boot_id(), board, earlier)
        self._time_lost = not gap_is_known(boot_id(), board, earlier)
        boot = self._writer.open_boot(boot_id(), base)
        self._clock = SystemClock(boot, base, trusted)
        self._reception: Reception | None = None
        hooks = Hooks(self._hear, self._report, self._tell)
        self._parts = Parts(secrets, self._clock, self._inbox.reading, hooks)
        self._chores = self._chores_of(setup)
        self._watchdog = Watchdog(self._writer, self._parts)

    def run(self, memory: Memory, files: Mapping[str, str] | None) -> None:
        """Begin, scan until asked to stop, end in order."""
        self._hear_signals()
        self._parts.fit(self._setup)
        self._begin(memory, files)
        desk = Desk(self._inbox, self._clock, lambda: self._loop.snapshot, self._check)
        notes = NoteDesk(
            self._state / RECORD,
            self._writer.notes,
            self._clock,
            lambda: self._loop.snapshot.setup,
            desk.person,
        )
        server = ControlServer(self._state / SOCKET, {**desk.handlers, **notes.handlers})
        server.open()
        self._control = Worker("control socket", server.run, self._clock, self._stop)
        self._control.start()
        try:
            Live(self._loop, self._inbox, self._clock, self._after_scan).run(self._stop)
        finally:
            self._end()

    def _hear_signals(self) -> None:
        def end(number: int, _frame: object) -> None:
            log.info("signal=%s ending", signal.Signals(number).name)
            self._stop.set()
            self._inbox.wake.set()

        signal.signal(signal.SIGTERM, end)
        signal.signal(signal.SIGINT, end)
        signal.signal(signal.SIGHUP, signal.SIG_IGN)

    def _begin(self, memory: Memory, files: Mapping[str, str] | None) -> None:
        """Go on from what was kept: state, set-up, readings, and texts that still wait."""
        clock = self._clock
        now = clock.now()
        log.info("boot=%d elapsed=%.0f clock_trusted=%s", now.boot, now.elapsed, now.trusted)
        if self._opening.set_aside is not None:
            aside = self._opening.set_aside.name
            self._tell(Fault(now, "record", f"the archive was damaged and is set aside as {aside}"))
        start = resume(self._setup, durable_from(memory.durable), clock.now(), self._time_lost)
        self._loop = Loop(
            self._setup, start, clock, self._writer, self._parts.deliver, self._observe
        )
        if self._opening.earlier is not None:
            end = self._opening.earlier.last.elapsed
            self._try_turn(last_readings(self._state / RECORD, end), None)
        if files is not None:
            reason = "first set-up" if memory.version is None else "the last one is not valid now"
            self._try_turn([SetupChange(clock.now(), self._setup, "watch", reason)], files)
        for row in memory.waiting:
            self._parts.go_on(row)
        self._reception = Reception(self._look, self._take, self._parts.say, clock)

    def _hear(self, heard: Heard) -> None:
        """Take a message of somebody. Called by the thread of the channel; raises NotTaken."""
        if self._reception is None:
            raise NotTaken("the watch is still starting")
        self._reception.take(heard)

    def _look(self) -> tuple[Setup, State]:
        snapshot = self._loop.snapshot
        return snapshot.setup, snapshot.state

    def _take(self, answer: Answer) -> str:
        """Bring an answer in and wait for its fate; raises NotTaken where nobody can tell yet."""
        refused = self._inbox.settle(answer)
        if refused is None:
            raise NotTaken("the watch did not get to it in time")
        return refused

    def _try_turn(self, inputs: Sequence[Input], files: Mapping[str, str] | None) -> None:
        """A turn of the start. If the step fails on it, a watch without it is better than none."""
        try:
            self._loop.turn(inputs, files, waited_for=files is not None)
        except StepFailed as error:
            log.error("begin_without=%d inputs", len(inputs), exc_info=error)
            self._tell(Fault(self._clock.now(), "logic", str(error)))

    def _after_scan(self, now: Moment) -> None:
        if self._loop.setup is not self._setup:
            self._change_parts()
        for fault in (*self._parts.faults(now), self._control.fault(now)):
            if fault is not None:
                self._tell(fault)
        while self._trouble:
            wrong, over = self._trouble.popleft()
            self._tell(Fault(now, "record", "" if over else wrong, over))
        self._chores.look(now)
        if self._watchdog.look(now):
            self._parts.live(sign_of(self._loop.snapshot))

    def _change_parts(self) -> None:
        """The set-up has changed: exchange what it touches, and hand over what still waits."""
        before, self._setup = self._setup, self._loop.setup
        log.info("set_up_version=%d", self._setup.version)
        try:
            begun = self._parts.fit(self._setup)
            waiting = remember(self._state / RECORD).waiting if begun else ()
        except HoldwaterError as error:
            self._tell(Fault(self._clock.now(), "set-up", str(error)))
            return
        for row in waiting:
            if row.channel in begun:
                self._parts.go_on(row)
        if self._setup.zone != before.zone:
            self._chores.stop()
            self._chores = self._chores_of(self._setup)

    def _chores_of(self, setup: Setup) -> Chores:
        disk = DiskChore(self._state, self._clock.now, self._tell)
        chores = [Chore("room on the disk", "*", 5, disk)]
        return Chores(setup.zone, chores, self._clock.now())

    def _check(self, setup: Setup) -> None:
        """Whether a new set-up can be run here: SetupError with every problem if not."""
        build(setup, self._secrets)

    def _end(self) -> None:
        notify("STOPPING=1")
        self._stop.set()
        self._chores.stop()
        self._parts.stop(END_WITHIN)
        self._control.join(END_WITHIN)
        kept = self._writer.close(END_WITHIN)
        log.info("ended=True record_kept=%s", kept)

    def _observe(self, effects: Sequence[Effect], _now: Moment) -> None:
        for effect in effects:
            if isinstance(effect, JournalRow):
                log.info(
                    "what=%s subject=%r state=%r who=%s text=%r",
                    effect.what,
                    effect.subject,
                    effect.state,
                    effect.who,
                    effect.text,
                )

    def _report(self, report: DeliveryReport) -> None:
        """What became of a text: to the record, and to the loop. Called in any thread.

        A reply has a number below zero and is no text of the record; the log has it.
        """
        if report.text < 0:
            return
        self._writer.delivery(
            report.text,
            report.channel,
            report.outcome,
            report.detail,
            report.moment,
            report.next_try,
        )
        self._inbox.put(Post(report))

    def _tell(self, fault: Fault) -> None:
        self._inbox.put(Post(fault))
