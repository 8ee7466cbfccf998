"""Simulated nights through the real loop and writer, and what their day table then says."""

from pathlib import Path

import pytest

from monitor.archive import Reader
from monitor.control import RECORD
from monitor.record import DayRow, Missing, Wish, day_table
from monitor.setup import DAY
from monitor.simulator import Story
from monitor.simulator.nights import hold_overrun, night_outage, quiet_day
from record.demo_run import expected, story
from record.nights import keep
from record.test_table import local

pytestmark = pytest.mark.long

MINUTE = 60.0


def row_of(story: Story, state: Path, sample: str = "ostrel-hill", first_event: int = 1) -> DayRow:
    """The row of the day on which a story begins."""
    keep(story, state, sample, first_event)
    with Reader(state / RECORD) as reader:
        return next(day_table(reader, Wish()))


def test_night_outage(tmp_path: Path) -> None:
    """107 min without flow, 652 L not delivered, 26.5 to 26.2 C, event 41 from 01:18 to 04:40."""
    row = row_of(night_outage(), tmp_path, first_event=41)
    assert 12 == row.dph
    hours = (local("2026-10-18T05:00") - local("2026-10-18T00:45")) / 3600.0
    water = row.water
    assert hours * 3600.0 + 5.0 == water.seen
    assert pytest.approx(107 * MINUTE, abs=MINUTE) == water.no_flow
    assert 0.0 == water.no_flow_in_holds
    assert pytest.approx(107 * MINUTE, abs=MINUTE) == water.mains_lost
    due = hours * 6.0 * 60.0 - 652.0
    assert pytest.approx(due / 720.0, rel=0.01) == water.turnovers
    (found,) = row.temperatures
    assert "TW1" == found.tag
    assert pytest.approx(26.36, abs=0.1) == found.mean
    assert pytest.approx(26.2, abs=0.1) == found.low
    assert found.seen == found.in_band
    (event,) = row.events
    assert (41, "urgent", "mains lost/B1") == (event.number, event.grade, event.cause)
    times = (event.first_sign, event.taken, event.on_site, event.proven, event.closed)
    clocks = ("01:18:00", "01:22:00", "02:32:00", "03:32:00", "04:40:00")
    for clock, time in zip(clocks, times, strict=True):
        assert pytest.approx(local(f"2026-10-18T{clock}"), abs=1.0) == time
    assert (8, 0) == (row.night_texts, row.night_texts_failed)
    with Reader(tmp_path / RECORD) as reader:
        of_event = reader.journal(event=41)
    assert {"alarm", "answer", "event", "text"} <= {entry.what for entry in of_event}
    assert ["before the record begins", "after the record ends"] == [
        gap.reason for gap in row.unwatched
    ]


def test_night_outage_on_cheap_sensors(tmp_path: Path) -> None:
    """A cup and no meter: the minutes without flow are there, litres are not measured."""
    row = row_of(night_outage(), tmp_path, "first-night", first_event=41)
    assert "QW" == row.water.by
    assert pytest.approx(107 * MINUTE, abs=MINUTE) == row.water.no_flow
    assert Missing.NOT_MEASURED == row.water.turnovers == row.water.supply_lost


def test_hold_overrun(tmp_path: Path) -> None:
    """A hold of 40 min that lasted 61: 21 min without flow count as outside."""
    row = row_of(hold_overrun(), tmp_path, first_event=17)
    assert pytest.approx(40 * MINUTE, abs=10.0) == row.water.no_flow_in_holds
    assert pytest.approx(21 * MINUTE, abs=MINUTE) == row.water.no_flow


def test_quiet_day(tmp_path: Path) -> None:
    """A whole day with three holds at 2.0 L/min: 11.50 turnovers, within the meter's noise."""
    row = row_of(quiet_day(), tmp_path)
    assert pytest.approx(11.5, rel=0.01) == row.water.turnovers
    assert (0.0, 0.0) == (row.water.no_flow, row.water.no_flow_in_holds)
    assert (DAY, ()) == (row.water.seen, row.unwatched)
    assert () == row.events


def test_a_day_of_the_scenario(tmp_path: Path) -> None:
    """Dph 3 with three holds, one of them 21 min over: 5.41 turnovers, 21 min without flow.

    The whole run of 33 days: tests/benchmarks/whole_run.py.
    """
    keep(story(3, 3), tmp_path, every=10.0)
    with Reader(tmp_path / RECORD) as reader:
        (row,) = day_table(reader, Wish(3, 3))
    plan = expected(3)
    found = next(item for item in row.temperatures if item.tag == "TW1")
    assert pytest.approx(plan.turnovers, abs=0.03) == row.water.turnovers
    assert pytest.approx(plan.no_flow * MINUTE, abs=MINUTE) == row.water.no_flow
    assert pytest.approx(120.0 * MINUTE, abs=MINUTE) == row.held
    for figure, due, tolerance in zip(
        (found.mean, found.low, found.high), plan.water, (0.1, 0.15, 0.15), strict=True
    ):
        assert pytest.approx(due, abs=tolerance) == figure
