"""What hangs on the wall clock of the site: the morning, and the nights on which it is changed."""

from datetime import UTC, datetime

import pytest

from logic.play import Watch, sample, watch, with_tags
from monitor.inputs import Moment, Reading
from monitor.setup import Setup

SETUP = with_tags(sample("ostrel-hill"), "QL", "TW1", "TW2")
HOUR = 3600.0


def utc(text: str) -> float:
    """UTC seconds of an ISO time in UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("at", "clock", "wanted"),
    [
        ("2026-10-18T04:00:00", "07:00", "2026-10-18T12:00:00"),
        ("2026-10-18T12:00:00", "07:00", "2026-10-19T12:00:00"),
        ("2026-11-01T03:00:00", "07:00", "2026-11-01T13:00:00"),
        ("2026-11-01T03:00:00", "01:30", "2026-11-01T06:30:00"),
        ("2026-11-01T06:45:00", "01:30", "2026-11-02T07:30:00"),
        ("2027-03-14T04:00:00", "07:00", "2027-03-14T12:00:00"),
        ("2027-03-14T06:30:00", "02:30", "2027-03-14T08:30:00"),
    ],
)
def test_next_time_of_day(at: str, clock: str, wanted: str) -> None:
    """The next time the site's clock shows HH:MM: over both changes of the clock, a time that
    comes twice is its first, one that is left out is read with the offset before (RFC 5545)."""
    hours, minutes = clock.split(":")
    found = SETUP.next_time_of_day(utc(at), int(hours) * HOUR + int(minutes) * 60.0)
    assert wanted == datetime.fromtimestamp(found, UTC).isoformat()[:19]


def dead_thermometer(setup: Setup, start: str, hours: float) -> Watch:
    """A watch from a local time on, one of whose thermometers never speaks."""
    origin = Moment(1, 0.0, datetime.fromisoformat(start).replace(tzinfo=setup.zone).timestamp())
    under = watch(setup, origin)
    for at in range(0, int(hours * HOUR), 30):
        now = under.now(float(at))
        under.feed([Reading("QL", now, 6.0), Reading("TW2", now, 26.5)], at + 1.0)
    return under


@pytest.mark.parametrize(
    ("evening", "hours"),
    [
        ("2026-10-24T22:00:00", 9.0),
        ("2026-10-31T22:00:00", 10.0),
        ("2027-03-13T22:00:00", 8.0),
    ],
)
def test_notice_of_the_night_comes_at_seven(evening: str, hours: float) -> None:
    """A notice of 22:07 waits for 07:00 by the site's clock, be the night an hour longer or
    shorter, and comes once."""
    under = dead_thermometer(SETUP, evening, hours + 1.0)
    assert ["sensor silent"] == [text.turn for text in under.texts]
    assert "07:00:00" == under.at(under.texts[0].moment.elapsed)
    assert under.texts[0].moment.elapsed == pytest.approx(hours * HOUR, abs=1.0)


def test_notice_by_day_comes_at_once() -> None:
    """Outside the quiet hours nothing waits."""
    under = dead_thermometer(SETUP, "2026-10-24T12:00:00", 1.0)
    assert "12:07:00" == under.at(under.texts[0].moment.elapsed)


def test_notice_that_is_over_by_the_morning_is_not_told() -> None:
    """What ended in the night by itself wakes nobody and is not told at seven."""
    origin = Moment(1, 0.0, datetime(2026, 10, 24, 22, tzinfo=SETUP.zone).timestamp())
    under = watch(SETUP, origin)
    for at in range(0, int(10 * HOUR), 30):
        now = under.now(float(at))
        values = {"QL": 6.0, "TW2": 26.5} | ({"TW1": 26.5} if at > 2 * HOUR else {})
        under.feed([Reading(tag, now, value) for tag, value in values.items()], at + 1.0)
    assert [] == under.texts
    assert {"closed"} == {event.stage for event in under.state.durable.events.values()}
