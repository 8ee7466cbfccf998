"""Temperatures of the simulated rig against the worked heat table and independent numerics."""

import math

import pytest
from scipy.integrate import solve_ivp

from monitor.simulator.climate import Air, Day, Heat, Loads
from monitor.simulator.extras import DEMO
from monitor.simulator.physics import World
from monitor.units import L_PER_MIN
from simulator.rigs import demo, do, world

pytestmark = pytest.mark.long

HOUR = 3600.0
FLOWING = 6.0 * L_PER_MIN


def hours_to(limit: float, room: float, chiller: bool) -> float:
    """Hours from 26.5 C to a limit at a fixed room temperature, pump and lights on."""
    heat = Heat(26.5, 1.0, 0.720, DEMO)
    heat.chilling = chiller
    seconds = 0.0
    while heat.tank < limit:
        heat.step(10.0, room, Loads(FLOWING, pump=True, lights=1.0, cooling=chiller))
        seconds += 10.0
        if seconds > 200 * HOUR:
            return math.inf
    return seconds / HOUR


@pytest.mark.parametrize(
    ("room", "chiller", "hours"),
    [
        (30.0, False, (4.5, 9.7, 21.9)),
        (32.0, False, (2.7, 5.5, 10.5)),
        (34.0, False, (1.9, 3.9, 7.0)),
        (36.0, False, (1.5, 3.0, 5.3)),
        (30.0, True, (11.4, 40.9, math.inf)),
        (32.0, True, (4.1, 8.7, 18.7)),
        (34.0, True, (2.5, 5.1, 9.5)),
        (36.0, True, (1.8, 3.6, 6.44)),  # the worked table rounds this last one to 6.5
    ],
)
def test_hours_to_each_heat_limit(
    room: float, chiller: bool, hours: tuple[float, float, float]
) -> None:
    """Hours to 27.3, 28.0 and 29.0 C: those of the worked table, and of the logarithm."""
    found = [hours_to(limit, room, chiller) for limit in (27.3, 28.0, 29.0)]
    assert list(hours) == pytest.approx(found, abs=0.055)
    taken = 150.0 * (1.0 - 0.03 * (room - 27.0)) if chiller else 0.0
    rest = room + (80.0 + 45.0 - 127.0 - taken) / 75.0
    exact = [
        4.65e6 / 75.0 * math.log((rest - 26.5) / (rest - limit)) / HOUR
        if rest > limit
        else math.inf
        for limit in (27.3, 28.0, 29.0)
    ]
    assert exact == pytest.approx(found, abs=0.01)


def test_the_full_chiller_just_holds_at_a_room_of_28_5() -> None:
    """At a room of 28.5 C the chiller takes what comes in: 26.5 C stays within 0.1 C for a day."""
    heat = Heat(26.5, 1.0, 0.720, DEMO)
    heat.chilling = True
    for _ in range(8640):
        heat.step(10.0, 28.5, Loads(FLOWING, pump=True, lights=1.0, cooling=True))
    assert 26.5 == pytest.approx(heat.tank, abs=0.1)


def test_a_stuck_heater_warms_by_0_155_an_hour() -> None:
    """200 W more into the whole system."""
    with_heater, without = (Heat(26.5, 1.0, 0.720, DEMO) for _ in range(2))
    with_heater.heater_stuck = True
    loads = Loads(FLOWING, pump=True, lights=0.0, cooling=True)
    for _ in range(360):
        with_heater.step(10.0, 26.0, loads)
        without.step(10.0, 26.0, loads)
    assert 0.155 == pytest.approx(with_heater.tank - without.tank, abs=0.005)


def test_the_tank_alone_follows_an_adaptive_integrator() -> None:
    """Without siphon the larval tank cools with its own loss, time constant 24 h."""
    heat = Heat(26.5, 1.0, 0.720, DEMO)
    for _ in range(6 * 3600):
        heat.step(1.0, 22.0, Loads(0.0, pump=False, lights=0.0, cooling=False))

    def change(_: float, tank: list[float]) -> list[float]:
        return [(34.0 * (22.0 - tank[0]) - 57.0) / 2.94e6]

    solved = solve_ivp(change, (0.0, 6 * HOUR), [26.5], rtol=1e-10)
    assert solved.y[0][-1] == pytest.approx(heat.tank, abs=1e-4)
    assert 24.0 == pytest.approx(2.94e6 / 34.0 / HOUR, abs=0.05)


def test_heat_is_kept_when_the_parts_mix_again() -> None:
    """Tank and rest come together with the flow, at the temperature their heat makes."""
    heat = Heat(26.5, 1.0, 0.720, DEMO)
    heat.tank, heat.rest = 27.0, 25.0
    share = 2.94 / 4.65
    mean = share * heat.tank + (1.0 - share) * heat.rest
    room = mean + 127.0 / 75.0  # no gain and no loss on the whole
    for _ in range(20):
        heat.step(60.0, room, Loads(FLOWING, pump=False, lights=0.0, cooling=False))
    assert 0.0 < heat.tank - heat.rest < 2.0 * math.exp(-0.3)
    for _ in range(1000):
        heat.step(60.0, room, Loads(FLOWING, pump=False, lights=0.0, cooling=False))
    assert mean == pytest.approx(heat.tank, abs=1e-3)
    assert heat.tank == pytest.approx(heat.rest, abs=1e-3)


def test_the_chiller_cycles_between_its_thermostat_points() -> None:
    """On an ordinary day the water stays in the switching band of 26.4 to 26.6 C."""
    made = world(6.0, step=1.0)
    seen, switched = [], 0
    chilling = made.heat.chilling
    for _ in range(24 * 60):
        made.advance(60.0)
        seen.append(made.heat.tank)
        switched += made.heat.chilling is not chilling
        chilling = made.heat.chilling
    assert 26.38 < min(seen) and max(seen) < 26.61
    assert switched > 2


def test_room_air_follows_its_day() -> None:
    """Base until nine, the peak at half past four, the next day's base by eleven at night."""
    days = (Day(27.0, 29.0), Day(28.0, 31.6))
    air = Air(days, 0.0, DEMO)
    seen = []
    for hour in (8.0, 12.75, 16.5, 19.75, 23.0, 24.0 + 16.5):
        air.step(hour * HOUR, 1.0, powered=True)
        seen.append(air.room)
    assert [27.0, 28.0, 29.0, 28.5, 28.0, 31.6] == pytest.approx(seen)


def test_a_room_without_power_drifts_and_comes_back() -> None:
    """Towards 22 C in three hours without power, back to its course in 0.7 h with it."""
    made = World(demo(()).rig, {"S1": FLOWING}, days=(Day(27.0, 27.0, 12.0, 12.0),))
    do(made, "mains off")
    made.advance(3 * HOUR)
    assert 22.0 + 5.0 * math.exp(-1.0) == pytest.approx(made.air.room, abs=0.001)
    cold = 27.0 - made.air.room
    do(made, "mains on")
    made.advance(0.7 * HOUR)
    assert cold * math.exp(-1.0) == pytest.approx(27.0 - made.air.room, abs=0.001)


def test_the_light_timer_stands_still_without_mains() -> None:
    """After 107 min without mains on its strip the lights come on 107 min late, unless set."""
    for timer_set, late in ((False, 107.0), (True, 0.0)):
        made = World(demo(()).rig, {"S1": FLOWING}, clock=1.0 * HOUR)
        do(made, "mains off", "B1")
        made.advance(107.0 * 60.0)
        do(made, "mains on", "B1")
        if timer_set:
            do(made, "light timer")
        while made.lights == 0.0:
            made.advance(1.0)
        assert 6.5 * 60.0 + late == pytest.approx(made.clock / 60.0, abs=0.02)


def test_batteries_and_air_during_an_outage() -> None:
    """Battery air at 6 kPa, the watch battery at 61 % after 107 min, both charged afterwards."""
    made = world(6.0, step=1.0)
    do(made, "mains off")
    made.advance(107.0 * 60.0)
    assert 6.0e3 == made.manifold
    assert 0.61 == pytest.approx(made.watch_battery, abs=0.005)
    do(made, "mains on")
    made.advance(10 * HOUR)
    assert 13.0e3 == made.manifold
    assert 1.0 == made.watch_battery
    do(made, "mains off")
    made.advance(15.1 * HOUR)
    assert 0.0 == made.manifold
