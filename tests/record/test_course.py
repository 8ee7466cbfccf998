"""The course of one tag: how long a reading stands, what is a gap, and sums weighted by time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.record.course import Course, bridged, course
from monitor.record.spans import Span

READINGS = st.lists(
    st.tuples(
        st.integers(0, 400).map(float),
        st.one_of(st.none(), st.integers(-5, 5).map(float)),
    ),
    max_size=40,
)


def of(*readings: tuple[float, float | None], every: float = 10.0) -> Course:
    """The course of readings given as (time, value)."""
    return course([([at for at, _ in readings], [value for _, value in readings])], every)


@pytest.mark.parametrize(
    ("every", "longest"), [(1.0, 3.0), (10.0, 30.0), (20.0, 60.0), (30.0, 60.0), (60.0, 90.0)]
)
def test_what_is_bridged(every: float, longest: float) -> None:
    """A silence of three periods is bridged, never one over 60 s but for a sensor as slow."""
    assert longest == bridged(every)


def test_a_reading_stands_until_the_next() -> None:
    """Two values for 10 s and 30 s have the mean that their times give them."""
    found = of((0.0, 20.0), (10.0, 24.0), (40.0, 30.0))
    assert Course([0.0, 10.0, 40.0], [10.0, 40.0, 50.0], *[[20.0, 24.0, 30.0]] * 3) == found
    assert 10 * 20 + 30 * 24 + 10 * 30 == found.integral
    assert 50.0 == found.seconds


def test_nothing_is_made_up_over_a_gap() -> None:
    """After 30.1 s of silence the reading before it stood for one period only."""
    found = of((0.0, 20.0), (30.1, 30.0))
    assert (Span(0.0, 10.0), Span(30.1, 40.1)) == found.seen
    assert 20.0 == found.seconds


def test_a_reading_that_cannot_be_used_is_as_if_it_were_not_there() -> None:
    """Bad readings in a row make a gap once they last longer than what is bridged."""
    short = of((0.0, 5.0), (10.0, None), (20.0, None), (30.0, 7.0))
    long = of((0.0, 5.0), (10.0, None), (20.0, None), (30.0, None), (40.0, 7.0))
    assert (Span(0.0, 40.0),) == short.seen
    assert (Span(0.0, 10.0), Span(40.0, 50.0)) == long.seen


def test_of_two_readings_at_one_moment_the_later_counts() -> None:
    """A repeated moment is counted once, and out of order is put in order."""
    assert of((0.0, 1.0), (10.0, 2.0)) == of((10.0, 9.0), (0.0, 1.0), (10.0, 2.0))


def test_a_part_begins_and_ends_with_what_stood_then() -> None:
    """A reading from before a span still stands in it, and is cut at its end."""
    found = of((0.0, 1.0), (10.0, 2.0), (20.0, 3.0)).within([Span(5.0, 12.0), Span(25.0, 99.0)])
    assert Course([5.0, 10.0, 25.0], [10.0, 12.0, 30.0], *[[1.0, 2.0, 3.0]] * 3) == found


def test_under_a_limit_and_between_two() -> None:
    """A value equal to a limit is neither under nor outside it."""
    found = of((0.0, 1.0), (10.0, 0.5), (20.0, 0.4), (30.0, 0.0), (40.0, 2.0))
    assert (Span(20.0, 40.0),) == found.below(0.5)
    assert 20.0 == found.seconds_between(0.5, 1.0)
    assert 50.0 == found.seconds_between(-1.0, 3.0)


def test_of_nothing_nothing() -> None:
    """No reading is no time, no sum and no span."""
    empty = of()
    assert (0.0, 0.0, (), ()) == (empty.seconds, empty.integral, empty.seen, empty.below(1.0))


@given(READINGS, st.integers(0, 40), st.sampled_from((1.0, 10.0, 60.0)))
def test_chunks_change_nothing(
    readings: list[tuple[float, float | None]], cut: int, every: float
) -> None:
    """The same readings in two chunks make the same course."""
    chunks = [
        ([at for at, _ in part], [value for _, value in part])
        for part in (readings[:cut], readings[cut:])
    ]
    assert of(*readings, every=every) == course(chunks, every)


@given(READINGS, st.integers(0, 460), st.sampled_from((1.0, 10.0, 60.0)))
def test_two_parts_are_the_whole(
    readings: list[tuple[float, float | None]], cut: int, every: float
) -> None:
    """A day cut in two at any moment has the sums of both parts; whole numbers, so exactly."""
    whole = of(*readings, every=every)
    parts = [whole.within([Span(-1.0, float(cut))]), whole.within([Span(float(cut), 999.0)])]
    assert whole.seconds == sum(part.seconds for part in parts)
    assert whole.integral == sum(part.integral for part in parts)
    assert whole.seconds_between(-1.0, 2.0) == sum(p.seconds_between(-1.0, 2.0) for p in parts)
    assert whole == whole.within([Span(-1.0, 999.0)])


@given(READINGS, st.sampled_from((1.0, 10.0, 60.0)))
def test_sums_agree_with_a_count_second_by_second(
    readings: list[tuple[float, float | None]], every: float
) -> None:
    """Seen and summed is what a plain count over whole seconds finds, by the rule in words."""
    usable = {at: value for at, value in readings if value is not None}
    moments = sorted(usable)
    by_second: dict[int, float] = {}
    for i, at in enumerate(moments):
        after = moments[i + 1] if i + 1 < len(moments) else 1e9
        stands = after - at if after - at <= bridged(every) else every
        by_second |= {int(at) + n: usable[at] for n in range(int(stands))}
    found = of(*readings, every=every)
    assert float(len(by_second)) == found.seconds
    assert sum(by_second.values()) == found.integral
    assert len(by_second) == sum(span.end - span.start for span in found.seen)
