"""The worked nights, as the simulated rig plays them, against the scenario's own tables."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from simulator.rigs import FULL_TAGS, demo, first_night

from monitor.inputs import Answer, Reading
from monitor.setup import Setup
from monitor.simulator import STORIES, SimulatedRig, Story
from monitor.simulator.extras import DEMO, Extras
from monitor.simulator.nights import (
    hold_overrun,
    night_outage,
    quiet_day,
    screen_clogs,
    short_dip,
    storm_night,
    thermometer_fault,
)
from monitor.simulator.story import after
from monitor.units import L_PER_MIN, LITRE

NO_EVAPORATION = replace(DEMO, evaporation=0.0)
"""The worked level tables leave evaporation out."""


def bare(story: Story, extras: Extras = NO_EVAPORATION) -> SimulatedRig:
    """The demo rig without sensors, in fine steps."""
    return SimulatedRig(demo(()), replace(story, says=()), 1, step=0.1, extras=extras)


def play(rig: SimulatedRig, clock: str) -> SimulatedRig:
    """Play on to a clock time."""
    assert not list(rig.until(after(rig.story.start, clock)))
    return rig


def first_time(rig: SimulatedRig, clock: str) -> float:
    """Seconds from a clock time at which the siphon has just lost its prime."""
    play(rig, clock)
    start = rig.world.elapsed
    while rig.world.primed("S1"):
        rig.world.advance(0.1)
    return rig.world.elapsed - start


LEVELS = """
01:18:00 38.3 6.0 0.0  0 32.5 0
01:19:00 37.0 6.0 0.0  0 33.7 0
01:22:00 33.4 5.9 0.0  0 36.9 0
01:30:00 24.1 5.6 0.0  0 45.3 2
01:38:00 15.2 5.3 0.0  0 53.2 7
01:40:50 12.1 5.2 0.0  0 55.9 9
01:42:00 12.0 0.0 0.0 -3 56.5 15
01:52:00 12.0 0.0 0.0 -5 56.8 75
03:04:00 12.0 0.0 0.0 -5 56.8 507
03:10:00 20.6 0.0 9.0 -5 48.6 543
03:16:30 32.3 2.1 9.0 -4 38.0 581
03:20:00 38.5 0.0 9.0 -5 32.6 602
03:28:30 38.5 6.0 9.0 -4 32.4 652
03:32:00 38.3 6.0 9.0  0 32.0 652
"""


def test_night_outage_levels() -> None:
    """Every figure of the worked level table: 0.1 cm, 0.1 L/min, 1 mm, 1 L.

    Litres not delivered count what the siphon gave against 6.0 L/min from 01:18 on.
    """
    rig = bare(night_outage())
    world = rig.world
    given: float | None = None
    wanted, found = [], []
    for line in LEVELS.split("\n")[1:-1]:
        clock, *figures = line.split()
        play(rig, clock)
        if given is None:
            given, start = world.delivered("S1"), world.elapsed
        missing = 6.0 * L_PER_MIN * (world.elapsed - start) - (world.delivered("S1") - given)
        wanted.append([float(figure) for figure in figures])
        found.append(
            [
                world.level("HD1") * 100.0,
                world.flow("S1") / L_PER_MIN,
                world.flow("P1") / L_PER_MIN,
                world.above_running("LT1") * 1000.0,
                world.level("SU1") * 100.0 + 1e-9,
                missing / LITRE,
            ]
        )
    for place, slack in enumerate((0.051, 0.051, 0.051, 0.51, 0.051, 0.6)):
        column = [row[place] for row in found]
        assert [row[place] for row in wanted] == pytest.approx(column, abs=slack)


def test_night_outage_break_and_milestones() -> None:
    """Warn, alarm and float level on time; the siphon breaks at 01:40:57, one step about."""
    rig = bare(night_outage())
    for clock, level in (("01:19:51", 36.0), ("01:21:06", 34.5), ("01:26:35", 28.0)):
        play(rig, clock)
        assert level == pytest.approx(rig.world.level("HD1") * 100.0, abs=0.02)
    assert 57.0 == pytest.approx(first_time(rig, "01:40:00"), abs=1.0)


def test_night_outage_header_is_full_again_and_looks_well() -> None:
    """At the lip at 03:19:39; by 03:22 it stands 3.4 mm above normal with no flow."""
    rig = bare(night_outage())
    normal = play(rig, "01:10:00").world.level("HD1")
    play(rig, "03:19:39")
    assert 38.0 == pytest.approx(rig.world.level("HD1") * 100.0, abs=0.03)
    play(rig, "03:22:00")
    assert 38.65 == pytest.approx(rig.world.level("HD1") * 100.0, abs=0.005)
    assert 3.4 == pytest.approx((rig.world.level("HD1") - normal) * 1000.0, abs=0.06)
    assert 0.0 == rig.world.flow("S1")


def test_night_outage_keeps_its_water() -> None:
    """Header, tank, sump and riser together stay within 0.1 L, evaporation apart."""
    rig = bare(night_outage(), DEMO)
    water = rig.world.water
    before = water.volume
    for minute in range(60 * 4):
        list(rig.until(minute * 60.0))
        assert before == pytest.approx(water.volume + water.evaporated, abs=0.1 * LITRE)
    assert 0.7 == pytest.approx(water.evaporated / LITRE, abs=0.1)


def test_night_outage_cools_the_larval_tank() -> None:
    """The larval tank goes from 26.5 to 26.2 C by the second call after the power is back."""
    rig = bare(night_outage(), DEMO)
    assert "26.5" == f"{play(rig, '01:18:00').world.heat.tank:.1f}"
    assert "26.2" == f"{play(rig, '03:28:20').world.heat.tank:.1f}"


def test_storm_night_levels() -> None:
    """34.2, 37.75, 29.0 and 32.7 cm at each turn of the power; it breaks at 00:50:20."""
    rig = bare(storm_night())
    found = []
    for clock in ("00:13:20", "00:19:00", "00:26:20", "00:32:00", "00:32:30"):
        found.append(play(rig, clock).world.level("HD1") * 100.0)
    assert [34.2, 37.75, 29.0, 32.7, 32.1] == pytest.approx(found, abs=0.05)
    assert 26.0 == pytest.approx((38.0 - found[3]) * 4.90, abs=0.1)
    assert 20.0 == pytest.approx(first_time(rig, "00:50:00"), abs=1.0)


def test_storm_night_recovery() -> None:
    """21 cm when the supply has been back five minutes; primed at 28 cm it gives 5.7 L/min."""
    rig = bare(storm_night())
    assert 21.0 == pytest.approx(play(rig, "02:37:20").world.level("HD1") * 100.0, abs=0.5)
    assert 28.0 == pytest.approx(play(rig, "02:41:00").world.level("HD1") * 100.0, abs=0.5)
    assert 5.7 == pytest.approx(play(rig, "02:41:10").world.flow("S1") / L_PER_MIN, abs=0.05)


def test_storm_night_with_the_valve_shut_keeps_the_prime() -> None:
    """Shut at 12.5 cm, full again about 02:46, opened at 02:50: it runs without priming."""
    rig = bare(storm_night(valve_shut="00:49:50"))
    assert 12.5 == pytest.approx(play(rig, "00:49:50").world.level("HD1") * 100.0, abs=0.1)
    assert 38.0 == pytest.approx(play(rig, "02:46:00").world.level("HD1") * 100.0, abs=0.6)
    assert 6.0 == pytest.approx(play(rig, "02:50:20").world.flow("S1") / L_PER_MIN, abs=0.02)


def test_short_dip_levels() -> None:
    """Lowest 34.2 cm, flow never under 5.8 L/min, at the lip again at 02:16:25."""
    rig = bare(short_dip())
    lowest, least, lip = 1.0, 1.0, 0.0
    play(rig, "02:07:00")
    while not lip:
        rig.world.advance(0.1) if rig.world.elapsed > 2100.0 else list(
            rig.until(rig.world.elapsed + 0.1)
        )
        level = rig.world.level("HD1")
        lowest, least = min(lowest, level), min(least, rig.world.flow("S1"))
        if level >= 0.38 and rig.world.elapsed > after(rig.story.start, "02:10:20"):
            lip = rig.world.elapsed
    assert 34.2 == pytest.approx(lowest * 100.0, abs=0.05)
    assert least > 5.8 * L_PER_MIN
    assert after(rig.story.start, "02:16:25") == pytest.approx(lip, abs=1.0)
