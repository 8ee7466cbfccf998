"""Spans of time: what they cover together, and how long a local day is."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.record.spans import Span, days_between, joined, local_day, overlap, seconds, without

SPANS = st.lists(
    st.tuples(st.integers(0, 40), st.integers(0, 8)).map(
        lambda pair: Span(float(pair[0]), float(sum(pair)))
    )
)


def units(spans: list[Span] | tuple[Span, ...]) -> set[int]:
    """The whole units of time that spans of whole numbers cover."""
    return {unit for span in spans for unit in range(int(span.start), int(span.end))}


@given(SPANS, SPANS)
def test_spans_cover_what_sets_of_units_say(some: list[Span], others: list[Span]) -> None:
    """Joining, overlapping and cutting out agree with sets counted unit by unit."""
    one, other = joined(some), joined(others)
    assert units(some) == units(one)
    assert units(some) & units(others) == units(overlap(one, other))
    assert units(some) - units(others) == units(without(one, other))
    assert float(len(units(one))) == seconds(one)
    for spans in (one, overlap(one, other), without(one, other)):
        assert list(joined(spans)) == list(spans)


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("America/Chicago", date(2026, 10, 31), 24),
        ("America/Chicago", date(2026, 11, 1), 25),
        ("America/Chicago", date(2026, 3, 8), 23),
        ("Europe/Berlin", date(2026, 3, 29), 23),
        ("Europe/Berlin", date(2026, 10, 25), 25),
        ("America/Sao_Paulo", date(2018, 11, 4), 23),  # its clock went from 00:00 to 01:00
        ("Asia/Kolkata", date(2026, 11, 1), 24),
    ],
)
def test_days_have_their_real_hours(zone: str, day: date, hours: int) -> None:
    """A day of a clock change has 23 or 25 h (IANA time zone database; arithmetic in UTC)."""
    assert hours * 3600.0 == seconds([local_day(ZoneInfo(zone), day)])


@pytest.mark.parametrize("zone", ["America/Chicago", "America/Sao_Paulo", "Europe/Berlin"])
def test_no_second_of_a_year_is_lost_or_doubled(zone: str) -> None:
    """Each day begins where the day before ended, over both changes of the clock."""
    days = [
        local_day(ZoneInfo(zone), day) for day in days_between(date(2018, 1, 1), date(2018, 12, 31))
    ]
    assert 365 == len(days)
    assert [day.end for day in days[:-1]] == [day.start for day in days[1:]]
