"""One day of a run, reckoned by hand: turnovers, temperature, degree-days, flow, gaps."""

from dataclasses import replace
from datetime import date

import pytest

from monitor.record.days import day_row
from monitor.record.frame import Force
from monitor.record.rows import Gap, Missing
from monitor.record.spans import Span
from monitor.setup import Profile
from monitor.units import L_PER_MIN
from record.small import (
    FLOW,
    LONG,
    MAINS,
    ORDINARY,
    RIG,
    SETUP,
    SHORT,
    TANK,
    WATER,
    WITNESS,
    each_minute,
    frame_of,
    reader_of,
    readings_each_minute,
    row_of,
    with_tags,
)

HOUR = 3600.0
SIX = 6.0 * L_PER_MIN
TWO = 2.0 * L_PER_MIN


@pytest.mark.parametrize(
    ("day", "hours", "turnovers"), [(ORDINARY, 24, 12.0), (LONG, 25, 12.5), (SHORT, 23, 11.5)]
)
def test_a_day_without_holds(day: date, hours: int, turnovers: float) -> None:
    """6.0 L/min into 720 L is half a turnover an hour, over the real hours of the day."""
    row = row_of(frame_of(day), QL=[(hours, SIX)], TW1=[(hours, 26.5)])
    assert hours * HOUR == row.length
    assert pytest.approx(turnovers) == row.water.turnovers
    assert pytest.approx(hours * 0.36) == row.water.delivered
    assert (0.0, 0.0, hours * HOUR) == (
        row.water.no_flow,
        row.water.no_flow_in_holds,
        row.water.seen,
    )


@pytest.mark.parametrize(("day", "hours"), [(ORDINARY, 24), (LONG, 25), (SHORT, 23)])
def test_degree_days_count_real_hours(day: date, hours: int) -> None:
    """A day at 26.0 C has 26 degree-days over 0 and 14 over 12; 25 h count for 25/24 of that.

    Vectors: 30 days at 26 C are 780 over 0 and 420 over 12 (mean over base, summed over days, as
    in Kamler 2002, Rev. Fish Biol. Fish. 12:79).
    """
    for base, of_30_days in ((0.0, 780.0), (12.0, 420.0)):
        row = row_of(replace(frame_of(day), base=base), TW1=[(hours, 26.0)])
        assert pytest.approx(of_30_days / 30 * hours / 24) == row.temperatures[0].degree_days


def test_water_colder_than_the_base_has_no_degree_days() -> None:
    """Development does not run backwards below the base."""
    row = row_of(replace(frame_of(ORDINARY), base=12.0), TW1=[(24, 10.0)])
    assert 0.0 == row.temperatures[0].degree_days


def test_the_sum_over_a_month_with_a_clock_change_is_by_the_clock_on_no_wall() -> None:
    """31 days at 20 C around 1 Nov 2026 have 31 * 24 + 1 hours of degree-days over base 10."""
    total = 0.0
    for number in range(31):
        frame = replace(frame_of(date.fromordinal(date(2026, 10, 20).toordinal() + number)))
        hours = (frame.span.end - frame.span.start) / HOUR
        row = row_of(replace(frame, base=10.0), TW1=[(hours, 20.0)])
        assert isinstance(row.temperatures[0].degree_days, float)
        total += row.temperatures[0].degree_days
    assert pytest.approx(10.0 * (31 * 24 + 1) / 24) == total


def test_temperature_is_weighted_by_time_and_counts_the_band() -> None:
    """6 h at 25.0 (under 25.7), 12 h at 26.5, 6 h at 28.0 (over 27.3)."""
    row = row_of(frame_of(ORDINARY), TW1=[(6, 25.0), (12, 26.5), (6, 28.0)])
    (found,) = row.temperatures
    assert (25.0, 28.0) == (found.low, found.high)
    assert pytest.approx(26.5) == found.mean
    assert 12 * HOUR == found.in_band


def test_the_band_is_that_of_the_sheet_in_force() -> None:
    """A new sheet at noon, with 26.0 as its upper warning, has 26.5 out of the band from then."""
    frame = frame_of(ORDINARY)
    noon = frame.span.start + 12 * HOUR
    low, high = SETUP.limits
    narrow = replace(high, value=Profile.constant(26.0))
    later = replace(SETUP, version=2, limits=(low, narrow), worked_out={})
    forces = (Force(Span(frame.span.start, noon), SETUP), Force(Span(noon, frame.span.end), later))
    row = row_of(replace(frame, forces=forces), TW1=[(24, 26.5)])
    assert 12 * HOUR == row.temperatures[0].in_band


def test_a_band_that_changes_with_age_at_an_hour() -> None:
    """From dph 21 on, at 10:00, the upper warning is 26.0: ten hours of 26.5 are in band."""
    low, high = SETUP.limits
    stepped = replace(high, value=Profile(((-9, 27.3), (21, 26.0)), changes_at=10 * HOUR))
    setup = replace(SETUP, limits=(low, stepped), worked_out={})
    row = row_of(frame_of(ORDINARY, setup), TW1=[(24, 26.5)])
    assert 21 == row.dph
    assert 10 * HOUR == row.temperatures[0].in_band


def test_one_side_of_a_band_is_enough_and_none_is_said() -> None:
    """Without a warning the band says so; with the lower alone, warm water is in band."""
    for limits, expected in (((), Missing.NO_LIMIT), (SETUP.limits[:1], 24 * HOUR)):
        setup = replace(SETUP, limits=limits, worked_out={})
        row = row_of(frame_of(ORDINARY, setup), TW1=[(24, 30.0)])
        assert expected == row.temperatures[0].in_band


def test_missing_hours_are_not_filled() -> None:
    """10 h without readings: sums cover 14 h, and the gap stands with its times and reason."""
    frame = frame_of(ORDINARY)
    parts: list[tuple[float, float | None]] = [(8, SIX), (10, None), (6, SIX)]
    row = row_of(frame, QL=parts, TW1=[(8, 26.0), (10, None), (6, 27.0)])
    start = frame.span.start
    assert 14 * HOUR == row.water.seen
    assert pytest.approx(7.0) == row.water.turnovers
    (found,) = row.temperatures
    assert pytest.approx((8 * 26.0 + 6 * 27.0) / 14) == found.mean
    assert pytest.approx((8 * 26.0 + 6 * 27.0) / 24) == found.degree_days
    (gap,) = row.unwatched
    assert Span(start + 8 * HOUR, start + 18 * HOUR) == gap.span
    assert "not observed, watch not running" == gap.reason
    cover = {item.tag: item for item in row.coverage}["QL"]
    assert (14 * HOUR, 1440, 840, 0, (gap,)) == (
        cover.seen,
        cover.due,
        cover.got,
        cover.unusable,
        cover.gaps,
    )


def test_a_gap_of_one_tag_is_its_own() -> None:
    """While another tag is read, a silent one has no reading: the watch was running."""
    row = row_of(frame_of(ORDINARY), QL=[(4, SIX), (1, None), (19, SIX)], TW1=[(24, 26.0)])
    assert () == row.unwatched
    gaps = {item.tag: item.gaps for item in row.coverage}
    assert ["no reading of this tag"] == [gap.reason for gap in gaps["QL"]]
    assert () == gaps["TW1"]


def test_readings_that_cannot_be_used_are_named_as_the_reason() -> None:
    """An hour of bad readings is a gap, and they are counted."""
    frame = frame_of(ORDINARY)
    times, values = readings_each_minute(frame, [(24, 26.0)])
    bad = [None if 60 <= i < 120 else value for i, value in enumerate(values)]
    read = reader_of({"TW1": (times, bad), "QL": each_minute(frame, [(24, SIX)])})
    row = day_row(frame, read)
    cover = {item.tag: item for item in row.coverage}["TW1"]
    assert (1380, 60) == (cover.got, cover.unusable)
    assert ["readings not usable"] == [gap.reason for gap in cover.gaps]
    assert 26.0 == row.temperatures[0].mean


def test_readings_beside_the_day_are_not_of_it() -> None:
    """What is read along on both sides of the day is counted neither as got nor as unusable."""
    frame = frame_of(ORDINARY)
    start, end = frame.span
    times = [start - 60.0, start, end - 60.0, end, end + 60.0]
    row = day_row(frame, reader_of({"TW1": (times, [None, 26.0, None, None, 26.0])}))
    cover = {item.tag: item for item in row.coverage}["TW1"]
    assert (1, 1) == (cover.got, cover.unusable)


def test_the_watch_stops_for_all_tags_at_once() -> None:
    """A quick tag, whose last reading stands shorter than that of a slow one, has one gap only."""
    frame = frame_of(ORDINARY, with_tags(replace(FLOW, every=1.0), WATER))
    start, end = frame.span
    quick = [start + second for second in range(30)]
    read = reader_of({"QL": (quick, [SIX] * 30), "TW1": ([start], [26.0])})
    row = day_row(frame, read)
    gaps = {item.tag: item.gaps for item in row.coverage}
    why = "not observed, watch not running"
    assert (Gap(Span(start + 30.0, end), why, general=True),) == gaps["QL"]
    assert (Gap(Span(start + 60.0, end), why, general=True),) == gaps["TW1"] == row.unwatched


def test_silence_that_the_watch_itself_noted_is_not_its_own() -> None:
    """With every tag silent, a note of the watch in between shows that it ran."""
    frame = frame_of(ORDINARY)
    noted = replace(frame, silences=(frame.span.start + 5 * HOUR,))
    row = row_of(noted, QL=[(4, SIX), (2, None), (18, SIX)])
    assert ["no tag was read, though the watch ran"] == [gap.reason for gap in row.unwatched]


def test_the_record_begins_and_ends_within_its_days() -> None:
    """Before the first reading and after the last there was no record."""
    frame = replace(frame_of(ORDINARY), opens=True, closes=True)
    row = row_of(frame, QL=[(9.5, None), (2, SIX)])
    assert ["before the record begins", "after the record ends"] == [
        gap.reason for gap in row.unwatched
    ]
    assert pytest.approx(1.0) == row.water.turnovers


def test_time_of_another_set_up_does_not_count() -> None:
    """Flow from before the run's set-up came into force is not the run's."""
    frame = frame_of(ORDINARY)
    noon = frame.span.start + 12 * HOUR
    later = replace(frame, forces=(Force(Span(noon, frame.span.end), SETUP),))
    row = row_of(later, QL=[(24, SIX)])
    assert pytest.approx(6.0) == row.water.turnovers
    assert ["another set-up in force, not this run"] == [gap.reason for gap in row.unwatched]


def test_flow_off_in_a_hold_and_beyond_it() -> None:
    """61 min without flow, 40 of them in the hold: 21 outside (and 366 L not delivered)."""
    frame = frame_of(ORDINARY)
    begin = frame.span.start + 12.5 * HOUR
    holds = {"S1": (Span(begin, begin + 40 * 60.0),)}
    row = row_of(
        replace(frame, holds=holds), QL=[(12.5, SIX), (61 / 60, 0.0), (24 - 12.5 - 61 / 60, SIX)]
    )
    assert (21 * 60.0, 40 * 60.0) == (row.water.no_flow, row.water.no_flow_in_holds)
    assert pytest.approx((24 * 60 - 61) * 6 / 720) == row.water.turnovers


def test_holds_at_reduced_flow_are_less_flow_and_no_stop() -> None:
    """Three holds of 30 min at 2.0 instead of 6.0 L/min leave 11.50 turnovers."""
    parts: list[tuple[float, float | None]] = [(7.5, SIX)]
    parts += [(0.5, TWO), (5, SIX), (0.5, TWO), (5, SIX), (0.5, TWO), (5, SIX)]
    row = row_of(frame_of(ORDINARY), QL=parts)
    assert pytest.approx(11.5) == row.water.turnovers
    assert (0.0, 0.0) == (row.water.no_flow, row.water.no_flow_in_holds)


def test_supply_and_mains_lost() -> None:
    """107 min without supply and 105 without mains are counted by their own tags."""
    hours = 107 / 60
    row = row_of(
        frame_of(ORDINARY),
        QL=[(24, SIX)],
        QS=[(1, 9 * L_PER_MIN), (hours, 0.0), (23 - hours, 9 * L_PER_MIN)],
        MP=[(1, 1.0), (1.75, 0.0), (21.25, 1.0)],
    )
    assert (107 * 60.0, 105 * 60.0) == (row.water.supply_lost, row.water.mains_lost)


def test_one_tag_only() -> None:
    """With a mains tag alone all else is not measured, and the day still has its row."""
    row = row_of(frame_of(ORDINARY, with_tags(MAINS)), MP=[(24, 1.0)])
    water = row.water
    assert () == row.temperatures
    assert ("", 0.0, 0.0) == (water.by, water.seen, water.mains_lost)
    assert {Missing.NOT_MEASURED} == {
        water.delivered,
        water.turnovers,
        water.no_flow,
        water.no_flow_in_holds,
        water.supply_lost,
    }


def test_a_tank_without_volume_has_litres_but_no_turnovers() -> None:
    """What was delivered is known, how often that changes the tank is not."""
    vessels = (replace(TANK, volume=None), *RIG.vessels[1:])
    setup = replace(SETUP, rig=replace(RIG, vessels=vessels), worked_out={})
    row = row_of(frame_of(ORDINARY, setup), QL=[(24, SIX)])
    assert pytest.approx(8.64) == row.water.delivered
    assert Missing.NOT_MEASURED == row.water.turnovers


def test_a_witness_tells_stops_but_no_litres() -> None:
    """A cup with a float says when there was no flow, not how much there was."""
    row = row_of(frame_of(ORDINARY, with_tags(WITNESS)), QW=[(20, 1.0), (1, 0.0), (3, 1.0)])
    assert ("QW", HOUR) == (row.water.by, row.water.no_flow)
    assert (Missing.NOT_MEASURED,) * 2 == (row.water.delivered, row.water.turnovers)


def test_a_meter_that_was_not_read_has_not_measured_zero() -> None:
    """A fitted tag without a reading of the day is not observed, which is not zero."""
    row = row_of(frame_of(ORDINARY, with_tags(FLOW, WATER)), QL=[])
    assert {Missing.NOT_OBSERVED} == {
        row.water.delivered,
        row.water.turnovers,
        row.water.no_flow,
        row.temperatures[0].mean,
        row.temperatures[0].degree_days,
    }
    assert ["not observed, watch not running"] == [gap.reason for gap in row.unwatched]
