"""Loops, ratios and pressures: the bands of NE 43, the density of sea water, converter chips."""

import doctest
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.sources import convert
from monitor.sources.polled import NoReading
from sources.drivers.stage import build, first, tag
from sources.drivers.worlds import Tree


def test_worked_numbers_in_the_text() -> None:
    """The examples that stand with the formulas hold."""
    assert (0, 2) == tuple(doctest.testmod(convert))


@pytest.mark.parametrize(
    ("milliamperes", "share", "doubt"),
    [
        (4.0, 0.0, ""),
        (12.0, 0.5, ""),
        (20.0, 1.0, ""),
        (3.8, -0.0125, ""),
        (20.5, 1.03125, ""),
        (3.79, -0.013125, "loop uncertain"),
        (3.61, -0.024375, "loop uncertain"),
        (20.51, 1.031875, "loop uncertain"),
        (20.99, 1.061875, "loop uncertain"),
    ],
)
def test_loop_that_measures(milliamperes: float, share: float, doubt: str) -> None:
    """Between 3.8 and 20.5 mA a loop measures; just beyond, the standard leaves it open."""
    found, word = convert.loop_share(milliamperes / 1000.0)
    assert doubt == word
    assert share == pytest.approx(found, abs=1e-9)


@pytest.mark.parametrize(
    ("milliamperes", "problem"),
    [
        (3.6, "loop open or failed"),
        (0.0, "loop open or failed"),
        (-5.0, "loop open or failed"),
        (21.0, "loop short or failed"),
        (22.5, "loop short or failed"),
        (200.0, "loop short or failed"),
    ],
)
def test_loop_that_has_failed(milliamperes: float, problem: str) -> None:
    """At 3.6 mA and below, at 21.0 and above, a loop says failure and never a number."""
    with pytest.raises(NoReading, match=problem):
        convert.loop_share(milliamperes / 1000.0)


@pytest.mark.parametrize(
    ("salinity", "celsius", "reference"),
    [
        (0.0, 5.0, 999.96675),
        (0.0, 25.0, 997.04796),
        (35.0, 5.0, 1027.67547),
        (35.0, 25.0, 1023.34306),
    ],
)
def test_density_against_the_published_table(
    salinity: float, celsius: float, reference: float
) -> None:
    """The table of UNESCO 44 comes out to its last digit."""
    assert reference == pytest.approx(convert.density(salinity, celsius), abs=1e-5)


@pytest.mark.parametrize(
    ("celsius", "reference"),
    [(25.0, 1023.344), (26.0, 1023.035), (28.0, 1022.395), (30.0, 1021.726), (32.0, 1021.028)],
)
def test_density_against_todays_standard(celsius: float, reference: float) -> None:
    """At salinity 35 the density lies within 0.01 kg/m3 of TEOS-10."""
    assert reference == pytest.approx(convert.density(35.0, celsius), abs=0.01)


def test_depth_against_reckoned_pressures() -> None:
    """10,026.3 Pa are a metre of sea water at 28 C; fresh water would read 2.24 % more."""
    sea = convert.depth(10_026.3, convert.density(35.0, 28.0))
    assert 1.0 == pytest.approx(sea, abs=1e-5)
    fresh = convert.depth(10_026.3, 1000.0)
    assert 0.0224 == pytest.approx(fresh / sea - 1.0, abs=1e-4)
    assert 1.0 == convert.depth(9806.65, 1000.0)


@pytest.mark.parametrize(
    ("volts", "supply", "share"),
    [(0.5, 5.0, 0.0), (2.5, 5.0, 0.5), (4.5, 5.0, 1.0), (2.4, 4.8, 0.5), (0.25, 5.0, -0.0625)],
)
def test_ratio_follows_the_supply(volts: float, supply: float, share: float) -> None:
    """The share depends on the ratio of signal and supply, not on the volts."""
    assert share == pytest.approx(convert.ratio_share(volts, supply, 0.1, 0.9), abs=1e-12)


@pytest.mark.parametrize(
    ("volts", "supply"), [(0.2, 5.0), (0.0, 5.0), (-1.0, 5.0), (4.8, 5.0), (5.0, 5.0), (1.0, 0.0)]
)
def test_ratio_of_a_broken_wire(volts: float, supply: float) -> None:
    """A signal at the rails, or a supply that is gone, is no value."""
    with pytest.raises(NoReading, match="sensor open or short"):
        convert.ratio_share(volts, supply, 0.1, 0.9)


@given(st.floats(allow_nan=False))
def test_any_current_is_a_share_or_a_failure(amperes: float) -> None:
    """Whatever current comes in, the share lies within the band of NE 43 or there is none."""
    try:
        share, _ = convert.loop_share(amperes)
    except NoReading as trouble:
        assert trouble.problem in convert.PROBLEMS
    else:
        assert -0.025 <= share <= 1.0625


def test_a_loop_on_a_current_channel(tmp_path: Path) -> None:
    """Where the chip measures the current itself there is no shunt; offset comes before scale."""
    tree = Tree(tmp_path)
    folder = "bus/iio/devices/iio:device3"
    tree.happen(
        {
            "files": {
                f"{folder}/name": "loops\n",
                f"{folder}/in_current1_raw": "-52\n",
                f"{folder}/in_current1_offset": "100\n",
                f"{folder}/in_current_scale": "0.25\n",
            }
        }
    )
    level = tag("L", "level", "loops/current1 sensor=loop low=0 high=40", unit="cm")
    own = tag("A", "current", "loops/current1")
    assert {"L": (20.0, ""), "A": (0.012, "")} == first(build("iio", tree.options, level, own))


def test_scale_of_the_channel_comes_before_that_of_its_kind(tmp_path: Path) -> None:
    """A channel with a scale of its own does not take the common one; a difference is a channel."""
    tree = Tree(tmp_path)
    folder = "bus/iio/devices/iio:device0"
    tree.happen(
        {
            "files": {
                f"{folder}/name": "adc\n",
                f"{folder}/in_voltage_scale": "1.0\n",
                f"{folder}/in_voltage0-voltage1_raw": "800\n",
                f"{folder}/in_voltage0-voltage1_scale": "0.125\n",
                f"{folder}/in_voltage2_raw": "800\n",
            }
        }
    )
    source = build(
        "iio",
        tree.options,
        tag("D", "voltage", "adc/voltage0-voltage1"),
        tag("V", "voltage", "adc/voltage2"),
    )
    assert {"D": (0.1, ""), "V": (0.8, "")} == first(source)


def test_twins_are_told_apart_by_their_place(tmp_path: Path) -> None:
    """Two chips of one name are two chips, whatever their numbers are today."""
    tree = Tree(tmp_path)
    for number, (place, raw) in enumerate((("1-0049", 2), ("1-0048", 1))):
        folder = f"devices/i2c-1/{place}/iio:device{number}"
        tree.happen(
            {
                "files": {f"{folder}/name": "adc\n", f"{folder}/in_voltage0_raw": f"{raw}000\n"},
                "links": {f"bus/iio/devices/iio:device{number}": folder},
            }
        )
    source = build(
        "iio",
        tree.options,
        tag("A", "voltage", "adc@1-0048/voltage0"),
        tag("B", "voltage", "adc@1-0049/voltage0"),
        tag("C", "voltage", "adc/voltage0"),
        tag("D", "voltage", "adc@1-0050/voltage0"),
    )
    assert {
        "A": (1.0, ""),
        "B": (2.0, ""),
        "C": (None, "two of this name"),
        "D": (None, "no answer"),
    } == first(source)
