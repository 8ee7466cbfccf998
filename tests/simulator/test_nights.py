"""The worked nights, as the simulated rig plays them, against the scenario's own tables."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.config import load
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
from simulator.rigs import FULL_TAGS, demo, first_night

pytestmark = pytest.mark.long

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
01:18:00.1 38.3 6.0 0.0  0 32.5 0
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

    Litres not delivered count what the siphon gave against 6.0 L/min from 01:18 on. The first
    line is just after the stop: its sump figure has the water of the riser.
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
                world.level("SU1") * 100.0,
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
    found = [
        play(rig, clock).world.level("HD1") * 100.0
        for clock in ("00:13:20", "00:19:00", "00:26:20", "00:32:00", "00:32:30")
    ]
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
    levels, flows = {}, []
    for second in range(int(after(rig.story.start, "02:20:00"))):
        list(rig.until(float(second)))
        levels[second] = rig.world.level("HD1")
        flows.append(rig.world.flow("S1"))
    back = int(after(rig.story.start, "02:10:20"))
    at_lip = next(second for second in range(back, len(levels)) if levels[second] >= 0.38)
    assert 34.2 == pytest.approx(min(levels.values()) * 100.0, abs=0.05)
    assert min(flows) > 5.8 * L_PER_MIN
    assert after(rig.story.start, "02:16:25") == pytest.approx(at_lip, abs=1.0)


def changes(setup: Setup, story: Story, tag: str) -> list[tuple[str, float | None]]:
    """Clock time and value of each change of a tag."""
    found: list[tuple[str, float | None]] = []
    for item in SimulatedRig(setup, story, 1).until(story.length):
        if not isinstance(item, Reading) or item.tag != tag:
            continue
        if not found or found[-1][1] != item.value:
            found.append((setup.local(item.moment.utc).strftime("%H:%M:%S"), item.value))
    return found


def test_first_night_set_in_the_night_outage() -> None:
    """Float at 29.3 cm, witness cup 20 s late; the first priming fills the cup for 40 s."""
    setup = first_night()
    assert [
        ("00:45:00", 1.0),
        ("01:41:18", 0.0),
        ("03:16:20", 1.0),
        ("03:17:00", 0.0),
        ("03:28:40", 1.0),
    ] == changes(setup, night_outage(), "QW")
    assert [
        ("00:45:00", 1.0),
        ("01:25:29", 0.0),
        ("03:15:03", 1.0),
    ] == changes(setup, night_outage(), "LHf")


def test_without_a_witness_a_person_tells_the_flow() -> None:
    """The first-night set without the cup plays the same water; bucket checks come by script."""
    story = night_outage(flow_told=True)
    said = [
        (item.who, item.kind)
        for item in SimulatedRig(first_night(with_witness=False), story, 1).until(story.length)
        if isinstance(item, Answer)
    ]
    assert 2 == said.count(("oskel", "flow"))
    assert ("tavrin", "take") == said[0]


def readings(story: Story, tag: str) -> Iterator[tuple[str, Reading]]:
    """Clock time and reading of one tag of the demo rig."""
    setup = demo()
    for item in SimulatedRig(setup, story, 1).until(story.length):
        if isinstance(item, Reading) and item.tag == tag:
            yield setup.local(item.moment.utc).strftime("%H:%M:%S"), item


def test_hold_overrun_shows_in_flow_only() -> None:
    """Flow is gone from 12:30 to 13:31 while the header stands a little above normal."""
    flow = {clock: item.value for clock, item in readings(hold_overrun(), "QL")}
    none = [clock for clock, value in flow.items() if value is not None and value < 0.5]
    assert ("12:30:05", "13:31:00") == (none[0], none[-1])
    header = [item.value or 0.0 for _, item in readings(hold_overrun(), "LH")]
    assert 38.0 < min(header) and max(header) < 39.2
    rig = bare(hold_overrun())
    given = [play(rig, clock).world.delivered("S1") for clock in ("13:10:00", "13:31:00")]
    assert 63.0 == pytest.approx(3.0 * 21.0 - (given[1] - given[0]) / LITRE, abs=0.01)


def test_thermometer_fault() -> None:
    """One 85.0, then answers without a value until the connector is made again."""
    seen = dict(readings(thermometer_fault(), "TW1"))
    assert 26.56 == pytest.approx(seen["10:17:15"].value, abs=0.07)
    assert 85.0 == seen["10:17:30"].value
    assert (None, "no answer") == (seen["10:17:45"].value, seen["10:17:45"].problem)
    assert (None, "no answer") == (seen["13:04:45"].value, seen["13:04:45"].problem)
    assert 26.5 == pytest.approx(seen["13:05:00"].value, abs=0.2)


def test_screen_clogs() -> None:
    """+15 mm at 18:22:38; 14 min at 1.96 mm/min make 27.5 by 18:29; then back at 0."""
    rig = bare(screen_clogs())
    found = [
        play(rig, clock).world.above_running("LT1") * 1000.0
        for clock in ("18:04:59", "18:14:59", "18:22:38", "18:29:00", "18:40:00")
    ]
    assert [-2.5, 0.0, 15.0, 27.5, 0.0] == pytest.approx(found, abs=0.5)
    sump = bare(screen_clogs())
    assert 27.7 == pytest.approx(play(sump, "18:29:00").world.level("SU1") * 100.0, abs=0.1)
    assert not rig.world.floor_wet


def test_quiet_day_delivers_11_5_turnovers() -> None:
    """Three holds of 30 min at 2.0 leave 11.50 of 12 turnovers; lights burn 13 h."""
    rig = SimulatedRig(demo(()), replace(quiet_day(), says=()), 1)
    lit = 0
    for minute in range(24 * 60 + 1):
        list(rig.until(minute * 60.0))
        lit += rig.world.lights > 0.0
    assert 11.50 == pytest.approx(rig.world.delivered("S1") / 0.720, abs=0.02)
    assert 13 * 60 == lit
    assert 32.0 == pytest.approx(rig.world.level("SU1") * 100.0, abs=0.05)


@pytest.mark.parametrize("name", STORIES)
def test_every_story_plays(name: str) -> None:
    """Each story plays on the full set to its end, in order of time, and every tag reports."""
    story = STORIES[name]()
    last, tags = 0.0, set()
    for item in SimulatedRig(demo(), story, 1).until(min(story.length, 3 * 3600.0)):
        assert item.moment.elapsed >= last
        last = item.moment.elapsed
        if isinstance(item, Reading):
            tags.add(item.tag)
    assert {tag.id for tag in FULL_TAGS} == tags


@pytest.mark.parametrize("folder", ["ostrel-hill", "first-night"])
def test_the_sample_rigs_play_the_night_outage(folder: str) -> None:
    """The rigs that come with holdwater break at 01:40:57 too, and all their tags report."""
    setup = load(Path(__file__).parents[2] / "sample_config" / folder)
    rig = SimulatedRig(setup, night_outage(), 1)
    assert () == rig.unplayed
    said = list(rig.until(after(rig.story.start, "01:40:00")))
    assert {tag.id for tag in setup.rig.tags} == {
        item.tag for item in said if isinstance(item, Reading)
    }
    start = rig.world.elapsed
    while rig.world.primed("S1"):
        rig.world.advance(0.1)
    assert 57.0 == pytest.approx(rig.world.elapsed - start, abs=1.0)
