"""Flow from pulses: arithmetic of a turbine, wraps, and what a count cannot be."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.sources.polled import NoReading
from monitor.sources.pulses import PulseFlow, PulseKeys
from sources.drivers.stage import StageClock, build, listen, tag
from sources.drivers.worlds import Tree

QL = tag("QL", "flow", "", every=1.0, unit="L/min")


@pytest.mark.parametrize(
    ("seconds", "pulses", "flow"),
    [(1.0, 75, 10.0), (1.0, 1, 0.133), (5.0, 1, 0.0267), (10.0, 1, 0.0133), (60.0, 1, 0.0022)],
)
def test_turbine_of_450_pulses_a_litre(seconds: float, pulses: int, flow: float) -> None:
    """75 pulses a second are 10 L/min, and one pulse is the step of the figure."""
    meter = PulseFlow(tag("Q", "flow", "", every=seconds), PulseKeys(450.0))
    assert meter.flow(0.0, 1000) is None
    assert flow == pytest.approx(meter.flow(seconds, 1000 + pulses), rel=0.03)


def test_the_gate_means_over_its_seconds() -> None:
    """With a gate of 10 s a reading each second is the mean of the last ten."""
    meter = PulseFlow(QL, PulseKeys(450.0, gate_s=10.0))
    found = [meter.flow(float(s), 45 * s if s < 20 else 900) for s in range(31)]
    assert [None, 6.0, 6.0] == found[:3]
    assert 6.0 == found[19]
    assert [3.6, 3.0, 2.4, 1.8, 1.2, 0.6, 0.0] == found[24:31]


def test_below_its_start_a_turbine_says_nothing() -> None:
    """A flow below the least one that the turbine can turn in counts as none."""
    meter = PulseFlow(QL, PulseKeys(450.0, zero_below=1.0))
    assert [None, 1.2, 0.0, 0.0] == [
        meter.flow(float(s), count) for s, count in enumerate((0, 9, 16, 16))
    ]


def test_a_gap_is_not_averaged_over() -> None:
    """After a long silence the first count only begins anew; the pulses between tell no flow."""
    meter = PulseFlow(QL, PulseKeys(450.0))
    assert [None, 6.0] == [meter.flow(0.0, 0), meter.flow(1.0, 45)]
    assert meter.flow(600.0, 4000) is None
    assert 6.0 == meter.flow(601.0, 4045)


def test_one_missed_reading_is_averaged_over() -> None:
    """A single read that failed costs no pulse: the next is the mean over both."""
    meter = PulseFlow(QL, PulseKeys(450.0))
    assert [None, 6.0] == [meter.flow(0.0, 0), meter.flow(2.0, 90)]


@given(
    st.sampled_from([255, 65_535, 2**32 - 1]),
    st.integers(0, 2**32),
    st.lists(st.integers(0, 100), min_size=1, max_size=30),
)
def test_wraps_cost_no_pulse(ceiling: int, begin: int, steps: list[int]) -> None:
    """Over any number of wraps the flow is that of the true pulses."""
    meter = PulseFlow(QL, PulseKeys(1.0))
    total = begin
    meter.flow(0.0, total % (ceiling + 1), ceiling)
    for second, step in enumerate(steps, 1):
        total += step
        found = meter.flow(float(second), total % (ceiling + 1), ceiling)
        assert 60.0 * step == pytest.approx(found)


@pytest.mark.parametrize(
    ("before", "after", "ceiling"),
    [(5000, 0, 2**32 - 1), (5000, 0, None), (100, 90, None), (40_000, 10_000, 65_535)],
)
def test_a_counter_that_was_set_back(before: int, after: int, ceiling: int | None) -> None:
    """A count that falls without a wrap to explain it is no flow, and the next reading is."""
    meter = PulseFlow(QL, PulseKeys(450.0))
    meter.flow(0.0, before, ceiling)
    with pytest.raises(NoReading, match="counter set back"):
        meter.flow(1.0, after, ceiling)
    assert 6.0 == meter.flow(2.0, after + 45, ceiling)


def test_a_gate_begins_anew_after_a_counter_was_set_back() -> None:
    """The mean after a set-back is over what was counted since, not over the lost pulses too."""
    meter = PulseFlow(QL, PulseKeys(450.0, gate_s=10.0))
    for second in range(5):
        meter.flow(float(second), 1000 + 45 * second)
    with pytest.raises(NoReading, match="counter set back"):
        meter.flow(5.0, 0)
    assert 3.0 == meter.flow(7.0, 45)


@given(
    st.lists(st.tuples(st.floats(0.0, 100.0), st.integers(-(2**70), 2**70)), max_size=20),
    st.one_of(st.none(), st.integers(-5, 2**64)),
)
def test_any_counts_are_outlived(counts: list[tuple[float, int]], ceiling: int | None) -> None:
    """Whatever a counter shows, there is a flow that is not negative, none yet, or a word."""
    meter = PulseFlow(QL, PulseKeys(450.0, gate_s=5.0))
    at = 0.0
    for seconds, count in counts:
        at += seconds
        try:
            flow = meter.flow(at, count, ceiling)
        except NoReading as trouble:
            assert "counter set back" == trouble.problem
        else:
            assert flow is None or flow >= 0.0


def test_two_tags_of_one_counter_keep_apart(tmp_path: Path) -> None:
    """A quick and a calm tag of one turbine each compare with their own last counts."""
    tree = Tree(tmp_path)
    folder = "bus/counter/devices/counter0"
    clock = StageClock(21.0)
    tree.happen({"files": {f"{folder}/name": "pulses"}})
    for s in range(21):
        count = str(45 * s)
        clock.plan(
            s - 0.5,
            lambda count=count: tree.happen({"files": {f"{folder}/count0/count": count}}),  # type: ignore[misc]
        )
    address = "pulses/count0 pulses_per_litre=450"
    source = build(
        "counter", tree.options, tag("A", "flow", address, 1.0), tag("B", "flow", address, 10.0)
    )
    heard = listen(source, clock)
    assert {6.0} == {value for _, name, value, _ in heard if name == "A"}
    assert [(10.0, 6.0), (20.0, 6.0)] == [(s, value) for s, name, value, _ in heard if name == "B"]
