"""What the keys come to, in SI, and what is left out where nothing is said."""

import math

import pytest

from config.small import SMALL, spoilt
from monitor.config import load_texts
from monitor.setup import Limit, Setup
from monitor.units import L_PER_MIN


def with_flow(text: str) -> dict[str, Limit]:
    """The limits of the small rig by name, with another [[flow]] block."""
    limits = f'[[flow]]\nline = "S1"\n{text}\n'
    return {item.condition: item for item in load_texts({**SMALL, "limits.toml": limits}, 1).limits}


def l_min(limit: Limit, dph: int) -> float:
    """A limit in L/min."""
    return round(limit.value.at(dph) / L_PER_MIN, 6)


def test_band_of_which_nothing_is_said() -> None:
    """Nothing said means the full protection: 20 percent, half, and none."""
    limits = with_flow("set_l_min = 4.0")
    assert {"flow low": 3.2, "flow high": 4.8, "flow far too low": 2.0, "no flow": 0.5} == {
        name: l_min(item, 0) for name, item in limits.items()
    }
    assert {"flow high": False} == {
        name: item.held_off for name, item in limits.items() if not item.held_off
    }


def test_one_side_of_the_band() -> None:
    """One side said leaves the other out."""
    assert ["flow low", "flow far too low", "no flow"] == list(
        with_flow("set_l_min = 4\nlow_percent = 10")
    )
    assert ["flow high"] == list(
        with_flow("set_l_min = 4\nhigh_percent = 10\nfar_too_low = false\nno_flow = false")
    )


def test_unequal_band() -> None:
    """A band may be wider on one side."""
    limits = with_flow("set_l_min = 4\nband_percent = 10\nhigh_percent = 50")
    assert (3.6, 6.0) == (l_min(limits["flow low"], 0), l_min(limits["flow high"], 0))


def test_small_set_flow() -> None:
    """Where little is due, none is less than half of it, not the usual half a litre."""
    limits = with_flow("set_l_min = [[-9, 0.6], [5, 4.0]]")
    assert (0.3, 0.5) == (l_min(limits["no flow"], 0), l_min(limits["no flow"], 5))


def test_still_water_is_legal() -> None:
    """A set flow of 0 is never too low; flow that runs all the same is too high."""
    limits = with_flow("set_l_min = [[-9, 0.0], [5, 4.0]]")
    for name in ("flow low", "flow far too low", "no flow"):
        assert not 0.0 < l_min(limits[name], 0)
    assert 0.5 == l_min(limits["flow high"], 0)
    assert 3.2 == l_min(limits["flow low"], 5)


def test_deadband_of_a_flow_is_a_share() -> None:
    """The deadband is a share of the smallest set flow."""
    limits = with_flow("set_l_min = [[-9, 3.0], [5, 4.0]]\ndeadband_percent = 10")
    assert 0.3 == pytest.approx(limits["flow low"].deadband / L_PER_MIN, rel=1e-12)


def one_limit(tag: str, limit: str) -> tuple[Setup, Limit]:
    """A thermometer in the header, with one limit."""
    rig = SMALL["rig.toml"] + f'[[tag]]\nid = "T"\nof = "HD1"\nsource = "src"\n{tag}\n'
    limits = f'[[limit]]\ncondition = "c"\ntag = "T"\non_delay_s = 5\ngrade = "notice"\n{limit}\n'
    setup = load_texts({**SMALL, "rig.toml": rig, "limits.toml": limits}, 1)
    return setup, setup.limits[-1]


def test_fahrenheit() -> None:
    """A value is converted with its offset, a difference without."""
    setup, limit = one_limit(
        'measures = "temperature"\nunit = "F"\nsensor_range = [14, 212]\nmax_step = 1.8\n'
        "max_rate_per_s = 0.18\nspike = [0.9, 1.8]\nzero = 0.5\nquantum = 0.1\n"
        "start_up_values = [185]",
        'side = "high"\nvalue = 80.6\ndeadband = 0.36',
    )
    tag = setup.rig.tag["T"]
    assert 27.0 == pytest.approx(limit.value.at(None), rel=1e-12)
    assert 0.2 == pytest.approx(limit.deadband, rel=1e-12)
    assert (-10.0, 100.0) == pytest.approx(tag.sensor_range, rel=1e-12)
    assert (1.0, 0.1) == pytest.approx((tag.max_step, tag.max_rate), rel=1e-12)
    assert (0.5, 1.0) == pytest.approx(tag.spike, rel=1e-12)
    assert (0.5, 0.1, (185.0,)) == (tag.zero, tag.quantum, tag.start_up_values)


def test_off_at_some_ages() -> None:
    """A limit may be left out at some ages, on either side."""
    for side, never in (("low", -math.inf), ("high", math.inf)):
        _, limit = one_limit(
            'measures = "temperature"\nunit = "C"',
            f'side = "{side}"\nby_dph = [[-9, 5.0], [5, "off"], [7, 6]]',
        )
        assert [5.0, 5.0, never, 6.0] == [limit.value.at(dph) for dph in (-20, 4, 5, 7)]


def test_delays_in_both_units() -> None:
    """A delay may be given in seconds or in minutes."""
    texts = spoilt("limits.toml", "mains_off_s = 10", "mains_off_s = 30\nsame_event_min = 90")
    delays = load_texts(texts, 1).delays
    assert (30.0, 5400.0, 60.0) == (delays.mains_off, delays.same_event, delays.supply_lost_text)


def test_delay_of_no_flow() -> None:
    """The delay of "no flow" holds for every line that says nothing else."""
    texts = spoilt("limits.toml", "mains_off_s = 10", "no_flow_s = 90")
    found = {item.condition: item.on_delay for item in load_texts(texts, 1).limits}
    assert 90.0 == found["no flow"]
    assert 60.0 == with_flow("set_l_min = 4\nno_flow_after_min = 1")["no flow"].on_delay


def test_call_order_in_minutes() -> None:
    """The times of the call order are a rising list."""
    texts = spoilt("limits.toml", "mains_off_s = 10", "call_after_min = [3, 6.5]")
    assert (180.0, 390.0) == load_texts(texts, 1).delays.call_after


def test_dates_with_and_without_quotes() -> None:
    """Days and times may be written with or without quotes, with a space or a T."""
    for new in ("2026-10-03 18:00:00", "2026-10-03T18:00:00", '"2026-10-03T18:00"'):
        texts = spoilt("duty.toml", '"2026-10-03 18:00"', new)
        assert load_texts(SMALL, 1).duty == load_texts(texts, 1).duty
    texts = spoilt("run.toml", "hatch = 2026-10-06", 'hatch = "2026-10-06"')
    assert load_texts(SMALL, 1).run == load_texts(texts, 1).run


@pytest.mark.parametrize(
    ("local", "hour"),
    [
        ("2026-11-01 01:30", 1.5 + 5),  # occurs twice: the first
        ("2027-03-14 02:30", 2.5 + 6),  # does not exist: the offset before the gap
    ],
)
def test_turn_at_a_change_of_clocks(local: str, hour: float) -> None:
    """A time that occurs twice is its first; one that does not exist counts on (RFC 5545)."""
    text = SMALL["duty.toml"].replace("2026-10-03 18:00", local).replace("2026-10-04", "2027-10-04")
    (turn,) = load_texts({**SMALL, "duty.toml": text}, 1).duty.turns
    assert hour * 3600.0 == turn.start % 86_400.0


def test_what_is_left_out() -> None:
    """Left out, a tag reads every 10 s and is silent after 60; day is as night; no run is known."""
    setup = load_texts({name: text for name, text in SMALL.items() if name != "run.toml"}, 1)
    tag, person = setup.rig.tag["QL"], setup.person["tavrin"]
    assert (10.0, 60.0, 1.0, 1) == (tag.every, tag.stale, tag.gain, tag.median)
    assert (1800.0, 1800.0) == (person.night, person.day)
    assert setup.run is None
    assert 9 * 3600.0 == setup.owed_by


def test_options_keep_their_order_and_kind() -> None:
    """What belongs to a kind is handed on as it stands, lists as tuples."""
    texts = spoilt(
        "channels.toml", 'host = "mail.example.org"', 'b = [1, "x"]\na = 2.5\nhost = "h"'
    )
    assert (("b", (1, "x")), ("a", 2.5), ("host", "h"), ("sender", "watch@example.org")) == (
        load_texts(texts, 1).channels[0].options
    )


def test_set_up_in_force_is_told_apart_by_version() -> None:
    """The version given is the version of the set-up."""
    assert load_texts(SMALL, 1) != load_texts(SMALL, 2)
