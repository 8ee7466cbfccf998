"""Step, commit, deliver: the one loop shared by watch, replay and drill.

One thread owns the state and calls `Loop.turn`. A turn asks the pure function `step` what
follows from the inputs, hands what must last to the record, and then the texts to the channels.
A turn that carries texts, or that somebody waits for, waits for the disk, but never longer than
its patience: then the texts go out from memory and a fault of the record goes in. Once the disk is
known to be stuck nothing waits for it any more, so detection is never late by more.
"""

import logging
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from monitor.archive.records import SetupVersion
from monitor.clock import Clock, VirtualClock, boottime
from monitor.effects import Effect, Flag, JournalRow, Refusal, Text
from monitor.errors import HoldwaterError
from monitor.inputs import Fault, Input, Moment, Reading, SetupChange
from monitor.logic.state import Durable, State, encode
from monitor.logic.step import Step, step
from monitor.setup import Setup

log = logging.getLogger(__name__)

PATIENCE = 2.0
"""Seconds that a text waits for the disk. A healthy card commits within 0.1 s (from memory)."""

PLAYED = 60.0
"""Seconds that a played story waits for the disk: nobody is called late by it."""

SHORTEST = 0.001
"""Seconds of watch time between two turns that nothing but a due time calls for."""


class Ticket(Protocol):
    """A commit under way. error: why the last try failed, "" while none did."""

    error: str

    def wait(self, timeout: float) -> bool:
        """Whether it is on the disk, after at most so many seconds; at once if a try failed."""


class Record(Protocol):
    """What the loop asks of the archive's writer; no call waits for the disk."""

    def readings(
        self, readings: Iterable[Reading], calibrations: Mapping[str, int], run: str
    ) -> None: ...

    def flags(self, flags: Iterable[Flag]) -> None: ...

    def commit(
        self,
        durable: Mapping[str, object] | None,
        journal: Sequence[JournalRow],
        texts: Sequence[tuple[Text, tuple[str, ...]]],
        flags: Sequence[Flag],
        setup: SetupVersion | None,
    ) -> Ticket: ...


Deliver = Callable[[Text, tuple[str, ...]], None]
Observe = Callable[[Sequence[Effect], Moment], None]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What everybody may look at: the state as of the last turn."""

    setup: Setup
    state: State
    moment: Moment


class StepFailed(HoldwaterError):
    """The step raised an error; the state is as it was before."""


def channels_of(setup: Setup, durable: Durable, text: Text) -> tuple[str, ...]:
    """The channels by which a text goes to its person; none is worth a line in the log.

    Whoever sleeps on site is woken by every siren there is, before phone and mail.
    """
    if text.channel:
        return (text.channel,)
    found = setup.person.get(text.person)
    channels = found.channels if found is not None else ()
    if durable.sleeper is not None and durable.sleeper.who == text.person:
        sirens = tuple(channel.id for channel in setup.channels if channel.kind == "siren")
        channels = tuple(dict.fromkeys((*sirens, *channels)))
    if not channels:
        log.warning("person=%s has no channel, the text goes nowhere", text.person)
    return channels


class Loop:
    """The owner of the state. Only one thread calls its methods; `snapshot` is for everybody."""

    def __init__(
        self,
        setup: Setup,
        start: Step,
        clock: Clock,
        record: Record | None,
        deliver: Deliver,
        observe: Observe,
        patience: float = PATIENCE,
    ) -> None:
        """patience: real seconds that a turn waits for the disk, whatever clock the loop is on."""
        self.setup = setup
        self.state = start.state
        self.next_due = start.next_due
        self._clock = clock
        self._keeper = None if record is None else Keeper(record, patience)
        self._deliver = deliver
        self._observe = observe
        self._own: list[Input] = []
        now = clock.now()
        self.snapshot = Snapshot(setup, start.state, now)
        self._carry_out(start.effects, start.state.durable, now, None, waited_for=False)

    def turn(
        self,
        inputs: Sequence[Input],
        files: Mapping[str, str] | None = None,
        waited_for: bool = False,
    ) -> str:
        """Take these inputs now; returns why the last was refused, "" when nothing was.

        files: given where the last input is a change of the set-up, what it was read from.
        waited_for: somebody waits for the result, so it is given only once it is on the disk.
        Raises StepFailed, and nothing has changed, when the step itself fails.
        """
        now = self._clock.now()
        before = self.state.durable
        try:
            result = step(self.setup, self.state, [*self._own, *inputs], now)
        except Exception as error:
            raise StepFailed(f"{type(error).__name__}: {error}") from error
        finally:
            self._own = []
        refused = next((e.why for e in reversed(result.effects) if isinstance(e, Refusal)), "")
        change = inputs[-1] if files is not None and not refused else None
        version = None
        if isinstance(change, SetupChange):
            self.setup = change.setup
            version = SetupVersion(
                change.setup.version, change.moment, change.who, change.reason, files or {}
            )
        self.state = result.state
        self.next_due = max(result.next_due, now.elapsed + SHORTEST)
        self.snapshot = Snapshot(self.setup, self.state, now)
        changed = self.state.durable if self.state.durable is not before else None
        self._carry_out(result.effects, changed, now, version, waited_for)
        return refused

    def keep(self, readings: Sequence[Reading]) -> None:
        """Hand readings to the record; before they are judged, so that an error costs none."""
        if self._keeper is not None and readings:
            calibrations = {tag.id: tag.calibration for tag in self.setup.rig.tags}
            run = self.setup.run.id if self.setup.run is not None else ""
            self._keeper.record.readings(readings, calibrations, run)

    def run_on_to(self, clock: VirtualClock, until: float) -> None:
        """On a virtual clock: a turn at each due time before `until`, then stand at `until`."""
        while self.next_due < until:
            clock.advance_to(self.next_due)
            self.turn(())
        clock.advance_to(until)

    def _carry_out(
        self,
        effects: Sequence[Effect],
        durable: Durable | None,
        now: Moment,
        version: SetupVersion | None,
        waited_for: bool,
    ) -> None:
        texts = [
            (effect, channels_of(self.setup, self.state.durable, effect))
            for effect in effects
            if isinstance(effect, Text)
        ]
        if self._keeper is not None:
            news = self._keeper.keep(effects, durable, texts, version, waited_for)
            if news is not None:
                self._own.append(Fault(now, "record", news, over=not news))
                self.next_due = now.elapsed + SHORTEST
        if effects:
            self._observe(effects, now)
        for text, channels in texts:
            self._deliver(text, channels)


class Keeper:
    """Commits what a turn leaves behind, and notices when the disk neither keeps nor refuses it.

    A disk that refuses is told by the writer itself, and its tickets keep nobody waiting.
    """

    def __init__(self, record: Record, patience: float) -> None:
        self.record = record
        self._patience = patience
        self._pending: deque[tuple[float, Ticket]] = deque()
        self._stuck = False

    def keep(
        self,
        effects: Sequence[Effect],
        durable: Durable | None,
        texts: Sequence[tuple[Text, tuple[str, ...]]],
        version: SetupVersion | None,
        waited_for: bool,
    ) -> str | None:
        """One commit, if anything must last; news of the disk: what is wrong, "" for well again."""
        journal = [effect for effect in effects if isinstance(effect, JournalRow)]
        flags = [effect for effect in effects if isinstance(effect, Flag)]
        late = False
        if durable is not None or journal or texts or version is not None:
            document = None if durable is None else encode(durable)
            ticket = self.record.commit(document, journal, texts, flags, version)
            self._pending.append((boottime(), ticket))
            if (texts or waited_for) and not self._stuck:
                late = not ticket.wait(self._patience)
        elif flags:
            self.record.flags(flags)
        return self._judge(late)

    def _judge(self, late: bool) -> str | None:
        """Whether the oldest commit under way is stuck, or nothing is any more."""
        settled: Ticket | None = None
        while self._pending and _is_settled(self._pending[0][1]):
            settled = self._pending.popleft()[1]
        if not self._pending:
            was_stuck, self._stuck = self._stuck, False
            return "" if was_stuck and settled is not None and not settled.error else None
        if not self._stuck and (late or boottime() - self._pending[0][0] >= self._patience):
            self._stuck = True
            log.error("record=stuck patience_s=%.0f", self._patience)
            return f"nothing kept for {self._patience:.0f} s"
        return None


def _is_settled(ticket: Ticket) -> bool:
    return ticket.wait(0.0) or bool(ticket.error)
