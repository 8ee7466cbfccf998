"""UTC follows from watch time by the offsets of each boot."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.keeping import BEGIN, at
from monitor.archive.records import Offset
from monitor.archive.timeline import OffsetWatch, Stretch, Timeline, edge_ms
from monitor.inputs import Moment

OFFSETS = st.lists(
    st.builds(
        Offset,
        st.integers(1, 3),
        st.integers(0, 100).map(float),
        st.integers(-50, 50).map(float),
        st.booleans(),
    ),
    min_size=1,
)


def timeline_of(*moments: Moment) -> Timeline:
    """The timeline of an archive that saw these moments."""
    watch = OffsetWatch()
    return Timeline(filter(None, map(watch.see, moments)))


def test_what_came_before_trust_is_retimed() -> None:
    """The first trusted offset of a boot holds for all of it, also for what came before."""
    timeline = timeline_of(at(10.0, ahead=50.0, trusted=False), at(60.0))
    assert at(10.0) == timeline.moment(1, 10.0)
    assert at(60.0) == timeline.moment(1, 60.0)


def test_a_boot_that_never_was_trusted_stays_so() -> None:
    """Without trust the wall clock of that boot is what there is, and it says so."""
    timeline = timeline_of(at(10.0, ahead=50.0, trusted=False), at(90.0, boot=2))
    assert at(20.0, ahead=50.0, trusted=False) == timeline.moment(1, 20.0)
    assert at(20.0, boot=2) == timeline.moment(2, 20.0)


def test_a_trusted_step_holds_from_its_moment() -> None:
    """After a step of a trusted clock earlier readings keep their time."""
    timeline = timeline_of(at(10.0), at(60.0, ahead=BEGIN + 5.0))
    assert at(59.0) == timeline.moment(1, 59.0)
    assert at(60.0, ahead=BEGIN + 5.0) == timeline.moment(1, 60.0)


@pytest.mark.parametrize(
    "later",
    [
        at(60.0, ahead=BEGIN + 0.9),
        at(60.0, ahead=BEGIN + 500.0, trusted=False),
        at(4.0, ahead=BEGIN + 500.0),
    ],
    ids=["no step", "untrusted after trusted", "older than the last offset"],
)
def test_no_news_is_stored(later: Moment) -> None:
    """A moment that says nothing new, or nothing better, adds no offset."""
    watch = OffsetWatch()
    assert Offset(1, 5.0, BEGIN, True) == watch.see(at(5.0))
    assert None is watch.see(later)


def test_without_offsets_there_is_no_trust() -> None:
    """A boot of which nothing is known reads as watch time, untrusted."""
    assert Moment(7, 12.0, 12.0, False) == Timeline(()).moment(7, 12.0)


@given(OFFSETS, st.integers(-60, 160), st.integers(0, 60), st.integers(1, 3), st.integers(0, 120))
def test_a_span_of_utc_holds_what_lies_in_it(
    offsets: list[Offset], start: int, length: int, boot: int, elapsed: int
) -> None:
    """A moment is in the stretches of a span exactly once if its UTC is in the span, else never."""
    timeline = Timeline(offsets)
    stretches = list(timeline.in_utc(start, start + length))
    inside = [
        stretch
        for stretch in stretches
        if stretch.boot == boot and stretch.start_ms <= 1000 * elapsed < stretch.end_ms
    ]
    moment = timeline.moment(boot, float(elapsed))
    known = boot in {offset.boot for offset in offsets}
    assert (known and start <= moment.utc < start + length) == (len(inside) == 1)
    assert 1 >= len(inside)


def test_a_span_of_watch_time_is_one_stretch_a_boot() -> None:
    """Watch time needs no offset to be found."""
    timeline = timeline_of(at(10.0), at(60.0, ahead=0.0), at(70.0, boot=2))
    expected = [Stretch(1, 5000, 65000, 0), Stretch(2, 5000, 65000, 0)]
    assert expected == list(timeline.in_elapsed(5.0, 65.0))


@pytest.mark.parametrize(
    ("seconds", "ms"), [(160.001, 160001), (160.0011, 160002), (-0.5, -500), (0.0, 0)]
)
def test_the_edge_of_a_span_is_a_whole_millisecond(seconds: float, ms: int) -> None:
    """An edge between two milliseconds is moved to the later one, a float's last digit is not."""
    assert ms == edge_ms(seconds)
