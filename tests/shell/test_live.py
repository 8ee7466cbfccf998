"""The scan on the real clock: what wakes it, what it drops, and what an error costs."""

import threading

import pytest

import monitor.loop
from monitor.clock import VirtualClock
from monitor.inputs import Answer, ClockNote, DeliveryReport, Fault, Moment, Reading
from monitor.live import SCAN, Inbox, Live, Post
from monitor.loop import Loop
from monitor.workers import STEADY
from shell.fakes import BEGIN, SETUP, START, FakeRecord, FakeStep


class WakingClock(VirtualClock):
    """A clock that notes how long the loop wanted to wait, and sets `stop` after some waits."""

    def __init__(self, stop: threading.Event, waits: int) -> None:
        super().__init__(START)
        self.waited: list[float] = []
        self._stop = stop
        self._left = waits

    def wait(self, wake: threading.Event, until: float) -> None:
        self.waited.append(until - self.now().elapsed)
        self._left -= 1
        if self._left <= 0:
            self._stop.set()
        super().wait(wake, until)


class Bench:
    """A live loop with a scripted step on a virtual clock."""

    def __init__(self, step: FakeStep, room: int = 5) -> None:
        self.step = step
        self.stop = threading.Event()
        self.clock = WakingClock(self.stop, 3)
        self.record = FakeRecord()
        self.inbox = Inbox(room)
        self.scans: list[float] = []
        loop = Loop(SETUP, BEGIN, self.clock, self.record, lambda *_: None, lambda *_: None)
        self.live = Live(
            loop, self.inbox, self.clock, lambda moment: self.scans.append(moment.elapsed)
        )

    def reading(self, tag: str = "T1") -> Reading:
        return Reading(tag, self.clock.now(), 26.5)

    def pass_by(self, seconds: float) -> None:
        self.clock.advance_to(self.clock.now().elapsed + seconds)

    @property
    def inputs(self) -> list[tuple[object, ...]]:
        return [inputs for _, inputs in self.step.turns]


@pytest.fixture
def step(monkeypatch: pytest.MonkeyPatch) -> FakeStep:
    """The step that the loop calls."""
    fake = FakeStep()
    monkeypatch.setattr(monitor.loop, "step", fake)
    return fake


@pytest.fixture
def bench(step: FakeStep) -> Bench:
    """A live loop that has not scanned yet."""
    return Bench(step)


def report(number: int) -> Post:
    """A delivery report on its way in."""
    return Post(DeliveryReport(START, number, "mail", "accepted"))


def test_idle_watch_scans_once_a_second(bench: Bench) -> None:
    """Without inputs there is a scan a second, the first at once."""
    bench.live.run(bench.stop)

    assert [0.0, SCAN, SCAN] == bench.clock.waited
    assert [100.0, 101.0, 102.0] == bench.scans


def test_scan_comes_early_when_something_is_due(bench: Bench) -> None:
    """A due time within the second is kept to."""
    bench.step.due = [100.25, 100.5]
    bench.live.run(bench.stop)

    assert [100.0, 100.25, 100.5] == bench.scans


def test_late_scan_is_not_caught_up(bench: Bench) -> None:
    """After a minute away there is one scan, and the next a second later."""
    bench.live.scan()
    bench.pass_by(60.0)
    bench.live.run(bench.stop)

    assert [100.0, 160.0, 161.0, 162.0] == bench.scans


def test_only_readings_wake_nobody(bench: Bench) -> None:
    """A reading waits for the next scan; anything else wakes the loop."""
    bench.inbox.reading(bench.reading())
    asleep = not bench.inbox.wake.is_set()
    bench.inbox.put(report(1))

    assert (True, True) == (asleep, bench.inbox.wake.is_set())


def test_full_inbox_drops_readings_only(bench: Bench) -> None:
    """When the inbox is full the latest readings are lost and counted, and nothing else ever."""
    readings = [Reading("T1", Moment(1, 100.0 + n, START.utc + n), 26.5) for n in range(8)]
    for reading in readings:
        bench.inbox.reading(reading)
    for number in range(50):
        bench.inbox.put(report(number))
    bench.live.scan()
    (inputs,) = bench.inputs

    assert tuple(readings[:5]) == inputs[:5]
    assert Fault(START, "inbox", "full: 3 readings dropped") == inputs[5]
    assert list(range(50)) == [item.text for item in inputs[6:]]  # type: ignore[attr-defined]
    assert readings[:5] == [reading for reading, _, _ in bench.record.stored]


def test_full_inbox_is_told_once_and_its_end_after_a_minute(bench: Bench) -> None:
    """A long flood is one fault, and it is over when a minute passed without a loss."""
    for _ in range(3):
        for _ in range(6):
            bench.inbox.reading(bench.reading())
        bench.live.scan()
        bench.pass_by(1.0)
    bench.pass_by(STEADY)
    bench.live.scan()
    faults = [item for inputs in bench.inputs for item in inputs if isinstance(item, Fault)]

    assert [("full: 1 readings dropped", False), ("", True)] == [(f.wrong, f.over) for f in faults]


def test_readings_are_kept_before_they_are_judged(bench: Bench) -> None:
    """A reading that the step fails on is in the record all the same."""
    bench.inbox.reading(bench.reading("poison"))
    bench.live.scan()

    assert ["poison"] == [reading.tag for reading, _, _ in bench.record.stored]


def test_one_bad_input_costs_no_other(bench: Bench) -> None:
    """Where the step fails on several inputs each is tried alone, and the fault is told."""
    bench.inbox.reading(bench.reading("T1"))
    bench.inbox.reading(bench.reading("poison"))
    bench.inbox.put(report(7))
    bench.live.scan()
    taken = bench.inputs
    bench.pass_by(1.0)
    bench.live.scan()

    fault = Fault(bench.clock.now(), "logic", "OverflowError: math range error")

    assert [(Reading("T1", START, 26.5),), (report(7).item,)] == taken
    assert (fault,) == bench.inputs[2]


def test_failing_scan_is_no_sign_of_life(bench: Bench) -> None:
    """While the step fails the watchdog is not told that all is well; afterwards it is."""
    bench.inbox.reading(bench.reading("poison"))
    bench.live.scan()
    bench.pass_by(1.0)
    bench.live.scan()

    assert [101.0] == bench.scans


def test_scan_goes_on_when_what_follows_it_fails(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """An error in the work after a scan is logged and costs neither this scan nor the next."""

    def broken(_moment: Moment) -> None:
        raise OSError("no more threads")

    monkeypatch.setattr(bench.live, "_after_scan", broken)
    bench.live.scan()
    bench.live.scan()

    assert 2 == len(bench.step.turns)
    assert ["after_scan=failed"] * 2 == caplog.messages


def test_each_answer_has_a_turn_and_a_reply_of_its_own(bench: Bench) -> None:
    """Two answers of one person in one scan: each learns its own fate."""
    replies: list[tuple[str, str]] = []
    for kind, words in [("note", "first"), ("take", "second"), ("note", "third")]:
        answer = Answer(START, kind, "tavrin", 41, text=words)
        bench.inbox.put(Post(answer, lambda why, words=words: replies.append((words, why))))  # type: ignore[misc]
    bench.live.scan()

    assert [("first", "no to first"), ("second", ""), ("third", "no to third")] == replies
    assert 3 == len(bench.step.turns)


def test_answer_that_breaks_the_step_gets_a_reply(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever sent what the step fails on is told so, and that nothing was changed."""

    def broken(*_: object) -> None:
        raise KeyError("line")

    monkeypatch.setattr(monitor.loop, "step", broken)
    replies: list[str] = []
    bench.inbox.put(Post(Answer(START, "take", "tavrin", 41), replies.append))
    bench.live.scan()

    assert ["the watch failed on this (KeyError: 'line'); nothing was changed"] == replies


def test_step_of_the_wall_clock_is_an_input(bench: Bench) -> None:
    """A wall that jumps is told to the logic with its size."""
    bench.live.scan()
    bench.clock.set_wall(START.utc - 840.0)
    bench.live.scan()

    assert (ClockNote(bench.clock.now(), True, -840.0),) == bench.inputs[1]
