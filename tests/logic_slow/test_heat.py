"""Heat ahead: textbook bodies, a link fitted to made-up days, and a hot afternoon announced."""

import random

import pytest

from logic_slow.days import demo, kept, utc_of
from monitor.logic.heat import STEP, Body, Hour, course, fit
from monitor.logic.heat_ahead import (
    heat_ahead,
    heat_lines,
    unfitted_lines,
    water_body,
)
from monitor.logic.plan import plan_of
from monitor.logic.slow import Hours, Slow
from monitor.logic.trend_lines import trend_lines

SETUP = demo()
DAY = 86_400.0


def test_thermocouple_of_a_textbook() -> None:
    """Incropera and DeWitt, example 5.1: time constant 1.0 s, 25 to 199 C in 200 C in 5.2 s."""
    constant = 8500.0 * 400.0 * 0.706e-3 / (6.0 * 400.0)
    junction = Body(1.0 / constant, 0.0)
    assert 1.0 == pytest.approx(junction.time_constant, abs=0.001)
    assert 199.0 == pytest.approx(junction.later(25.0, 200.0, 5.1656), abs=1e-3)


def test_second_thermocouple() -> None:
    """Cengel, example 4-1: 1 mm, 8500, 320, h 210: 99 % of the way in 10 s."""
    junction = Body(6.0 * 210.0 / (8500.0 * 320.0 * 1e-3), 0.0)
    assert 0.46324 == pytest.approx(junction.link, abs=1e-5)
    assert 0.99 == pytest.approx(junction.later(0.0, 1.0, 9.94), abs=3e-5)


@pytest.mark.parametrize(
    ("volume", "room", "power", "hours"),
    [
        (0.8, 34.0, 150.0, 4.8742),
        (0.8, 30.0, 150.0, 7.43),
        (0.8, 34.0, 0.0, 8.17),
        (1.2, 34.0, 0.0, 12.3),
    ],
)
def test_tank_to_28(volume: float, room: float, power: float, hours: float) -> None:
    """Sea water of 26 C, 32 W/K: hours to 28 C by closed form (checked by solve_ivp elsewhere)."""
    capacity = 4.0915e6 * volume / 3600.0
    tank = Body(32.0 / capacity, power / capacity)
    assert 28.0 == pytest.approx(tank.later(26.0, room, hours), abs=0.01)


def test_two_bodies_in_a_row() -> None:
    """Water 26, room 25 C at 60 W/K to 36 C outside: 28 C after 7.2 h, the room then at 33.5 C.

    The room loses to the water too, which the row leaves out: so it comes up to a third earlier,
    never later.
    """
    room, water = (
        Body(60.0 * 3600.0 / 2e6, 400.0 * 3600.0 / 2e6),
        Body(32.0 * 3600 / 3.273e6, 150.0 * 3600 / 3.273e6),
    )
    air = course(room, 25.0, [36.0] * 48, 0.0)
    warmed = course(water, 26.0, air, 0.0)
    first = next(place for place, value in enumerate(warmed, start=1) if value >= 28.0) * STEP
    assert 4.8 <= first <= 7.2
    assert air[int(first / STEP)] > 33.5


def lived(
    rooms: list[tuple[float, float]], chiller: bool = True
) -> tuple[list[float], list[float], list[float], list[float]]:
    """Hourly means of water, room and share of cooling of the demo rig, and the water by minutes.

    4.65 MJ/K, 75 W/K, pump and lights less evaporation, chiller 150 W between 26.4 and 26.6. The
    room of a day goes from its base at 09:00 to its peak at 16:30, and to the next base at 23:00.
    """
    chance, water, on = random.Random(1), 26.5, False
    sums = [[0.0] * (len(rooms) * 24) for _ in range(3)]
    minutes = []
    for minute in range(len(rooms) * 24 * 60):
        day, clock = minute // 1440, minute % 1440 / 60.0
        (base, peak), after = rooms[day], rooms[min(day + 1, len(rooms) - 1)][0]
        up, down = max(0.0, (clock - 9.0) / 7.5), min(1.0, (clock - 16.5) / 6.5)
        room = base + (peak - base) * up if clock < 16.5 else peak + (after - peak) * down
        on = (water > 26.6 or (on and water > 26.4)) and chiller
        cooled = 150.0 * (1.0 - 0.03 * (room - 27.0)) if on else 0.0
        power = 80.0 - 127.0 + (45.0 if 6.5 <= clock < 19.5 else 0.0) - cooled
        water += (75.0 * (room - water) + power) * 60.0 / 4.65e6
        minutes.append(water)
        read = (water + chance.gauss(0.0, 0.02), room + chance.gauss(0.0, 0.05), float(on))
        for course_, value in zip(sums, read, strict=True):
            course_[minute // 60] += value / 60.0
    return sums[0], sums[1], sums[2], minutes


def hourly(chiller: bool) -> tuple[list[float], list[float], list[float]]:
    """Six days, the last two of them hot."""
    return lived([(27.0, 27.6)] * 4 + [(27.0, 32.0)] * 2, chiller)[:3]


def hours_of(waters: list[float], rooms: list[float], shares: list[float]) -> list[Hour]:
    """The hours as they are fitted."""
    return [
        Hour(
            waters[n],
            waters[n + 1],
            (rooms[n] + rooms[n + 1]) / 2.0,
            (shares[n] + shares[n + 1]) / 2.0,
        )
        for n in range(len(waters) - 1)
    ]


@pytest.mark.parametrize("chiller", [True, False])
def test_link_is_fitted_to_days_on_which_the_room_moved(chiller: bool) -> None:
    """With two hot days in six the time constant of 17.2 h is found within a quarter."""
    body = fit(hours_of(*hourly(chiller)))
    assert body is not None
    assert 17.2 / 1.25 < body.time_constant < 17.2 * 1.25


def test_nothing_is_fitted_where_nothing_moved() -> None:
    """Too few hours, or water and air that stand still: no link, so no forecast."""
    assert fit(hours_of(*(means[:30] for means in hourly(True)))) is None
    chance = random.Random(1)
    still = [26.5 + chance.gauss(0.0, 0.01) for _ in range(144)]
    air = [27.0 + chance.gauss(0.0, 0.01) for _ in range(144)]
    assert fit(hours_of(still, air, [0.0] * 144)) is None
    assert fit(hours_of([26.5] * 144, [27.0] * 144, [0.0] * 144)) is None


def test_hot_afternoon_is_announced_hours_before_the_peak() -> None:
    """Third hot day of the demo's heat spell, left alone: at 11:00 both limits are told with ranges
    that hold, and the peak of the evening within half a degree and an hour and a half."""
    rooms = [(27.0, 27.5)] * 4 + [(27.4, 29.4), (28.0, 31.6), (28.0, 34.8)]
    waters, airs, shares, minutes = lived(rooms)
    today = len(minutes) - 24 * 60
    truth = minutes[today:]
    warn, alarm = (next(n for n, t in enumerate(truth) if t >= limit) for limit in (27.3, 28.0))
    peak = truth.index(max(truth))
    utc = utc_of(SETUP, "2026-10-23T11:00")
    last, upto = int(utc // 3600.0) - 1, 6 * 24 + 11
    tags = {"TW1": waters, "TR": airs, "MC": [0.9 * share for share in shares]}
    slow = Slow({tag: Hours(last, tuple(m[upto - 144 : upto]), max(m)) for tag, m in tags.items()})
    (chain,) = plan_of(SETUP).chains
    now = truth[11 * 60]
    ahead = heat_ahead(SETUP, slow, chain, now, utc)
    assert ahead is not None
    for crossing, true in zip(ahead.crossings[:2], (warn, alarm), strict=True):
        hours = (true - 11 * 60) / 60.0
        assert crossing.hours is not None
        assert crossing.earliest <= hours
        assert crossing.latest is None or crossing.latest >= hours
        assert hours == pytest.approx(crossing.hours, abs=0.75)
    assert max(truth) == pytest.approx(ahead.peak, abs=0.5)
    assert peak / 60.0 - 11.0 == pytest.approx(ahead.peak_hours, abs=1.5)
    line = heat_lines(SETUP, slow, {"TW1": now}, utc)["heat ahead/LT1"]
    assert line.whole.startswith("LT1: 27.3 C about ")
    assert "28.0 C about " in line.whole
    assert len(line.short) < 60
    assert [] == unfitted_lines(SETUP, slow, utc)


def test_not_fitted_yet_is_said() -> None:
    """On the first days there is no forecast, and the line says so."""
    utc = utc_of(SETUP, "2026-10-16T12:00")
    assert {} == heat_lines(SETUP, Slow(), {"TW1": 26.5}, utc)
    (line,) = unfitted_lines(SETUP, Slow(), utc)
    assert "no heat forecast yet" in line
    (chain,) = plan_of(SETUP).chains
    assert water_body(SETUP, Slow(), chain, int(utc // 3600.0)) is None


def test_degree_hours() -> None:
    """Two hours 0.5 over and one 1.0 over are 2.0 degree-hours; missing hours count nothing."""
    hours = Hours(50, (26.0, 27.8, None, 27.8, 28.3, 27.0), 28.3)
    assert 2.0 == pytest.approx(hours.degree_hours(27.3, range(27, 51)))
    assert 1.0 == pytest.approx(hours.degree_hours(27.3, range(49, 50)))


def test_degree_hours_have_a_line() -> None:
    """Six hours of 28.0 C are 4.2 degree-hours above 27.3; a cool day has no line."""
    utc = utc_of(SETUP, "2026-10-23T18:00")
    hot = kept(SETUP, utc, lambda at: 28.0 if at >= utc - 6 * 3600.0 else 26.5)
    line = trend_lines(SETUP, Slow({"TW1": hot}), utc)["degree-hours/S1"]
    assert "LT1: 4.2 degree-hours above 27.3 C in the last 24 h." == line.whole
    cool = kept(SETUP, utc, lambda _: 26.5)
    assert "degree-hours/S1" not in trend_lines(SETUP, Slow({"TW1": cool}), utc)
