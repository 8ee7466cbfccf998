"""What people wrote down, light and holds, as figures of a day reckoned by hand."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from monitor.archive import Note
from monitor.inputs import Moment
from monitor.record.frame import Force
from monitor.record.noted import noted_of
from monitor.record.noted_show import more_figures
from monitor.record.notes import standing
from monitor.record.rows import Counted, Missing, Noted
from monitor.record.spans import Span, local_day
from monitor.rig import Tag
from monitor.units import UNITS
from record.small import LONG, ORDINARY, SETUP, frame_of, row_of, with_tags

HOUR = 3600.0
DAY = local_day(SETUP.zone, ORDINARY)
LIGHT = Tag("LX", "light", "LT1", UNITS["light"][0], "sim", every=60.0)


def day(*notes: tuple[float, str, Mapping[str, str]]) -> Noted:
    """The notes of a day; each with its hour, counted from midnight."""
    kept = [
        Note(n, Moment(1, 0.0, DAY.end), DAY.start + hour * HOUR, "OH-07", kind, "oskel", "c", said)
        for n, (hour, kind, said) in enumerate(notes, 1)
    ]
    return noted_of(standing(kept), DAY)


def test_counts_are_added_and_estimates_stay_estimates() -> None:
    """9 and ~250 are ~259; one that was not countable is counted apart."""
    found = day(
        (8.0, "dead found", {"count": "9"}),
        (17.0, "dead found", {"count": "~250"}),
        (18.0, "dead found", {"count": "not countable"}),
    )
    assert Counted(259.0, True, 1) == found.dead
    assert 3 == found.back_dated
    figures = more_figures(replace(row_of(frame_of(ORDINARY)), noted=found))
    assert "~259+" == figures["dead_found"]


def test_what_nobody_wrote_down_is_not_zero() -> None:
    """A day without notes says so in each column."""
    assert Noted() == day()
    figures = more_figures(row_of(frame_of(ORDINARY)))
    assert {"not noted"} == {
        figures[name] for name in ("dead_found", "water_changed_l", "observation_signed")
    }
    assert 0.0 == day((8.0, "dead found", {"count": "0"})).dead.value


def test_feeds_are_totalled_by_food_and_unit() -> None:
    """Two feeds of rotifers today, one yesterday; the first copepods are a first."""
    rotifers = {"food": "rotifers", "unit": "million"}
    found = day(
        (-5.0, "feeding", rotifers | {"amount": "5"}),
        (7.25, "feeding", rotifers | {"amount": "7"}),
        (12.5, "feeding", rotifers | {"amount": "7.5"}),
        (13.0, "feeding", {"food": "copepods"}),
        (30.0, "feeding", rotifers | {"amount": "99"}),
    )
    assert [("rotifers", 2, 14.5, 19.5), ("copepods", 1, Missing.NOT_NOTED, Missing.NOT_NOTED)] == [
        (fed.food, fed.times, fed.amount.value, fed.total.value) for fed in found.fed
    ]
    assert ("first feed: copepods",) == found.firsts
    assert DAY.start + 7.25 * HOUR == found.first_feed
    figures = more_figures(replace(row_of(frame_of(ORDINARY)), noted=found))
    assert (14.5, 19.5) == (figures["fed_rotifers_million"], figures["fed_rotifers_million_of_run"])


def test_stages_tests_and_water() -> None:
    """A stage with its share and certainty, a water test, litres changed; no name of anybody."""
    found = day(
        (9.0, "stage", {"stage": "flexion", "share": "40", "sure": "claimed", "expected": "18"}),
        (9.0, "water test", {"of": "nitrate", "value": "12", "unit": "mg/L NO3"}),
        (9.5, "water change", {"litres": "110"}),
        (10.0, "observation", {"text": "all swim"}),
    )
    assert ("flexion, 40 %, claimed, expected dph 18",) == found.stages
    assert ("first seen: flexion",) == found.firsts
    assert (0.11, "oskel") == (found.changed, found.signed_by)
    figures = more_figures(replace(row_of(frame_of(ORDINARY)), noted=found))
    assert (12.0, 110.0, "yes") == (
        figures["nitrate_mg_L_NO3"],
        figures["water_changed_l"],
        figures["observation_signed"],
    )
    assert "oskel" not in str(figures)


def lit(of: date, *hours: tuple[float, float | None]) -> tuple[float | str, float | str, float]:
    """Lit hours, hours off the schedule of 06:30 to 19:30, and the hour of lights-on."""
    assert SETUP.run is not None
    run = replace(SETUP.run, lights=(6.5 * HOUR, 19.5 * HOUR))
    setup = with_tags(LIGHT, setup=replace(SETUP, run=run))
    frame = replace(frame_of(of, setup), forces=(Force(frame_of(of).span, setup),))
    row = row_of(frame, LX=list(hours))
    assert row.light is not None
    figures = more_figures(row)
    on = -1.0 if row.light.on is None else (row.light.on - frame.span.start) / HOUR
    return figures["lit_h"], figures["light_off_schedule_h"], on


def test_light_against_its_schedule() -> None:
    """On time; an hour late after a power cut; an hour early on the day of 25 h."""
    assert (13.0, 0.0, 6.5) == lit(ORDINARY, (6.5, 1.0), (13.0, 1000.0), (4.5, 1.0))
    assert (12.0, 1.0, 7.5) == lit(ORDINARY, (7.5, 1.0), (12.0, 1000.0), (4.5, 1.0))
    assert (13.0, 2.0, 6.5) == lit(LONG, (6.5, 1.0), (13.0, 1000.0), (5.5, 1.0))


def test_light_that_was_not_seen() -> None:
    """No reading is not dark, and a light that was on all day has no coming on."""
    assert ("not observed", "not observed", -1.0) == lit(ORDINARY)
    assert (24.0, 11.0, -1.0) == lit(ORDINARY, (24.0, 1000.0))


def test_minutes_from_light_to_feed() -> None:
    """Lights at 06:30, first feed noted at 07:15: 45 min."""
    row = row_of(frame_of(ORDINARY, with_tags(LIGHT)), LX=[(6.5, 1.0), (13.0, 900.0), (4.5, 1.0)])
    fed = replace(row, noted=day((7.25, "feeding", {"food": "rotifers"})))
    assert 45.0 * 60.0 == fed.light_before_feed
    assert (Missing.NOT_NOTED, Missing.NOT_MEASURED) == (
        row.light_before_feed,
        replace(row, light=None).light_before_feed,
    )


def test_holds_of_the_day() -> None:
    """A hold over midnight counts for each day with its own part."""
    hold = Span(DAY.end - 600.0, DAY.end + 600.0)
    row = row_of(frame_of(ORDINARY, holds={"S1": (hold,)}))
    assert 600.0 == row.held
