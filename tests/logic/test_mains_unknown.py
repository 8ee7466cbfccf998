"""A supply of power that said "on battery" and then has only old data: mains is not known."""

from logic.play import sample, watch, with_tags
from monitor.inputs import Moment, Reading

SETUP = with_tags(sample("first-night"), "MP")


def test_stale_data_after_battery_never_mean_that_mains_is_back() -> None:
    """Mains stays lost, witnesses nothing, and its sensor is faulty by the word of the driver."""
    origin = Moment(1, 1000.0, 1_792_285_200.0)
    under = watch(SETUP, origin)
    said: list[tuple[int, float | None, str]] = [(at, 1.0, "") for at in range(60)]
    said += [(at, 0.0, "") for at in range(60, 180)]
    said += [(at, None, "data stale") for at in range(180, 600)]
    readings = [Reading("MP", under.now(1000.0 + at), value, word) for at, value, word in said]
    under.feed(readings, 1600.0)

    conditions = under.state.running.conditions
    (mains,) = [name for name in conditions if name.startswith("mains lost/")]
    assert conditions[mains].truth
    state = under.state.running.tags["MP"]
    assert "data stale" == state.fault
    assert state.bad_run >= 3
    assert "sensor faulty/MP" in conditions
    assert [] == [row for row in under.rows if (row.subject, row.state) == (mains, "false")]
