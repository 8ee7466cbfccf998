"""Heat ahead: textbook bodies, a link fitted to made-up days, and a hot afternoon announced."""

import math
import random

import pytest

from logic_slow.days import demo, utc_of
from monitor.logic.heat import STEP, Body, Hour, course, fit
from monitor.logic.heat_ahead import (
    degree_hours,
    heat_ahead,
    heat_lines,
    unfitted_lines,
    water_body,
)
from monitor.logic.plan import plan_of
from monitor.logic.slow import Hours, Slow

SETUP = demo()
DAY = 86_400.0


def test_thermocouple_of_a_textbook() -> None:
    """Incropera and DeWitt, example 5.1: time constant 1.0 s, 25 to 199 C in 200 C in 5.2 s."""
    constant = 8500.0 * 400.0 * 0.706e-3 / (6.0 * 400.0)
    junction = Body(1.0 / constant, 0.0)
    assert 1.0 == pytest.approx(junction.time_constant, abs=0.001)
    assert 5.1656 == pytest.approx(junction.time_to(25.0, 199.0, 200.0), abs=1e-4)
    assert 199.0 == pytest.approx(junction.later(25.0, 200.0, 5.1656), abs=1e-3)


def test_second_thermocouple() -> None:
    """Cengel, example 4-1: 1 mm, 8500, 320, h 210: 99 % of the way in 10 s."""
    junction = Body(6.0 * 210.0 / (8500.0 * 320.0 * 1e-3), 0.0)
    assert 0.46324 == pytest.approx(junction.link, abs=1e-5)
    assert 9.94 == pytest.approx(junction.time_to(0.0, 0.99, 1.0), abs=0.005)


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
    assert hours == pytest.approx(tank.time_to(26.0, 28.0, room), rel=0.004)


def test_limit_that_is_never_reached() -> None:
    """A limit over the end of the course is never reached; one that is passed is reached now."""
    tank = Body(0.05, 0.0)
    assert math.inf == tank.time_to(26.0, 31.0, 30.0)
    assert 0.0 == pytest.approx(tank.time_to(26.0, 26.0, 30.0))


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


def hourly(
    days: int, hot: float, chiller: bool = True, seed: int = 1
) -> tuple[list[float], list[float], list[float]]:
    """Water, room and share of cooling of the demo rig by the minute, averaged by the hour.

    4.65 MJ/K, 75 W/K, pump and lights less evaporation -2 W, chiller 150 W between 26.4 and 26.6;
    the room is 27.0 and on the last two days goes up to `hot` at 16:30.
    """
    chance, water, on = random.Random(seed), 26.5, False
    waters, rooms, shares = [], [], []
    for hour in range(days * 24):
        sums = [0.0, 0.0, 0.0]
        for minute in range(60):
            clock = hour % 24 + minute / 60.0
            peak = hot if hour // 24 >= days - 2 else 27.6
            up = (
                min(1.0, max(0.0, (clock - 9.0) / 7.5))
                if clock <= 16.5
                else max(0.0, (23.0 - clock) / 6.5)
            )
            room = 27.0 + (peak - 27.0) * up
            on = (water > 26.6 or (on and water > 26.4)) and chiller
            cooled = 150.0 * (1.0 - 0.03 * (room - 27.0)) if on else 0.0
            power = 80.0 - 127.0 + (45.0 if 6.5 <= clock < 19.5 else 0.0) - cooled
            water += (75.0 * (room - water) + power) * 60.0 / 4.65e6
            for place, value in enumerate(
                (water + chance.gauss(0.0, 0.02), room + chance.gauss(0.0, 0.05), float(on))
            ):
                sums[place] += value / 60.0
        waters.append(sums[0])
        rooms.append(sums[1])
        shares.append(sums[2])
    return waters, rooms, shares


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
    body = fit(hours_of(*hourly(6, 32.0, chiller)))
    assert body is not None
    assert 17.2 / 1.25 < body.time_constant < 17.2 * 1.25


def test_nothing_is_fitted_where_nothing_moved() -> None:
    """Too few hours, or water and air that stand still: no link, so no forecast."""
    assert fit(hours_of(*hourly(1, 32.0))) is None
    chance = random.Random(1)
    still = [26.5 + chance.gauss(0.0, 0.01) for _ in range(144)]
    air = [27.0 + chance.gauss(0.0, 0.01) for _ in range(144)]
    assert fit(hours_of(still, air, [0.0] * 144)) is None
    assert fit(hours_of([26.5] * 144, [27.0] * 144, [0.0] * 144)) is None


def hot_afternoon(hour: int) -> tuple[Slow, float, float]:
    """Six days kept at this hour of the second hot day, water now, and UTC."""
    waters, rooms, shares = hourly(6, 34.0, chiller=True)
    upto = 5 * 24 + hour
    utc = utc_of(SETUP, f"2026-10-22T{hour:02d}:00")
    last = int(utc // 3600.0) - 1
    tags = {"TW1": waters, "TR": rooms, "MC": [0.9 * share for share in shares]}
    slow = Slow({tag: Hours(last, tuple(means[:upto]), max(means)) for tag, means in tags.items()})
    return slow, waters[upto - 1], utc


def test_hot_afternoon_is_announced_hours_before_the_peak() -> None:
    """At noon of the second hot day the warning limit is told for the afternoon, in its range."""
    waters, _, _ = hourly(6, 34.0, chiller=True)
    crossed = next(n for n in range(5 * 24 + 12, 6 * 24) if waters[n] >= 27.3) - 5 * 24
    slow, now, utc = hot_afternoon(12)
    (chain,) = plan_of(SETUP).chains
    ahead = heat_ahead(SETUP, slow, chain, now, utc)
    assert ahead is not None
    assert 27.3 == pytest.approx(ahead.limit)
    assert ahead.hours is not None
    assert ahead.earliest is not None
    assert ahead.earliest <= crossed + 1 - 12
    assert ahead.latest is None or ahead.latest >= crossed - 12
    assert crossed - 12 == pytest.approx(ahead.hours, abs=1.5)
    assert ahead.peak_hours > ahead.hours
    assert heat_lines(SETUP, slow, {"TW1": now}, utc)["heat ahead/LT1"].whole.startswith(
        "LT1: 27.3 C about "
    )
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
    assert 2.0 == pytest.approx(degree_hours(hours, 27.3, 50))
    assert 1.0 == pytest.approx(degree_hours(hours, 27.3, 49, span=1))
