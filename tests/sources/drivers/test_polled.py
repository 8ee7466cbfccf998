"""The frame of all drivers that ask: pace, stamps, and that nothing stops it."""

import threading

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.clock import Clock
from monitor.rig import Tag
from monitor.sources.polled import NoReading, PolledSource, Rota, Value, in_unit
from sources.drivers.stage import START, StageClock, listen, tag

FAST, SLOW = tag("F", "level", "f", every=2.0), tag("S", "temperature", "s", every=5.0)


class Scripted:
    """A bus that takes `lasts` seconds for a read and answers by tag."""

    def __init__(
        self, clock: Clock, lasts: float, answers: dict[str, Value | Exception | None]
    ) -> None:
        self._clock = clock
        self._lasts = lasts
        self._answers = answers
        self.closed = 0

    def read(self, tag: Tag) -> Value | None:
        self._clock.wait(threading.Event(), self._clock.now().elapsed + self._lasts)
        answer = self._answers[tag.id]
        if isinstance(answer, Exception):
            raise answer
        return answer

    def close(self) -> None:
        self.closed += 1


def source(clock: StageClock, lasts: float, **answers: Value | Exception | None) -> PolledSource:
    """A source with the fast and the slow tag on one scripted bus."""
    return PolledSource(
        "bus", (FAST, SLOW), lambda clock, _tell: Scripted(clock, lasts, dict(answers))
    )


def test_each_tag_has_its_own_pace() -> None:
    """Tags are read at once, and then each at its own pace."""
    clock = StageClock(10.0)
    heard = listen(source(clock, 0.0, F=(1.0, ""), S=(2.0, "")), clock)
    assert [0.0, 2.0, 4.0, 6.0, 8.0] == [s for s, name, *_ in heard if name == "F"]
    assert [0.0, 5.0] == [s for s, name, *_ in heard if name == "S"]


def test_a_reading_is_stamped_when_its_read_has_ended() -> None:
    """A read that takes a while delivers the moment of its end, and keeps its beat."""
    clock = StageClock(6.0)
    heard = listen(source(clock, 0.75, F=(1.0, ""), S=(2.0, "")), clock)
    assert [(0.75, "F"), (1.5, "S"), (2.75, "F"), (4.75, "F")] == [item[:2] for item in heard[:4]]


def test_late_reads_are_left_out_and_shared_fairly() -> None:
    """On a bus slower than its tags both get their turns, and no turn is made up for."""
    clock = StageClock(60.0)
    heard = listen(source(clock, 6.0, F=(1.0, ""), S=(2.0, "")), clock)
    assert [(6.0 * (turn + 1), "FS"[turn % 2]) for turn in range(10)] == [
        item[:2] for item in heard
    ]


@given(st.floats(0.1, 86_400.0), st.lists(st.floats(0.0, 1e6), min_size=1, max_size=20))
@settings(max_examples=60)
def test_next_turn_is_ahead_and_on_the_beat(every: float, late: list[float]) -> None:
    """However late a read ended, the next turn is at most one interval ahead, and on the beat."""
    each = tag("T", "level", "t", every=every)
    rota = Rota([each], START.elapsed)
    now = START.elapsed
    for seconds in late:
        now = max(now, rota.first()[1]) + seconds
        rota.done(each, now)
        due = rota.first()[1]
        assert now - 1e-6 <= due <= now + every + 1e-6
        beats = (due - START.elapsed) / every
        assert beats == pytest.approx(round(beats), abs=1e-4)


@pytest.mark.parametrize(
    ("answer", "value", "problem"),
    [
        ((21.5, ""), 21.5, ""),
        ((21.5, "loop uncertain"), 21.5, "loop uncertain"),
        (NoReading("no answer", "file"), None, "no answer"),
        ((float("nan"), ""), None, "not a number"),
        ((float("inf"), ""), None, "not a number"),
        (ZeroDivisionError("bug"), None, "driver error"),
        (MemoryError(), None, "driver error"),
    ],
)
def test_one_bad_tag_does_not_stop_the_others(
    answer: Value | Exception, value: float | None, problem: str
) -> None:
    """Whatever a read gives or raises becomes one reading, and the other tag is read on."""
    clock = StageClock(6.0)
    heard = listen(source(clock, 0.0, F=answer, S=(2.0, "")), clock)
    assert [(value, problem)] * 3 == [item[2:] for item in heard if item[1] == "F"]
    assert [(2.0, "")] * 2 == [item[2:] for item in heard if item[1] == "S"]


def test_nothing_to_say_is_no_reading() -> None:
    """A tag that has nothing to say yet delivers nothing, not even a problem."""
    clock = StageClock(6.0)
    heard = listen(source(clock, 0.0, F=None, S=(2.0, "")), clock)
    assert {"S"} == {item[1] for item in heard}


def test_trouble_is_logged_once_a_minute_with_its_detail(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """The detail of a trouble stands in the log, one line a minute and kind."""
    clock = StageClock(100.0)
    trouble = NoReading("no answer", "no such file: f")
    listen(source(clock, 0.0, F=trouble, S=(2.0, "")), clock)
    lines = [record.getMessage() for record in caplog.records]
    assert 2 == len(lines)
    assert "source=bus trouble='no answer' count=1 detail='tag F: no such file: f'" == lines[0]
    assert "count=31 " in lines[1]


def test_the_bus_is_closed_whatever_happens() -> None:
    """At the end the bus gives back what it opened, also when the inbox itself fails."""
    clock = StageClock(10.0)
    bus = Scripted(clock, 0.0, {"F": (1.0, ""), "S": (2.0, "")})

    def full(_reading: object) -> None:
        raise RuntimeError("inbox")

    with pytest.raises(RuntimeError, match="inbox"):
        PolledSource("bus", (FAST, SLOW), lambda _clock, _tell: bus).run(full, clock, clock.stop)
    assert 1 == bus.closed


def test_a_stop_is_heard_while_nothing_is_due() -> None:
    """A stop ends the source before the next read."""
    clock = StageClock(1000.0)
    clock.plan(3.0, clock.stop.set)
    heard = listen(source(clock, 0.0, F=(1.0, ""), S=(2.0, "")), clock)
    assert 2.0 == heard[-1][0]


def test_units_leave_no_dust() -> None:
    """What is converted to the unit of the tag has no digits that no sensor could have."""
    assert 29.0 == in_unit(tag("B", "share", "b"), 0.29)
    assert 85.0 == in_unit(tag("T", "temperature", "t"), 85.0)
    assert 82.4 == in_unit(tag("T", "temperature", "t", unit="F"), 28.0)
    assert 10.0 == in_unit(tag("Q", "flow", "q"), 10.0 / 60_000.0)
