"""Threads that outlive their own errors, and faults that are told once."""

import threading
from collections.abc import Callable

import pytest

from monitor.clock import VirtualClock
from monitor.inputs import Fault, Moment
from monitor.workers import LONGEST_WAIT, STEADY, Spell, Worker

START = Moment(1, 0.0, 1_792_285_200.0)
HANG = 20.0
"""Seconds after which a failing test gives up."""


class CountingClock(VirtualClock):
    """A virtual clock that notes each wait."""

    def __init__(self) -> None:
        super().__init__(START)
        self.waited: list[float] = []

    def wait(self, wake: threading.Event, until: float) -> None:
        self.waited.append(until - self.now().elapsed)
        super().wait(wake, until)


def at(elapsed: float) -> Moment:
    """A moment by its watch time."""
    return Moment(1, elapsed, START.utc + elapsed)


def run(body: Callable[[int, VirtualClock], None], turns: int) -> tuple[CountingClock, Worker]:
    """Run a worker until its body was begun so many times."""
    stop, clock = threading.Event(), CountingClock()
    count = 0

    def counted(stop: threading.Event) -> None:
        nonlocal count
        count += 1
        if count >= turns:
            stop.set()
            return
        body(count, clock)

    worker = Worker("source bus", counted, clock, stop)
    worker.start()
    assert worker.join(HANG)
    assert turns == count
    return clock, worker


def crash(_turn: int, _clock: VirtualClock) -> None:
    """A body that fails at once."""
    raise OSError("bus gone")


def test_crashing_source_is_started_again_ever_more_slowly() -> None:
    """A body that fails at once is tried again after 1, 2, 4 ... at most LONGEST_WAIT seconds."""
    clock, _ = run(crash, 8)

    assert [1.0, 2.0, 4.0, 8.0, 16.0, LONGEST_WAIT, LONGEST_WAIT] == clock.waited


def test_crash_is_a_fault_with_its_error() -> None:
    """The fault names the part and the error."""
    _, worker = run(crash, 2)

    assert Fault(at(5.0), "source bus", "OSError: bus gone") == worker.fault(at(5.0))


def test_body_that_ends_by_itself_is_a_fault_too() -> None:
    """A source that stops without an error and without being asked is not well."""
    _, worker = run(lambda _turn, _clock: None, 2)

    assert Fault(at(5.0), "source bus", "ended by itself") == worker.fault(at(5.0))


def test_worker_that_was_asked_to_stop_is_no_fault() -> None:
    """An end that was asked for is no fault."""
    _, worker = run(crash, 1)

    assert worker.fault(at(5.0)) is None


def test_a_steady_while_makes_the_next_wait_the_first_again() -> None:
    """After a minute of running the next failure is met with the shortest wait."""

    def body(turn: int, clock: VirtualClock) -> None:
        if turn == 4:
            clock.advance_to(clock.now().elapsed + STEADY)
        raise OSError("bus gone")

    clock, _ = run(body, 6)

    assert [1.0, 2.0, 4.0, 1.0, 2.0] == clock.waited


@pytest.mark.parametrize("pause", [1.0, STEADY - 1.0])
def test_fault_is_told_once_while_it_lasts(pause: float) -> None:
    """Trouble that comes again within a minute is the same fault."""
    spell = Spell("inbox")
    begin = spell.look(at(0.0), "full")

    assert Fault(at(0.0), "inbox", "full") == begin
    assert spell.look(at(pause), "full") is None
    assert spell.look(at(pause + STEADY - 1.0), "") is None


def test_fault_is_over_after_a_quiet_minute_and_told_so_once() -> None:
    """The end of a fault is told once, and the next trouble is a new fault."""
    spell = Spell("inbox")
    spell.look(at(0.0), "full")

    assert Fault(at(60.0), "inbox", "", over=True) == spell.look(at(60.0), "")
    assert spell.look(at(61.0), "") is None
    assert Fault(at(62.0), "inbox", "full") == spell.look(at(62.0), "full")
