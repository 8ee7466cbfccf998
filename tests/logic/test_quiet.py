"""The quiet rule: what calls at night, what waits for the morning, and what is urgent by night."""

from dataclasses import replace

import pytest

from logic.play import Watch, sample, watch, with_tags
from logic.test_duty import HOUR, utc
from monitor.inputs import Answer, Moment, Reading
from monitor.logic import quiet
from monitor.logic.duty_records import Sleeper
from monitor.logic.scan import Scan
from monitor.setup import Limit, Profile, Setup

BASE = with_tags(sample("ostrel-hill"), "PA")
PA = BASE.rig.tag["PA"]


def air(urgent: bool = True) -> Setup:
    """Air pressure with a high limit at 8.5 kPa and an urgent one at 5.0, without deadbands."""
    high = Limit("air low", "alarm", "PA", "low", Profile.constant(8500.0), "high", 60.0)
    limits = (high, replace(high, step="urgent", value=Profile.constant(5000.0), grade="urgent"))
    return replace(BASE, limits=limits if urgent else limits[:1], worked_out={})


def falling(
    per_hour: float,
    start: str = "2026-10-24 02:00",
    hours: float = 1.0,
    setup: Setup | None = None,
    storm: bool = False,
    value: float = 8.7,
) -> Watch:
    """Pressure that falls by so many kPa an hour, read each 20 s in steps of a hundredth."""
    under = watch(setup or air(), Moment(1, 0.0, utc(start)), 41)
    if storm:
        under.take(0.0, [Answer(under.now(0.0), "storm", "oskel", text="23:00")])
    for second in range(0, int(hours * HOUR), 20):
        now = under.now(float(second))
        shown = round(value - per_hour * second / HOUR, 2)
        under.feed([Reading("PA", now, shown)], second + 1.0)
    return under


def called(under: Watch) -> list[tuple[str, str]]:
    """Grade and clock of each first text of an event."""
    return [
        (text.grade, under.at(text.moment.elapsed)[:5])
        for text in under.texts
        if text.turn == "air low"
    ]


@pytest.mark.parametrize(
    ("harm", "waits"), [("07:15", False), ("08:20", False), ("08:30", False), ("08:40", True)]
)
def test_harm_before_the_morning_work_calls_now(harm: str, waits: bool) -> None:
    """First on duty Tavrin, 31 min from the text to the door: only harm after 08:31 waits."""
    night = watch(air(), Moment(1, 0.0, utc("2026-10-28 02:00")), 41)
    scan = Scan(air(), night.state, night.now(0.0))
    at = utc(f"2026-10-28 {harm}") - night.origin.utc
    assert waits == quiet.may_wait(scan, quiet.morning(scan), at)


def test_slow_trend_waits_for_the_morning() -> None:
    """0.2 kPa an hour: 5.0 kPa comes long after the morning, so nobody is woken; at 07:00 it is
    told. Oskel is first that night."""
    night = falling(0.2, hours=5.05)
    assert [("high", "07:00")] == called(night)
    assert {"07:00"} == {night.at(text.moment.elapsed)[:5] for text in night.texts}


def test_what_waits_is_called_when_its_sensor_falls_silent() -> None:
    """Nobody knows any longer when harm comes: the alarm that waited is told at once."""
    night = falling(0.2, hours=2.0)
    assert [] == night.texts
    night.idle(night.elapsed("04:30:00"))
    assert [("high", "04:00")] == called(night)


def test_trend_that_reaches_harm_before_the_morning_calls_now() -> None:
    """1.0 kPa an hour: 5.0 kPa about 05:40. Called as soon as the limit is passed for a minute."""
    (call,) = called(falling(1.0))
    assert ("high", "02:13") == call


def test_trend_that_leaves_no_time_is_urgent_by_night() -> None:
    """6 kPa an hour: 5.0 kPa in half an hour, before anybody could have done the work."""
    (grade, _), *_ = called(falling(6.0, value=9.7))
    assert "urgent" == grade
    by_day = called(falling(6.0, "2026-10-24 14:00", value=9.7))
    assert "high" == by_day[0][0]


def test_trend_that_steepens_is_called_when_it_does() -> None:
    """What waited does so only as long as the harm is far: the trend is looked at anew."""
    night = falling(0.2, hours=1.2)
    assert [] == called(night)
    start = night.state.running.tags["PA"].value
    assert start is not None
    for second in range(4320, 6120, 10):
        shown = round(start / 1000.0 - 1.5 * (second - 4320) / HOUR, 2)
        night.feed([Reading("PA", night.now(float(second)), shown)], second + 1.0)
    assert 1 == len(called(night))


@pytest.mark.parametrize("case", ["no urgent limit", "too short a trail"])
def test_harm_that_is_not_known_calls_now(case: str) -> None:
    """Without an urgent limit on the tag, or minutes after a start, nothing is reckoned."""
    if case == "no urgent limit":
        assert 1 == len(called(falling(0.2, hours=1.2, setup=air(urgent=False))))
    else:
        assert 1 == len(called(falling(0.0, hours=0.08, value=8.4)))


def test_nothing_waits_in_a_storm() -> None:
    """The same slow trend on storm footing is told when the limit is passed."""
    assert 1 == len(called(falling(0.2, hours=1.2, storm=True)))


def test_who_sleeps_on_site_shortens_the_way() -> None:
    """Tavrin on site is there in two minutes: harm at 08:10 may wait, at 08:00 it may not."""
    night = watch(air(), Moment(1, 0.0, utc("2026-10-28 02:00")), 41)
    sleeper = Sleeper("tavrin", utc("2026-10-28 07:30"))
    durable = replace(night.state.durable, sleeper=sleeper)
    scan = Scan(air(), replace(night.state, durable=durable), night.now(0.0))
    waits = [
        quiet.may_wait(scan, quiet.morning(scan), utc(f"2026-10-28 {clock}") - night.origin.utc)
        for clock in ("08:00", "08:10")
    ]
    assert [False, True] == waits
