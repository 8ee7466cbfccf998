"""One alarm put aside: always with an end, never silently over a night, judged all the same."""

import json
import math
from typing import Any

import pytest

from logic.days import AFTERNOON, MINUTE, Day
from logic.play import sample, with_tags
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.logic.gsm import places
from monitor.logic.plan import plan_of
from monitor.logic.state import decode, encode
from monitor.logic.step import resume

HILL = with_tags(sample("ostrel-hill"), "LS", "TW1")
WELL = {"LS": 32.0, "TW1": 26.5}
HOUR = 60.0


IDS = {f"{spec.name}/{spec.step}": spec.id for spec in plan_of(HILL).specs.values()}
"""Name and step of each alarm of the sample, and its id."""
SUMP, HEAT, HEAT_WARN = (
    IDS[name] for name in ("sump low/warn", "temperature high/alarm", "temperature high/warn")
)


def shelved(minutes: float = 60.0, alarm: str = SUMP) -> Day:
    """A day on which Oskel shelves an alarm at 14:10 for a water change."""
    day = Day(HILL, WELL).until(10.0)
    return day.say("shelve", "oskel", "water change", minutes, alarm=alarm)


def test_a_shelved_alarm_is_judged_and_recorded_and_calls_nobody() -> None:
    """The sump goes under its mark in the shelf: the condition is recorded, nobody is texted."""
    day = shelved().until(60.0, LS=29.5)
    assert "SHLVD" == day.state(SUMP)
    assert [] == day.turns
    rows = [(row.what, row.state) for row in day.watch.rows if row.subject == SUMP]
    assert [
        ("alarm", "SHLVD"),
        ("answer", "shelved"),
        ("condition", "true"),
        ("alarm", "SHLVD"),
    ] == rows


def test_a_shelf_ends_by_itself() -> None:
    """At its end what is still true comes as if new; what is well again is just in force."""
    day = shelved().until(80.0, LS=29.5)
    assert [(70.0, "sump low", "tavrin")] == day.turns
    assert "UNACK" == day.state(SUMP)
    well = shelved().until(40.0, LS=29.5).until(90.0, LS=32.0)
    assert ([], "NORM") == (well.turns, well.state(SUMP))


def test_only_the_named_alarm_is_put_aside() -> None:
    """The urgent step of the same name still calls."""
    day = shelved(8 * HOUR).until(60.0, LS=26.0)
    assert "SHLVD" == day.state(SUMP)
    assert "sump low" == day.turns[0][1]
    assert "urgent" == day.watch.event(52).grade


@pytest.mark.parametrize(
    ("minutes", "alarm", "why"),
    [
        (None, "sump low/warn", "a shelf has an end: at most 8 h"),
        (0.0, "sump low/warn", "a shelf has an end"),
        (-5.0, "sump low/warn", "a shelf has an end"),
        (math.nan, "sump low/warn", "a shelf has an end"),
        (math.inf, "sump low/warn", "a shelf has an end"),
        (481.0, "sump low/warn", "at most 8 h"),
        (61.0, "sump low/alarm", "urgent alarms at most 1 h"),
        (60.0, "sump low", "which of these: "),
        (60.0, "pump noise", "there is no alarm 'pump noise'"),
        (60.0, "", "name the alarm"),
        (60.0, "/", "there is no alarm"),
    ],
)
def test_what_is_no_shelf(minutes: float | None, alarm: str, why: str) -> None:
    """A shelf without an end, too long, or of no one alarm is refused and changes nothing."""
    day = Day(HILL, WELL).until(10.0)
    before = day.watch.state.durable
    day.say("shelve", "oskel", "water change", minutes, alarm=alarm)
    assert [True] == [why in refused for refused in day.refused]
    assert before == day.watch.state.durable


def test_a_shelf_needs_a_reason() -> None:
    """Why it was put aside stands in the record."""
    day = Day(HILL, WELL).until(10.0).say("shelve", "oskel", " ", 30.0, alarm=SUMP)
    assert ["say why: the reason is kept with it"] == day.refused


def test_lengthening_does_not_go_round_the_bound() -> None:
    """Shelved for an hour and again and again: eight hours after the beginning is the last end."""
    day = shelved(420.0).until(5 * HOUR).say("shelve", "oskel", "again", 180.0, alarm=SUMP)
    assert 180.0 * MINUTE + day.at == day.watch.state.durable.aside[SUMP].end
    day.say("shelve", "oskel", "again", 200.0, alarm=SUMP)
    assert ["shelved since 14:10: at most 8 h"] == day.refused


def test_a_person_ends_a_shelf() -> None:
    """Restored early, an alarm whose condition is true calls at once."""
    day = shelved().until(30.0, LS=29.5).say("restore", alarm=SUMP)
    assert [(30.0, "sump low", "tavrin")] == day.turns
    day.say("restore", alarm=SUMP)
    assert [f"{SUMP} is not put aside"] == day.refused


def test_a_shelf_ends_the_event_of_its_alarm_without_a_lie() -> None:
    """Shelving the only alarm of an event closes it, and nobody is told that all is in band."""
    day = Day(HILL, WELL).until(20.0, TW1=28.4)
    assert "temperature high" == day.turns[0][1]
    for alarm in (HEAT, HEAT_WARN):
        day.say("shelve", "oskel", "thermometer in warm water", 30.0, alarm=alarm)
    day.until(25.0)
    assert ("closed", set()) == (
        day.watch.event(52).stage,
        {turn for _, turn, _ in day.turns} & {"well again", "eased"},
    )
    day.until(60.0)
    assert ("high", "temperature high") == (
        day.watch.event(53).grade,
        next(text.turn for text in day.watch.texts if text.event == 53),
    )


# Nights


def evening(at: float) -> Moment:
    """A moment so many hours after the midnight before the afternoon."""
    return Moment(1, 0.0, AFTERNOON.utc + (at - 14.0) * 3600.0)


def test_a_shelf_into_the_night_is_told_before_it() -> None:
    """Shelved at 17:10 for six hours: those on duty hear of it at 20:30, once."""
    day = Day(HILL, WELL, evening(17.0)).until(10.0)
    day.say("shelve", "lendow", "sump is cleaned", 360.0, alarm=SUMP).until(330.0)
    told = [text for text in day.watch.texts if text.turn == "put aside tonight"]
    assert [("oskel", "20:30:00")] == [(t.person, day.watch.at(t.moment.elapsed)) for t in told]
    assert f"{SUMP} till 23:10 (Lendow)" in told[0].body


def test_a_shelf_within_the_night_is_told_at_once() -> None:
    """Shelved at two in the night by somebody who is not on duty: the one on duty hears of it."""
    day = Day(HILL, WELL, evening(26.0)).until(1.0)
    day.say("shelve", "lendow", "sump is cleaned", 30.0, alarm=SUMP).until(40.0)
    assert [("put aside tonight", "oskel")] == [turn[1:] for turn in day.turns]


def test_who_is_on_duty_need_not_be_told_of_the_own_shelf() -> None:
    """The one on duty shelved it just now."""
    day = Day(HILL, WELL, evening(26.0)).until(1.0)
    day.say("shelve", "oskel", "sump is cleaned", 30.0, alarm=SUMP).until(40.0)
    assert [] == day.turns


def test_a_shelf_that_ends_before_the_night_is_not_told() -> None:
    """From 17:10 to 20:50: nothing is put aside in the night."""
    day = Day(HILL, WELL, evening(17.0)).until(10.0)
    day.say("shelve", "lendow", "sump is cleaned", 220.0, alarm=SUMP).until(300.0)
    assert [] == day.turns


# Out of service


def withdrawn(**details: str) -> Day:
    """The sump alarm is out of service for two days, its float broken."""
    day = Day(HILL, WELL).until(10.0)
    words = {"alarm": SUMP, "check": "read the sump mark"} | details
    return day.say("withdraw", "oskel", "float broken", 2 * 24 * HOUR, details=words)


def test_a_check_is_asked_for_until_it_is_done() -> None:
    """An hour on the first on duty is asked; without an answer an hour later the second too."""
    day = withdrawn(every="60").until(3.6 * HOUR)
    assert [
        (70.0, "check", "tavrin"),
        (130.0, "check", "tavrin"),
        (130.0, "check", "oskel"),
        (190.0, "check", "tavrin"),
        (190.0, "check", "oskel"),
        (190.0, "check", "lendow"),
    ] == [turn for turn in day.turns if turn[1] == "check"]
    day.say("checked", "tavrin", "31 cm", alarm=SUMP)
    before = len(day.turns)
    day.until(4.5 * HOUR)
    assert before == len(day.turns)
    assert ("checked", "31 cm") in [(row.state, row.text) for row in day.watch.rows]


def test_a_check_is_answered_by_text() -> None:
    """DONE and the name of the alarm, as the text asks, with what was seen."""
    day = withdrawn(every="120").until(131.0)
    body = day.watch.texts[-1].body
    assert f"Then send DONE {SUMP} and what you saw." in body
    day.say("done", "tavrin", f"{SUMP} 31 cm").until(200.0)
    assert ([], 1) == (day.refused, len(day.turns))


@pytest.mark.long
def test_out_of_service_is_told_each_evening() -> None:
    """A withdrawal of two days stands in the text of both evenings."""
    day = withdrawn(every="2880").until(2 * 24 * HOUR)
    told = [text for text in day.watch.texts if text.turn == "put aside tonight"]
    assert ["20:30:00", "20:30:00"] == [day.watch.at(text.moment.elapsed) for text in told]


@pytest.mark.parametrize(
    ("minutes", "details", "why"),
    [
        (None, {}, "out of service has an end"),
        (15 * 24 * HOUR, {}, "at most 14 days"),
        (HOUR, {"check": " "}, "needs a check by hand"),
        (HOUR, {"every": "5"}, "every 15 to 2880 minutes"),
        (HOUR, {"every": "nan"}, "every 15 to 2880 minutes"),
        (HOUR, {"every": "often"}, "every 15 to 2880 minutes"),
    ],
)
def test_what_is_not_out_of_service(
    minutes: float | None, details: dict[str, str], why: str
) -> None:
    """Without an end, without a check, or with a check that makes no sense it is refused."""
    words = {"alarm": SUMP, "check": "read the sump mark"} | details
    day = Day(HILL, WELL).until(10.0).say("withdraw", "oskel", "broken", minutes, details=words)
    assert [True] == [why in refused for refused in day.refused]


def test_a_check_of_nothing() -> None:
    """A shelved alarm has no check, nor has one in force."""
    day = shelved().say("checked", "oskel", "fine", alarm=SUMP)
    day.say("checked", "oskel", "fine", alarm=HEAT)
    assert 2 == len(day.refused)


# Restarts


def test_a_shelf_goes_on_after_a_restart() -> None:
    """Its end stays the same to the second."""
    day = shelved().until(30.0, LS=29.5).restart().until(80.0)
    assert [(70.0, "sump low", "tavrin")] == day.turns


def test_a_shelf_over_an_unknown_time_is_none() -> None:
    """Nobody knows how long the watch was away: the alarm is in force and calls."""
    day = shelved().until(30.0, LS=29.5).restart(time_lost=True).until(31.0)
    assert [("sump low", "tavrin")] == [turn[1:] for turn in day.turns]


BROKEN: list[Any] = [
    None,
    "shelf",
    [],
    {},
    {SUMP: None},
    {SUMP: {"how": "SHLVD"}},
    {SUMP: {"how": 7, "who": "oskel", "reason": "", "since": 0.0, "end": 1e9}},
    {SUMP: {"how": "SHLVD", "who": "oskel", "reason": "", "since": 0.0, "end": 1e9}},
    {SUMP: {"how": "OOSRV", "who": "oskel", "reason": "", "since": 0.0, "end": 9000.0}},
    {"other": {"how": "SHLVD", "who": "oskel", "reason": "", "since": 0.0, "end": 9000.0}},
]


@pytest.mark.parametrize("aside", BROKEN)
def test_a_shelf_that_cannot_be_read_is_none(aside: object) -> None:
    """Whatever the stored shelf has become, the alarm sounds after the restart, and all else of
    the state is kept."""
    day = shelved().until(30.0, LS=29.5)
    document = json.loads(json.dumps(encode(day.watch.state.durable))) | {"aside": aside}
    again = resume(HILL, decode(document), day.watch.now(day.at))
    assert "UNACK" == again.state.durable.alarms[SUMP].state
    assert ["sump low"] == [text.turn for text in again.effects if isinstance(text, Text)]
    assert day.watch.state.durable.next_event == again.state.durable.next_event - 1


def test_longest_names_fit() -> None:
    """Texts on what is put aside stay within one part, whatever the words."""
    day = Day(HILL, WELL, evening(20.0))
    for spec in IDS.values():
        day.say("shelve", "lendow", "r" * 400, 59.0, alarm=spec)
        words = {"alarm": spec, "check": "look " * 60, "every": "15"}
        day.say("withdraw", "lendow", "r" * 400, 9 * 24 * HOUR, details=words)
    day.until(3 * HOUR)
    assert {"check", "put aside tonight"} <= {text.turn for text in day.watch.texts}
    assert all((places(text.body) or 999) <= 160 for text in day.watch.texts)
