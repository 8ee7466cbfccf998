"""The sensors of the simulated rig: noise, steps, units, faults and independence."""

from dataclasses import replace
from statistics import fmean, stdev

import pytest

from monitor.errors import RefusedInput
from monitor.inputs import Reading
from monitor.rig import Tag
from monitor.simulator import Action, SimulatedRig, Story
from monitor.simulator.sensors import CHARACTERS, Sensor
from monitor.units import L_PER_MIN, unit_of
from simulator.rigs import demo, lone_loop, tag

pytestmark = pytest.mark.long

HOUR = 3600.0
FLOW = 6.0 * L_PER_MIN


def story(*actions: Action, length: float = HOUR, noise: float = 1.0) -> Story:
    """A steady afternoon with these actions."""
    return Story("test", "2026-10-27T12:00:00", length, FLOW, actions=actions, noise=noise)


def readings(
    made: Story, tags: tuple[Tag, ...], wanted: str, seed: int = 1, until: float = HOUR
) -> list[Reading]:
    """All readings of one tag."""
    rig = SimulatedRig(demo(tags), made, seed)
    return [item for item in rig.until(until) if isinstance(item, Reading) and item.tag == wanted]


def values(readings: list[Reading]) -> list[float]:
    """The values of readings that have one."""
    return [item.value for item in readings if item.value is not None]


@pytest.mark.parametrize(
    ("made", "mean", "noise"),
    [
        (tag("LH", "level", "HD1", 5.0), 38.31, 0.10),
        (tag("LT", "level", "LT1", 5.0, "mm"), 0.0, 1.0),
        (tag("QL", "flow", "S1", 5.0), 6.01, 0.08),
        (tag("QS", "flow", "P1", 5.0), 9.0, 0.09),
        (tag("PA", "pressure", "A1", 10.0), 13.0, 0.15),
        (tag("BAT", "voltage", "B2", 60.0), 13.6, 0.02),
        (tag("LX", "light", "LT1", 30.0), 1000.0, 20.0),
    ],
)
def test_noise_is_that_of_the_sensor_table(made: Tag, mean: float, noise: float) -> None:
    """Mean and spread of two hours, quantum included, in the unit of the tag."""
    found = values(readings(story(), (made,), made.id, until=20 * HOUR / 3.0))
    if made.measures == "flow":
        found = [value for value in found if value > 3.5]  # lone bubbles apart
    quantum = {"level": 0.1, "flow": 0.027, "pressure": 0.1}.get(made.measures, 0.01)
    spread = (noise**2 + quantum**2 / 12.0) ** 0.5
    assert mean == pytest.approx(fmean(found), abs=5.0 * spread / len(found) ** 0.5 + 0.005)
    assert spread == pytest.approx(stdev(found), rel=0.2)


def test_the_mean_of_ten_minutes_shows_millimetres() -> None:
    """120 header samples have a mean good to about 0.1 mm."""
    made = tag("LH", "level", "HD1", 5.0)
    found = values(readings(story(), (made,), "LH", until=20 * HOUR))
    means = [fmean(found[at : at + 120]) for at in range(0, len(found) - 120, 120)]
    assert 0.01 == pytest.approx(stdev(means), rel=0.25)


@pytest.mark.parametrize(
    ("made", "quantum"),
    [
        (tag("LH", "level", "HD1", 5.0), 0.1),
        (tag("LH", "level", "HD1", 5.0, "mm"), 1.0),
        (tag("LT", "level", "LT1", 5.0, "mm"), 0.5),
        (tag("TW1", "temperature", "LT1", 15.0), 0.0625),
        (tag("QL", "flow", "S1", 5.0), 60.0 / 450.0 / 5.0),
        (replace(tag("LH", "level", "HD1", 5.0), quantum=0.25), 0.25),
    ],
)
def test_values_are_whole_steps(made: Tag, quantum: float) -> None:
    """Every value is a whole number of quanta; the tag's own quantum comes first."""
    found = values(readings(story(), (made,), made.id))
    assert len(set(found)) > 1
    assert all(abs(value / quantum - round(value / quantum)) < 1e-4 for value in found)


def test_values_come_in_the_unit_of_the_tag() -> None:
    """The same level in inches and the same water in Fahrenheit."""
    inches = values(readings(story(), (tag("LH", "level", "HD1", 5.0, "in"),), "LH"))
    assert 38.31 / 2.54 == pytest.approx(fmean(inches), abs=0.01)
    warm = values(readings(story(), (tag("TW1", "temperature", "LT1", 15.0, "F"),), "TW1"))
    assert 26.55 * 1.8 + 32.0 == pytest.approx(fmean(warm), abs=0.1)


def test_a_sensor_delivers_what_its_calibration_corrects() -> None:
    """Raw values times gain plus zero make the true value."""
    made = replace(tag("LH", "level", "HD1", 5.0), gain=2.0, zero=-3.0)
    raw = values(readings(story(), (made,), "LH"))
    assert 38.31 == pytest.approx(fmean(raw) * 2.0 - 3.0, abs=0.01)


def test_a_gain_of_zero_is_refused() -> None:
    """No raw value makes anything of a gain of 0."""
    with pytest.raises(RefusedInput, match="tag LH: a calibration gain of 0"):
        readings(story(), (replace(tag("LH", "level", "HD1", 5.0), gain=0.0),), "LH")


def test_two_thermometers_keep_their_offsets() -> None:
    """The larval tank reads 0.05 high and the sump 0.04 low for the whole run."""
    tags = (tag("TW1", "temperature", "LT1", 15.0), tag("TW2", "temperature", "SU1", 15.0))
    high = fmean(values(readings(story(), tags, "TW1", until=5 * HOUR)))
    low = fmean(values(readings(story(), tags, "TW2", until=5 * HOUR)))
    assert 0.09 == pytest.approx(high - low, abs=0.015)


def test_the_same_seed_gives_the_same_readings() -> None:
    """Two plays with one seed agree in every reading; another seed does not."""
    first, again, other = (
        list(SimulatedRig(demo(), story(), seed).until(600.0)) for seed in (4, 4, 5)
    )
    assert first == again
    assert first != other


def test_a_tag_does_not_depend_on_the_others() -> None:
    """Alone or among sixteen others, a tag reads the same."""
    for made in demo().rig.tags:
        alone = readings(story(), (made,), made.id, until=900.0)
        among = readings(story(), demo().rig.tags, made.id, until=900.0)
        assert alone == among


def test_every_tag_reports_at_its_interval() -> None:
    """Readings come at whole intervals from the start, exactly."""
    moments: dict[str, list[float]] = {}
    for item in SimulatedRig(demo(), story(), 1).until(120.0):
        assert isinstance(item, Reading)
        moments.setdefault(item.tag, []).append(item.moment.elapsed)
    for made in demo().rig.tags:
        count = int(120.0 / made.every) + 1
        assert [made.every * place for place in range(count)] == moments[made.id]


LH = (tag("LH", "level", "HD1", 5.0),)


def faulted(
    *actions: Action, tags: tuple[Tag, ...] = LH, wanted: str = "LH"
) -> dict[float, float | None]:
    """Noise-free readings by time, with these faults."""
    found = readings(story(*actions, noise=0.0), tags, wanted, until=100.0)
    return {item.moment.elapsed: item.value for item in found}


def test_a_silent_sensor_says_nothing() -> None:
    """From its fault to its end no reading comes."""
    seen = faulted(Action(20.0, "sensor silent", "LH"), Action(60.0, "sensor well", "LH"))
    assert [0.0, 5.0, 10.0, 15.0, 60.0] == list(seen)[:5]


def test_a_cut_wire_gives_readings_without_a_value() -> None:
    """A measuring sensor says that nothing answers; a switch reads open."""
    assert faulted(Action(20.0, "sensor cut", "LH"))[25.0] is None
    switch = (tag("LHf", "float", "HD1", 1.0, height=0.28),)
    assert 0.0 == faulted(Action(20.0, "sensor cut", "LHf"), tags=switch, wanted="LHf")[21.0]


def test_a_stuck_sensor_repeats_its_last_value() -> None:
    """It says the same while the header falls."""
    seen = faulted(Action(20.0, "mains off"), Action(20.0, "sensor stuck", "LH"))
    assert {seen[15.0]} == {value for at, value in seen.items() if at >= 15.0}


def test_a_drifting_sensor_moves_by_the_hour() -> None:
    """36 cm an hour are 0.8 cm in 80 s."""
    seen = faulted(Action(20.0, "sensor drift", "LH", 36.0))
    assert 0.8 == pytest.approx((seen[100.0] or 0.0) - (seen[20.0] or 0.0), abs=0.001)


def test_a_meter_with_a_gain_reads_too_much() -> None:
    """A flow meter 3 % off reads 6.19 for 6.01."""
    meter = (tag("QL", "flow", "S1", 5.0),)
    seen = faulted(Action(20.0, "sensor gain", "QL", 1.03), tags=meter, wanted="QL")
    assert 6.01 * 1.03 == pytest.approx(seen[30.0], abs=0.014)


def test_wild_samples_last_one_sample() -> None:
    """An echo says its value, a spike is off by it, a start-up value is the tag's or 85."""
    seen = faulted(
        Action(20.0, "sensor reads", "LH", 7.0),
        Action(40.0, "sensor spike", "LH", 0.5),
        Action(60.0, "sensor start-up", "LH"),
    )
    normal = seen[0.0]
    assert normal is not None
    assert (7.0, normal) == (seen[20.0], seen[25.0])
    assert (normal + 0.5, normal) == pytest.approx((seen[40.0], seen[45.0]))
    assert (85.0, normal) == (seen[60.0], seen[65.0])
    own = (replace(LH[0], start_up_values=(127.9,)),)
    assert 127.9 == faulted(Action(60.0, "sensor start-up", "LH"), tags=own)[60.0]


@pytest.mark.parametrize(
    ("action", "says"),
    [
        (Action(1.0, "sensor drift", "LH"), "needs a number"),
        (Action(1.0, "sensor reads", "LH", float("nan")), "needs a number"),
        (Action(1.0, "sensor silent", "XX"), "no sensor 'XX' reports; there are: LH"),
        (Action(1.0, "sensor melts", "LH"), "unknown action 'sensor melts'"),
    ],
)
def test_faults_that_cannot_be_are_refused(action: Action, says: str) -> None:
    """A fault without its number or of no sensor is refused before play begins."""
    with pytest.raises(RefusedInput, match=says):
        readings(story(action), LH, "LH")


def test_the_float_opens_at_its_height_and_closes_5_mm_higher() -> None:
    """Hysteresis of a float on a falling and rising header."""
    switch = (tag("LHf", "float", "HD1", 1.0, height=0.28),)
    made = story(
        Action(0.0, "mains off"), Action(700.0, "mains on"), Action(700.0, "valve", value=0.0)
    )
    rig = SimulatedRig(demo(switch), made, 1)
    turns = []
    closed: float | None = 1.0
    for second in range(2000):
        for item in rig.until(float(second)):
            if isinstance(item, Reading) and item.value != closed:
                closed = item.value
                turns.append(rig.world.level("HD1") * 100.0)
    assert [28.0, 28.5] == pytest.approx(turns, abs=0.04)


@pytest.mark.parametrize(
    ("made", "true", "far", "mean"),
    [
        (tag("QL", "flow", "S1", 5.0), FLOW, 1.5, 40.0),  # one in six hours
        (tag("LS", "level", "SU1", 5.0), 0.32, 1.3, 86.4),  # one in 2,000
    ],
)
def test_bubbles_and_splashes_are_as_rare_as_the_table_says(
    made: Tag, true: float, far: float, mean: float
) -> None:
    """Lone wild samples in ten days; the count lies within four standard deviations."""
    kind = "siphon" if made.measures == "flow" else "sump"
    sensor = Sensor(made, lambda: true, CHARACTERS[made.measures, kind], "seed", 1.0)
    found = [sensor.sample(5.0 * place) for place in range(24 * 720 * 10)]
    shown = made.unit.from_si(true)
    wild = sum(abs((said[0] or 0.0) - shown) > far for said in found if said is not None)
    assert mean == pytest.approx(wild, abs=4.0 * mean**0.5)


def test_what_a_rig_does_not_have_is_not_played() -> None:
    """Tags of parts that are not there, or that come from outside, are named as unplayed."""
    tags = (
        tag("LH", "level", "HD1", 5.0),
        tag("LX2", "level", "HD9", 5.0),
        tag("Q9", "flow", "S9", 5.0),
        Tag("SOL", "age", "board", unit_of("age"), "sim"),
        tag("F9", "float", "HD1", 1.0),
    )
    assert ("LX2", "Q9", "SOL", "F9") == SimulatedRig(demo(tags), story(), 1).unplayed


def test_a_lone_loop_reports_its_flow() -> None:
    """A rig with one pumped loop gives its flow, and none without mains."""
    rig = SimulatedRig(lone_loop(), story(Action(300.0, "mains off")), 1)
    flow = [
        item.value
        for item in rig.until(600.0)
        if isinstance(item, Reading) and item.tag == "QC" and item.value is not None
    ]
    assert 4.0 == pytest.approx(fmean(flow[:60]), abs=0.05)
    assert {0.0} == set(flow[62:])
