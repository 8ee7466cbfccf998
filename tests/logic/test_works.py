"""Works, holds and backups: each has an end that is told, and none hides an alarm."""

import math

import pytest

from logic.days import AFTERNOON, Day
from logic.play import sample, with_tags
from monitor.inputs import Moment
from monitor.logic.gsm import places
from monitor.logic.standing import aside_lines

HILL = with_tags(sample("ostrel-hill"), "MA", "QL", "TW1")
WELL = {"MA": 1.0, "QL": 6.0, "TW1": 26.5}
HOUR = 60.0


def lines(day: Day) -> list[str]:
    """What the watch shows as put aside."""
    return aside_lines(day.watch.setup, day.watch.state, day.watch.now(day.at))


# Works


def working(minutes: float = 60.0) -> Day:
    """Tavrin paints at B1 from 14:10, and Oskel knows of it."""
    day = Day(HILL, WELL).until(10.0)
    return day.say("works", "tavrin", "painting", minutes, details={"at": "B1", "second": "oskel"})


def test_the_second_person_is_told_and_the_end_asked_for() -> None:
    """Oskel at the start; Tavrin at the end; a quarter of an hour later both, and each hour."""
    day = working().until(3.5 * HOUR)
    assert [
        (10.0, "works in progress", "oskel"),
        (70.0, "works at their end", "tavrin"),
        (85.0, "works at their end", "tavrin"),
        (85.0, "works at their end", "oskel"),
        (145.0, "works at their end", "tavrin"),
        (145.0, "works at their end", "oskel"),
        (205.0, "works at their end", "tavrin"),
        (205.0, "works at their end", "oskel"),
    ] == day.turns
    assert "OVERRUN: end was 15:10" in day.watch.texts[-1].body
    assert ["Works at B1 OVERRUN since 15:10: painting, Tavrin; Oskel knows."] == lines(day)


def test_works_end_with_what_is_left() -> None:
    """What stands unplugged is asked, kept in the record and told to the other."""
    day = working().until(40.0).say("works end", "tavrin", "")
    assert ['say what still stands closed or unplugged, or "nothing"'] == day.refused
    day.say("works end", "tavrin", "chiller unplugged").until(3 * HOUR)
    assert ("works over", "oskel") == day.turns[-1][1:]
    assert "Still shut or unplugged: chiller unplugged." in day.watch.texts[-1].body
    assert ["Nothing is put aside."] == lines(day)


def test_alarms_stay_in_works() -> None:
    """A circuit that loses its mains in the works is told as ever."""
    day = working().until(30.0, MA=0.0)
    assert "mains lost" in [turn for _, turn, _ in day.turns]


def test_works_into_the_night_are_told_to_the_duty() -> None:
    """Work till midnight: the one on duty hears of it at 20:30."""
    day = working(9.9 * HOUR).until(7 * HOUR)
    assert [(390.0, "works in progress", "oskel")] == day.turns[1:]


def test_works_go_on_to_a_new_end_and_over_a_restart() -> None:
    """A new end is said in the overrun: nobody is asked until then, also after a restart."""
    day = working().until(75.0)
    day.say("works", "tavrin", "painting", 60.0, details={"at": "B1", "second": "oskel"})
    before = len(day.turns)
    day.restart().until(134.0)
    assert before == len(day.turns)
    day.until(136.0)
    assert ("works at their end", "tavrin") == day.turns[-1][1:]


@pytest.mark.parametrize(
    ("what", "minutes", "at", "second", "why"),
    [
        ("", 60.0, "B1", "oskel", "say what is worked on"),
        ("painting", 60.0, "", "oskel", "say where"),
        ("painting", 60.0, "B" * 21, "oskel", "say where"),
        ("painting", None, "B1", "oskel", "work has an end"),
        ("painting", 1441.0, "B1", "oskel", "work has an end"),
        ("painting", math.nan, "B1", "oskel", "work has an end"),
        ("painting", 60.0, "B1", "tavrin", "a second person must know of it"),
        ("painting", 60.0, "B1", "nobody", "a second person must know of it"),
    ],
)
def test_what_is_no_work(what: str, minutes: float | None, at: str, second: str, why: str) -> None:
    """Without what, where, an end and a second person work is refused."""
    day = Day(HILL, WELL).until(1.0)
    day.say("works", "tavrin", what, minutes, details={"at": at, "second": second})
    assert [True] == [why in refused for refused in day.refused]


def test_end_of_works_that_are_not() -> None:
    """Nobody works there."""
    day = Day(HILL, WELL).until(1.0).say("works end", "tavrin", "nothing", details={"at": "B9"})
    assert ["no works at 'B9'; there are none"] == day.refused


# Holds


def held(minutes: float = 40.0) -> Day:
    """A feeding hold from 14:10, the valve shut."""
    day = Day(HILL, WELL).until(10.0).say("hold", "oskel", minutes=minutes)
    return day.until(day.at / 60.0 + 1.0, QL=0.0)


def test_a_hold_is_kept_with_its_planned_end() -> None:
    """The journal has when it was to end."""
    day = held()
    row = next(row for row in day.watch.rows if row.subject == "hold S1")
    assert ("began", (("till", "2026-10-23T14:50:00-05:00"),)) == (row.state, row.evidence)
    assert ["S1: feeding hold till 14:50 by Oskel."] == lines(day)


def test_a_hold_is_lengthened_once() -> None:
    """By half an hour after its end at most, and then never again; shortened at will."""
    day = held().until(45.0).say("hold", "tavrin", minutes=36.0)
    assert ["held since 14:10: it is lengthened by 30 minutes at most"] == day.refused
    day.say("hold", "tavrin", minutes=35.0)
    hold = day.watch.state.durable.holds["S1"]
    assert ("oskel", 10.0 * 60.0, 80.0 * 60.0) == (hold.who, hold.start, hold.end)
    day.until(60.0).say("hold", "tavrin", minutes=30.0)
    assert "lengthened once" in day.refused[-1]
    day.say("hold", "tavrin", minutes=5.0)
    assert 65.0 * 60.0 == day.watch.state.durable.holds["S1"].end


def test_a_hold_that_overran_gets_more_time() -> None:
    """HOLD 30 answers the text of the overrun: whoever sends it has the event till the new end,
    is reminded then, and five minutes later the next is called."""
    day = held(20.0).until(41.0)
    assert [(40.0, "hold overrun", "oskel")] == day.turns
    day.say("hold", "oskel", minutes=30.0).until(77.0)
    assert [(71.0, "reminder", "oskel"), (76.0, "next call", "tavrin")] == day.turns[1:]


def test_a_hold_that_is_ended_counts_at_once() -> None:
    """The person ends it with the valve still shut: missing flow is told three minutes later."""
    day = held().until(15.0).say("hold end", "oskel").until(25.0)
    assert "no flow" == day.turns[0][1]
    day.say("hold end", "oskel")
    assert ["there is no hold on S1"] == day.refused


# Backups


def test_a_backup_is_told_each_hour_with_its_fuel() -> None:
    """Fuel for five hours from 14:10: each hour a reminder; an hour before the end people are
    called until somebody has it."""
    day = Day(HILL, WELL).until(10.0).say("fuel", "tavrin", minutes=300.0).until(5 * HOUR)
    reminders = [turn for turn in day.turns if turn[1] == "backup runs"]
    assert [70.0, 130.0, 190.0] == [minute for minute, _, _ in reminders[:3]]
    first = next(text for text in day.watch.texts if text.turn == "backup runs")
    assert "Still on generator since 14:10. Fuel till about 19:10." in first.body
    called = [turn for turn in day.turns if turn[1] in ("fuel low", "next call")]
    assert [(250.0, "fuel low"), (255.0, "next call")] == [turn[:2] for turn in called[:2]]


def test_fuel_is_filled() -> None:
    """New hours end the calling; "over" ends the reminders."""
    day = Day(HILL, WELL).until(10.0).say("fuel", "tavrin", minutes=70.0).until(30.0)
    assert "fuel low" == day.turns[0][1]
    day.say("fuel", "tavrin", minutes=600.0).until(40.0)
    assert ("well again", "closed") == (day.turns[-1][1], day.watch.event(52).stage)
    day.until(95.0)
    assert "backup runs" == day.turns[-1][1]
    before = len(day.turns)
    day.say("fuel", "tavrin", "over").until(4 * HOUR)
    assert before == len(day.turns)
    day.say("fuel", "tavrin", "over")
    assert ["no backup is known to run"] == day.refused


def test_a_fuel_clock_goes_on_over_a_restart() -> None:
    """The reminder comes at its time and people are called at theirs."""
    day = Day(HILL, WELL).until(10.0).say("fuel", "tavrin", minutes=130.0).until(50.0).restart()
    day.until(81.0)
    assert [(70.0, "backup runs"), (80.0, "fuel low")] == [turn[:2] for turn in day.turns[:2]]


@pytest.mark.parametrize("minutes", [0.0, -1.0, math.nan, math.inf, 14 * 24 * HOUR + 1.0])
def test_impossible_fuel(minutes: float) -> None:
    """Fuel for no time, or for weeks, is refused."""
    day = Day(HILL, WELL).until(1.0).say("fuel", "tavrin", minutes=minutes)
    assert ["fuel lasts more than nothing and at most 14 days"] == day.refused


def test_a_circuit_on_battery_is_told_each_hour_by_day() -> None:
    """The watch's circuit has no mains and the water runs: an hourly reminder until it is back."""
    day = Day(HILL, WELL).until(10.0, MA=0.0).until(4 * HOUR)
    turns = [turn for turn in day.turns if turn[1] in ("mains lost", "still on backup")]
    assert [(2.5, "mains lost"), (62.5, "still on backup"), (122.5, "still on backup")] == [
        turn[:2] for turn in turns[:3]
    ]
    before = len(day.turns)
    day.until(6 * HOUR, MA=1.0)
    assert before == len(day.turns)


@pytest.mark.long
def test_a_circuit_on_battery_waits_for_the_morning() -> None:
    """At night the reminder of a notice wakes nobody."""
    night = Moment(1, 0.0, AFTERNOON.utc + 5.5 * 3600.0)
    day = Day(HILL, WELL, night).until(10.0, MA=0.0)
    assert (2.5, "mains lost") in [turn[:2] for turn in day.turns]
    day.until(11.6 * HOUR)
    told = [text for text in day.watch.texts if text.turn in ("mains lost", "still on backup")]
    assert ["19:32:30", "20:32:30", "07:00:00"] == [
        day.watch.at(text.moment.elapsed) for text in told
    ]


def test_all_texts_fit() -> None:
    """Long words of people do not make long texts."""
    long = "w" * 400
    day = Day(HILL, WELL).until(1.0)
    day.say("works", "tavrin", long, 60.0, details={"at": "B" * 20, "second": "oskel"})
    day.say("fuel", "tavrin", minutes=100.0, details={"of": "g" * 20}).until(130.0)
    day.say("works end", "oskel", long, details={"at": "B" * 20})
    assert {"works in progress", "works over", "backup runs", "fuel low"} <= {
        text.turn for text in day.watch.texts
    }
    assert all((places(text.body) or 999) <= 160 for text in day.watch.texts)
