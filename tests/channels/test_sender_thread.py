"""The sender thread: what is sent when, how often, and what is reported."""

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from monitor.channels.base import Delivery, Message
from monitor.channels.sender import IDLE, SenderThread
from monitor.clock import VirtualClock
from monitor.effects import Text
from monitor.inputs import DeliveryReport, Moment
from monitor.setup import Person

START = Moment(1, 1000.0, 1_792_304_340.0)
PATIENCE = 10.0

RETRY = Delivery("retry", "451 later")
UNKNOWN = Delivery("unknown", "no answer")
ACCEPTED = Delivery("accepted", "250 taken")
REFUSED = Delivery("refused", "550 nobody")


def message(number: int = 7, grade: str = "urgent", expires: float = 1900.0) -> Message:
    """A text to Tavrin."""
    text = Text(number, 41, "tavrin", "supply lost", grade, "MAINS OFF.", START, expires)
    return Message(text, Person("tavrin", "Tavrin"), "Ostrel", datetime.fromtimestamp(0, UTC))


class Script:
    """A channel that gives one outcome after the other (the last for ever) and notes the texts."""

    id = "script"

    def __init__(self, *outcomes: Delivery | Exception) -> None:
        self._outcomes = list(outcomes)
        self.sent: list[int] = []
        self.called = threading.Event()
        self.during: Callable[[], object] | None = None

    def send(self, message: Message) -> Delivery:
        self.sent.append(message.text.number)
        self.called.set()
        if self.during is not None:
            self.during()
        outcome = self._outcomes.pop(0) if len(self._outcomes) > 1 else self._outcomes[0]
        if isinstance(outcome, Exception):
            raise outcome
        return outcome


class Bench:
    """A sender thread on a virtual clock, worked by hand."""

    def __init__(self, *outcomes: Delivery | Exception) -> None:
        self.clock = VirtualClock(START)
        self.script = Script(*outcomes)
        self.reports: list[DeliveryReport] = []
        self.thread = SenderThread(self.script, self.clock, self.reports.append)

    def work_until(self, end: float) -> list[float]:
        """Go on to `end` as the thread itself would; the seconds at which it sent."""
        times: list[float] = []
        while True:
            before = len(self.script.sent)
            due = self.thread.work()
            times += [self.clock.now().elapsed] * (len(self.script.sent) - before)
            if due > end:
                return times
            self.clock.advance_to(due)

    def told(self) -> list[tuple[float, str]]:
        """What was reported, and when."""
        return [(report.moment.elapsed, report.outcome) for report in self.reports]


def test_accepted_at_once() -> None:
    """A text that is taken is sent once and reported once."""
    bench = Bench(ACCEPTED)
    bench.thread.offer(message())
    assert [1000.0] == bench.work_until(5000.0)
    assert [DeliveryReport(START, 7, "script", "accepted", "250 taken")] == bench.reports
    assert 0 == bench.thread.waiting


def test_refused_for_good() -> None:
    """A text that is refused is not tried again, and reported."""
    bench = Bench(REFUSED)
    bench.thread.offer(message())
    assert [1000.0] == bench.work_until(5000.0)
    assert [(1000.0, "refused")] == bench.told()


def test_retry_schedule() -> None:
    """What surely was not sent is tried after 5, 15, 30 and then every 60 s; news is told once."""
    bench = Bench(*[RETRY] * 6, ACCEPTED)
    bench.thread.offer(message())
    assert [1000.0, 1005.0, 1020.0, 1050.0, 1110.0, 1170.0, 1230.0] == bench.work_until(5000.0)
    assert [(1000.0, "retry"), (1230.0, "accepted")] == bench.told()


def test_other_reason_is_news() -> None:
    """A retry for another reason is told again."""
    bench = Bench(RETRY, RETRY, Delivery("retry", "no route"), ACCEPTED)
    bench.thread.offer(message())
    bench.work_until(1050.0)
    assert ["451 later", "no route", "250 taken"] == [report.detail for report in bench.reports]


def test_expired_text_is_dropped() -> None:
    """At its end a text is dropped to the second, and said to be with what came last."""
    bench = Bench(RETRY)
    bench.thread.offer(message(expires=1062.5))
    assert [1000.0, 1005.0, 1020.0, 1050.0] == bench.work_until(5000.0)
    assert [(1000.0, "retry"), (1062.5, "expired")] == bench.told()
    assert "last: retry, 451 later" == bench.reports[-1].detail
    assert 0 == bench.thread.waiting


def test_text_that_came_too_late() -> None:
    """A text that has expired before its first turn is never sent."""
    bench = Bench(ACCEPTED)
    bench.thread.offer(message(expires=1000.0))
    assert [] == bench.work_until(5000.0)
    assert [(1000.0, "expired")] == bench.told()
    assert "never tried" == bench.reports[0].detail


def test_unknown_is_sent_once_more() -> None:
    """What may have been sent is sent once more after 60 s under its number, then left."""
    bench = Bench(UNKNOWN)
    bench.thread.offer(message())
    assert [1000.0, 1060.0] == bench.work_until(5000.0)
    assert [7, 7] == bench.script.sent
    assert [(1000.0, "unknown"), (1060.0, "unknown")] == bench.told()
    assert 0 == bench.thread.waiting


def test_next_try_is_reported() -> None:
    """Each report says when the text goes out again, so that a restart keeps to it."""
    bench = Bench(RETRY, UNKNOWN, ACCEPTED)
    bench.thread.offer(message())
    bench.work_until(5000.0)
    assert [("retry", 1005.0), ("unknown", 1065.0), ("accepted", None)] == [
        (report.outcome, report.next_try) for report in bench.reports
    ]


def test_text_of_an_earlier_process_is_sent_once_more() -> None:
    """What may have been sent before a kill goes out once at its time, whatever comes of it."""
    bench = Bench(UNKNOWN)
    bench.thread.offer_again(message(), 1030.0)
    assert [1030.0] == bench.work_until(5000.0)
    assert [(1030.0, "unknown")] == bench.told()


def test_unknown_then_surely_not_sent() -> None:
    """After an unknown end, attempts that surely send nothing go on; a second unknown ends it."""
    bench = Bench(UNKNOWN, RETRY, RETRY, UNKNOWN, ACCEPTED)
    bench.thread.offer(message())
    assert [1000.0, 1060.0, 1065.0, 1080.0] == bench.work_until(5000.0)
    assert ["unknown", "retry", "unknown"] == [outcome for _, outcome in bench.told()]


def test_most_urgent_goes_first() -> None:
    """Of the texts that are due the most urgent goes first, then the oldest."""
    bench = Bench(ACCEPTED)
    for number, grade in ((1, "notice"), (2, "record"), (4, "urgent"), (3, "urgent"), (5, "high")):
        bench.thread.offer(message(number, grade))
    bench.work_until(1000.0)
    assert [3, 4, 5, 1, 2] == bench.script.sent


def test_unheard_of_grade_goes_first() -> None:
    """A grade nobody foresaw stops nothing."""
    bench = Bench(ACCEPTED)
    bench.thread.offer(message(1))
    bench.thread.offer(message(2, grade="dire"))
    bench.work_until(1000.0)
    assert [2, 1] == bench.script.sent


def test_urgent_text_overtakes_while_another_is_sent() -> None:
    """A text that comes in during a send is next if it is the most urgent."""
    bench = Bench(ACCEPTED)
    bench.thread.offer(message(1, "notice"))
    bench.thread.offer(message(2, "notice"))
    bench.script.during = lambda: (
        bench.thread.offer(message(9)) if len(bench.script.sent) == 1 else None
    )
    bench.work_until(1000.0)
    assert [1, 9, 2] == bench.script.sent


def test_same_text_offered_twice_is_sent_once() -> None:
    """A text that waits already is not taken again, nor sent sooner."""
    bench = Bench(RETRY, ACCEPTED)
    bench.thread.offer(message())
    bench.thread.work()
    bench.thread.offer(message())
    assert 1 == bench.thread.waiting
    assert [1005.0] == bench.work_until(5000.0)


def test_settled_text_offered_again_is_sent_again() -> None:
    """What the loop offers after the end of a text is sent: the outbox decides, not this thread."""
    bench = Bench(ACCEPTED)
    for _ in range(2):
        bench.thread.offer(message())
        bench.thread.work()
    assert [7, 7] == bench.script.sent


def test_one_text_in_trouble_holds_up_no_other() -> None:
    """While one text waits for its next attempt the others go."""
    bench = Bench(RETRY, ACCEPTED)
    bench.thread.offer(message(1))
    bench.thread.offer(message(2))
    assert [1000.0, 1000.0, 1005.0] == bench.work_until(5000.0)
    assert [1, 2, 1] == bench.script.sent


def test_fault_of_the_channel_costs_neither_text_nor_thread() -> None:
    """An error raised by a channel counts as not sent."""
    bench = Bench(RuntimeError("broken"), ACCEPTED)
    bench.thread.offer(message())
    assert [1000.0, 1005.0] == bench.work_until(5000.0)
    assert "fault in the channel: RuntimeError: broken" == bench.reports[0].detail
    assert [(1000.0, "retry"), (1005.0, "accepted")] == bench.told()


def test_fault_of_the_report_costs_no_thread(caplog: pytest.LogCaptureFixture) -> None:
    """An error raised while reporting is logged; the text is settled and not sent again."""

    def report(_report: DeliveryReport) -> None:
        raise RuntimeError("inbox broken")

    script = Script(ACCEPTED)
    thread = SenderThread(script, VirtualClock(START), report)
    thread.offer(message())
    thread.work()
    assert [7] == script.sent
    assert 0 == thread.waiting
    assert "report_lost=accepted" in caplog.text


def test_freshness_is_renewed_while_idle() -> None:
    """With nothing to send the thread looks again, and is fresh, every ten seconds."""
    bench = Bench(ACCEPTED)
    assert 1000.0 + IDLE == bench.thread.work()
    bench.clock.advance_to(1000.0 + IDLE)
    assert 1000.0 + 2 * IDLE == bench.thread.work()
    assert 1000.0 + IDLE == bench.thread.fresh


def test_freshness_counts_from_the_end_of_a_send() -> None:
    """A send that took its time leaves the thread fresh, and its waits start at its end."""
    bench = Bench(RETRY, ACCEPTED)
    bench.script.during = lambda: bench.clock.advance_to(1030.0)
    bench.thread.offer(message())
    assert 1035.0 == bench.thread.work()
    assert 1030.0 == bench.thread.fresh


class PatientClock(VirtualClock):
    """A clock that stands still; whoever waits on it waits to be woken."""

    def wait(self, wake: threading.Event, until: float) -> None:
        assert wake.wait(PATIENCE)


def test_thread_wakes_for_a_text_and_stops_when_told() -> None:
    """The thread itself sends what is offered while it sleeps, and ends at once when told to."""
    script = Script(ACCEPTED)
    thread = SenderThread(script, PatientClock(START), lambda report: None)
    thread.start()
    thread.offer(message())
    assert script.called.wait(PATIENCE)
    assert thread.stop(PATIENCE)
    thread.offer(replace(message(), text=replace(message().text, number=8)))
    assert [7] == script.sent


def test_stop_does_not_wait_for_a_stuck_channel() -> None:
    """A channel that is busy is told as such instead of holding up the end."""
    script, go_on = Script(ACCEPTED), threading.Event()
    script.during = lambda: go_on.wait(PATIENCE)
    thread = SenderThread(script, PatientClock(START), lambda report: None)
    thread.start()
    thread.offer(message())
    assert script.called.wait(PATIENCE)
    assert not thread.stop(0.0)
    go_on.set()
    assert thread.stop(PATIENCE)
