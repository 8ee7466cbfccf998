"""The sample folders: what people copy first has to be right."""

from dataclasses import fields
from datetime import UTC, date, datetime

import pytest

from config.small import SAMPLES
from monitor.channels import CHANNELS
from monitor.config import load, load_texts, snapshot
from monitor.config.keys import CHANNEL_KINDS
from monitor.logic.duty import order_at
from monitor.logic.state import Durable
from monitor.setup import Delays, Limit, Setup
from monitor.units import L_PER_MIN, LITRE

NAMES = sorted(path.name for path in SAMPLES.iterdir())


@pytest.fixture(scope="module")
def ostrel() -> Setup:
    """The full demo rig."""
    return load(SAMPLES / "ostrel-hill")


@pytest.fixture(scope="module")
def first_night() -> Setup:
    """The rig with the cheap set of sensors."""
    return load(SAMPLES / "first-night")


def limit(setup: Setup, condition: str, step: str = "", tag: str = "") -> Limit:
    """The one limit of a name."""
    (found,) = [
        item
        for item in setup.limits
        if (item.condition, item.step) == (condition, step) and tag in ("", item.tag)
    ]
    return found


@pytest.mark.parametrize("name", NAMES)
def test_sample_loads(name: str) -> None:
    """Every sample folder loads, and its snapshot gives the same set-up."""
    setup = load(SAMPLES / name, 7)
    assert 7 == setup.version
    assert setup == load_texts(snapshot(SAMPLES / name), 7)


@pytest.mark.parametrize("name", NAMES)
def test_sample_has_short_lines_and_remarks(name: str) -> None:
    """Each file of a sample begins with what it is, and fits a screen."""
    for path in (SAMPLES / name).iterdir():
        lines = path.read_text(encoding="utf-8").splitlines()
        assert lines[0].startswith("# ")
        assert max(map(len, lines)) <= 100


def test_samples_are_these() -> None:
    """The rigs that tests, drills and replays name, and the listener, are there."""
    expected = ["first-night", "listener", "loop-recording", "loop-watched", "ostrel-hill"]
    assert expected == NAMES


def test_mains_come_with_a_caution() -> None:
    """Wherever a sample senses mains it says how, and who may open a cover."""
    for path in SAMPLES.glob("*/rig.toml"):
        text = " ".join(path.read_text(encoding="utf-8").replace("#", " ").split())
        if '"mains"' in text:
            assert "listed plug-in low-voltage adapter" in text
            assert "through an isolator" in text
            assert "licensed electrician" in text


def test_ostrel_tags(ostrel: Setup) -> None:
    """The demo rig has its 17 tags, each where it belongs, in SI."""
    wanted = "MP MA MC QS QL LH LHf LT LS TW1 TW2 TR TO PA LX FL BAT"
    assert wanted.split() == [tag.id for tag in ostrel.rig.tags]
    level = ostrel.rig.tag["LH"]
    assert ("level", "HD1", "cm", 5.0, 60.0) == (
        level.measures, level.of, level.unit.name, level.every, level.stale,
    )  # fmt: skip
    assert (0.01, 0.0005) == (level.max_step, level.max_rate)
    assert (0.0, 0.46) == level.sensor_range
    tank = ostrel.rig.tag["LT"]
    assert (0.01, 0.0005) == pytest.approx((tank.max_step, tank.max_rate), rel=1e-12)
    assert 0.28 == pytest.approx(ostrel.rig.tag["LHf"].height, rel=1e-12)
    assert (85.0, -127.0, 0.0) == ostrel.rig.tag["TW1"].start_up_values
    assert 300.0 == ostrel.rig.tag["TW1"].stale
    assert 180.0 == ostrel.rig.tag["BAT"].stale


def test_ostrel_water(ostrel: Setup) -> None:
    """Vessels and lines carry the figures of the rig sheet, in SI."""
    header, siphon = ostrel.rig.vessel["HD1"], ostrel.rig.line["S1"]
    assert (0.49, 0.38, 0.46, 0.1862) == pytest.approx(
        (header.area, header.lip, header.rim, header.volume), rel=1e-12
    )
    assert 720 * LITRE == ostrel.rig.vessel["LT1"].volume
    assert (0.013, 1.05, 0.12) == pytest.approx(
        (siphon.bore, siphon.head, siphon.break_level), rel=1e-12
    )
    assert siphon.drain_test is not None
    assert (6.0 * L_PER_MIN, 22.7 * 60.0) == (
        siphon.drain_test.flow, siphon.drain_test.endurance,
    )  # fmt: skip
    pump = ostrel.rig.line["P1"]
    assert (9.0 * L_PER_MIN, "B1", "SU1", "HD1") == (
        pump.pump_flow, pump.circuit, pump.source, pump.target,
    )  # fmt: skip


def test_ostrel_flow_band(ostrel: Setup) -> None:
    """The limits sheet of the run: band, half and none of the set flow by age."""
    cases = {
        "flow low": (2.4, 3.6, 4.8, "high", 300.0, "low"),
        "flow high": (3.6, 5.4, 7.2, "high", 300.0, "high"),
        "flow far too low": (1.5, 2.25, 3.0, "urgent", 600.0, "low"),
        "no flow": (0.5, 0.5, 0.5, "urgent", 180.0, "low"),
    }
    for name, (eggs, middle, late, grade, delay, side) in cases.items():
        found = limit(ostrel, name)
        values = [found.value.at(dph) / L_PER_MIN for dph in (None, -9, 4, 5, 9, 10, 30)]
        assert [eggs, eggs, eggs, middle, middle, late, late] == pytest.approx(values, rel=1e-9)
        assert (grade, delay, side, side == "low", "QL") == (
            found.grade, found.on_delay, found.side, found.held_off, found.tag,
        )  # fmt: skip
        assert found.first_action


@pytest.mark.parametrize(
    ("name", "step", "tag", "value", "grade", "delay"),
    [
        ("header low", "warn", "LH", 0.36, "high", 15),
        ("header low", "alarm", "LH", 0.345, "urgent", 15),
        ("header low", "float", "LHf", 0.5, "urgent", 15),
        ("header high", "warn", "LH", 0.40, "high", 30),
        ("header high", "alarm", "LH", 0.42, "urgent", 30),
        ("tank high", "warn", "LT", 0.015, "high", 60),
        ("tank high", "alarm", "LT", 0.030, "urgent", 60),
        ("tank low", "", "LT", -0.015, "high", 600),
        ("sump low", "warn", "LS", 0.30, "notice", 600),
        ("sump low", "alarm", "LS", 0.27, "urgent", 600),
        ("sump high", "warn", "LS", 0.345, "notice", 600),
        ("sump high", "alarm", "LS", 0.36, "high", 600),
        ("temperature high", "warn", "TW1", 27.3, "notice", 120),
        ("temperature high", "alarm", "TW1", 28.0, "high", 120),
        ("temperature high", "urgent", "TW1", 29.0, "urgent", 120),
        ("temperature low", "warn", "TW1", 25.7, "notice", 300),
        ("temperature low", "alarm", "TW1", 25.0, "high", 300),
        ("room warm", "warn", "TR", 30.0, "notice", 600),
        ("room warm", "alarm", "TR", 34.0, "high", 600),
        ("air low", "alarm", "PA", 5000.0, "high", 120),
        ("air high", "", "PA", 17000.0, "notice", 600),
        ("floor wet", "", "FL", 0.5, "urgent", 5),
    ],
)
def test_ostrel_limits(
    ostrel: Setup, name: str, step: str, tag: str, value: float, grade: str, delay: float
) -> None:
    """The limits sheet of the run, line by line."""
    found = limit(ostrel, name, step, tag)
    assert value == pytest.approx(found.value.at(3), rel=1e-12)
    assert (grade, delay) == (found.grade, found.on_delay)


def test_air_is_urgent_to_dph_4(ostrel: Setup) -> None:
    """With eggs in the tank and to dph 4 low air is urgent, later it is not."""
    urgent = limit(ostrel, "air low", "urgent")
    assert "urgent" == urgent.grade
    assert [5000.0, 5000.0] == [urgent.value.at(dph) for dph in (-3, 4)]
    assert not 0.0 < urgent.value.at(5)


def test_urgent_and_high_say_what_to_do(ostrel: Setup, first_night: Setup) -> None:
    """Every limit that calls somebody names the first action, in plain letters."""
    for item in (*ostrel.limits, *first_night.limits):
        assert (item.grade in ("high", "urgent")) <= bool(item.first_action)
        assert item.first_action.isascii()


def test_ostrel_run_and_hours(ostrel: Setup) -> None:
    """Run, quiet hours and delays are those of the scenario."""
    assert ostrel.run is not None
    assert ("OH-07", "LT1", date(2026, 10, 6), True, 0) == (
        ostrel.run.id, ostrel.run.tank, ostrel.run.hatch, ostrel.run.watch_set,
        ostrel.run.hatch_day,
    )  # fmt: skip
    assert (21 * 3600.0, 7 * 3600.0) == ostrel.quiet
    assert 9 * 3600.0 == ostrel.owed_by
    assert Delays() == ostrel.delays


def test_remarks_on_delays_are_true() -> None:
    """The delays that stand in the sample as remarks are the ones that hold."""
    text = (SAMPLES / "ostrel-hill" / "limits.toml").read_text(encoding="utf-8")
    block = text[text.index("[delays]") : text.index("# ------")]
    given = "\n".join(line.removeprefix("# ") for line in block.splitlines())
    texts = snapshot(SAMPLES / "loop-recording")
    texts["limits.toml"] += given
    assert Delays() == load_texts(texts, 1).delays
    for item in fields(Delays):
        assert f"# {item.name}_" in block


@pytest.mark.parametrize(
    ("local", "order"),
    [
        ("2026-10-03 09:29", "tavrin oskel lendow"),  # before the first turn: the standing order
        ("2026-10-03 09:30", "oskel tavrin lendow"),
        ("2026-10-10 10:20", "oskel tavrin lendow"),
        ("2026-10-13 03:00", "tavrin oskel"),
        ("2026-10-16 18:05", "oskel tavrin"),
        ("2026-10-17 00:10", "oskel tavrin lendow"),
        ("2026-10-18 01:19", "tavrin oskel lendow"),
        ("2026-10-23 15:12", "tavrin oskel lendow"),
        ("2026-10-24 12:40", "korrin oskel lendow"),
        ("2026-10-26 18:23", "tavrin oskel lendow"),
        ("2026-10-29 02:51", "tavrin oskel lendow"),
        ("2026-10-29 18:00", "oskel tavrin lendow"),
        ("2026-11-01 03:00", "oskel tavrin lendow"),
        ("2026-11-05 18:00", "tavrin oskel lendow"),
    ],
)
def test_ostrel_duty(ostrel: Setup, local: str, order: str) -> None:
    """Who is called, at the times of the scenario."""
    at = datetime.fromisoformat(local).replace(tzinfo=ostrel.zone).astimezone(UTC).timestamp()
    assert tuple(order.split()) == order_at(ostrel, Durable(), at)


def test_weekend_of_the_clock_change_has_an_hour_more(ostrel: Setup) -> None:
    """Turns are kept in UTC: 72 hours by the wall clock are 73 when the clocks go back."""
    turn = ostrel.duty.turns[-2]
    assert 73 * 3600.0 == turn.end - turn.start


def test_ostrel_people(ostrel: Setup) -> None:
    """Times to the door, plain phone numbers, and a veterinarian who is never called."""
    assert [1800.0, 2100.0, 3000.0, 3600.0] == [person.night for person in ostrel.people[:4]]
    assert "+19405550141" == ostrel.person["tavrin"].phone
    assert () == ostrel.person["amberlis"].channels
    assert ["folder"] == [channel.kind for channel in ostrel.channels]


def test_first_night_set(first_night: Setup) -> None:
    """Six sensors, no header level, flow by bucket, and a drain test to reckon with."""
    assert ["MP", "LHf", "QW", "TW1", "TR", "FL"] == [tag.id for tag in first_night.rig.tags]
    assert first_night.rig.tag_for("level", "HD1") is None
    test = first_night.rig.line["S1"].drain_test
    assert test is not None
    assert (22.7 * 60.0, 15.5 * 60.0) == (test.endurance, test.float_to_break)
    assert 0.293 == pytest.approx(first_night.rig.tag["LHf"].height, rel=1e-12)
    assert "bucket 17 Oct" == first_night.flow_due["S1"].known_by


def test_first_night_flow_limit(first_night: Setup) -> None:
    """Without a meter the band cannot be seen; the witness still sees that nothing runs."""
    flows = [item for item in first_night.limits if "flow" in item.condition]
    assert [("no flow", "QW", 0.5, 180.0, True)] == [
        (item.condition, item.tag, item.value.at(10), item.on_delay, item.held_off)
        for item in flows
    ]


def test_loop_recording() -> None:
    """One meter on a loop, one low limit of the band, and a thermometer that keeps quiet at 30."""
    setup = load(SAMPLES / "loop-recording")
    flow = limit(setup, "flow low")
    assert ["flow low", "temperature high", "temperature low"] == [
        item.condition for item in setup.limits
    ]
    assert 0.8 * 125.7 == pytest.approx(flow.value.at(None) / L_PER_MIN, rel=1e-12)
    assert (10.0, 15.0, 0.0) == (flow.on_delay, flow.off_delay, flow.deadband)
    assert 5 == setup.rig.tag["LF"].median
    assert "siphon" not in flow.first_action
    high, low = limit(setup, "temperature high"), limit(setup, "temperature low")
    assert low.value.at(None) < 30.0 < high.value.at(None)
    assert setup.run is None
    assert "korrin@example.org" == setup.person["korrin"].mail


def test_kinds_of_channels_are_those_there_are() -> None:
    """The configuration knows just the kinds of channel that can be built."""
    assert set(CHANNELS) == set(CHANNEL_KINDS)


@pytest.mark.parametrize("name", NAMES)
def test_channels_of_samples_can_be_built(name: str) -> None:
    """The options in the samples are those the channels take."""
    for channel in load(SAMPLES / name).channels:
        assert channel.id == CHANNELS[channel.kind](channel, {}).id


def test_samples_name_invented_addresses_only() -> None:
    """Every mail address is one of those kept for examples."""
    for path in SAMPLES.glob("*/*.toml"):
        text = path.read_text(encoding="utf-8")
        for address in [word for word in text.split() if "@" in word]:
            assert "example.org" in address
