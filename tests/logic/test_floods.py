"""Many alarms at once, alarms that come and go, and those that stay until somebody has looked."""

import json
from dataclasses import replace
from itertools import pairwise

import pytest

from logic.days import MINUTE, Day
from logic.play import sample, with_tags
from monitor.logic.events import calling
from monitor.logic.gsm import places
from monitor.logic.plan import plan_of
from monitor.logic.state import decode, encode
from monitor.setup import Limit, Profile, Setup

HOUR = 60.0
SENSORS = ("TW1", "LT", "LS", "PA", "FL", "QL")
HILL = with_tags(sample("ostrel-hill"), *SENSORS)
WELL = {"TW1": 26.5, "LT": 0.0, "LS": 32.0, "PA": 13.0, "FL": 0.0, "QL": 6.0}


def crowded(grade: str = "high", steps: int = 3) -> Setup:
    """Each of the sensors has so many limits that all come at once, in four groups."""
    borders = {"TW1": ("high", 26.6), "LS": ("low", 0.31), "PA": ("low", 12_000.0)}
    limits = [
        Limit(f"{tag} trouble", f"step {step}", tag, side, Profile.constant(border), grade, 30.0)
        for tag, (side, border) in borders.items()
        for step in range(steps)
    ]
    limits.append(Limit("floor wet", "", "FL", "high", Profile.constant(0.5), "urgent", 5.0))
    limits.append(Limit("pad wet", "", "FL", "high", Profile.constant(0.5), "urgent", 5.0))
    return replace(HILL, limits=tuple(limits), worked_out={})


def flooded(grade: str = "high") -> Day:
    """Eleven alarms within a minute, the floor wet among them."""
    day = Day(crowded(grade), WELL).until(10.0)
    return day.until(14.0, TW1=26.7, LS=30.5, PA=11_800.0 / 1000.0, FL=1.0)


def test_one_text_tells_a_flood_and_names_the_worst_first() -> None:
    """Eleven alarms in four events: the worst is told for itself, then all in one text; the
    milder events are not told for themselves while somebody is called for the worst."""
    day = flooded()
    assert ["flood"] == [turn for _, turn, _ in day.turns if turn == "flood"]
    body = next(text.body for text in day.watch.texts if text.turn == "flood")
    assert "11 ALARMS at once" in body
    assert body.index("FLOOR WET") < body.index("TROUBLE")
    before = len(day.turns)
    day.until(19.0)
    events = day.watch.state.durable.events.values()
    worst = {event.number for event in events if event.grade == "urgent"}
    assert worst == {text.event for text in day.watch.texts[before:]}


def test_after_the_flood_each_event_calls_for_itself() -> None:
    """The floor is still wet: the milder events call one by one, five minutes apart."""
    day = flooded().until(45.0)
    first = {
        number: min(text.moment.elapsed for text in day.watch.texts if text.event == number)
        for number in {text.event for text in day.watch.texts}
    }
    later = sorted(at for at in first.values() if at > 15.0 * MINUTE)
    assert [300.0, 300.0] == [round(b - a) for a, b in pairwise(later)]


def test_what_went_with_the_worst_is_called_when_that_is_over() -> None:
    """The floor is dry again: the milder events call for themselves, each once at first."""
    day = flooded().until(19.0, FL=0.0)
    milder = [event for event in day.watch.state.durable.events.values() if event.grade == "high"]
    assert "closed" == day.watch.event(52).stage
    assert 3 == len(milder)
    assert milder[0].next_call is not None
    assert [milder[0].number] * 2 == [event.led_by for event in milder[1:]]
    day.until(60.0)
    assert {event.number for event in milder} <= {text.event for text in day.watch.texts}


def test_a_flood_is_over() -> None:
    """Ten minutes without a new alarm end it, and that stands in the record."""
    day = flooded().until(30.0)
    assert ["began", "over"] == [row.state for row in day.watch.rows if row.subject == "flood"]


def test_urgent_events_are_each_called_for_themselves() -> None:
    """A flood of urgent alarms hides none of them."""
    day = flooded("urgent").until(20.0)
    events = day.watch.state.durable.events.values()
    assert {event.number for event in events} == {text.event for text in day.watch.texts}
    assert all(event.next_call is not None for event in events if event.stage == "open")


def test_few_alarms_are_no_flood() -> None:
    """Nine alarms of three events are told one by one."""
    day = Day(crowded(), WELL).until(10.0).until(16.0, TW1=26.7, LS=30.5, PA=11.8)
    assert [] == [turn for _, turn, _ in day.turns if turn == "flood"]
    assert 3 == len({text.event for text in day.watch.texts})


def test_a_flood_is_forgotten_by_a_restart_and_no_event_is() -> None:
    """What went with the worst calls for itself then, one by one."""
    day = flooded()
    led = [event.number for event in day.watch.state.durable.events.values() if event.led_by]
    assert 3 == len(led)
    day.restart().until(30.0)
    assert set(led) <= {text.event for text in day.watch.texts}
    assert day.watch.state.durable == decode(
        json.loads(json.dumps(encode(day.watch.state.durable)))
    )


# Chatter


def test_an_alarm_that_comes_and_goes_makes_one_event() -> None:
    """The air line goes under its limit and back every eight minutes: from the third time on it
    must stay away ten minutes, so nobody is told of a new event each time."""
    day = Day(crowded(steps=1), WELL).until(5.0)
    for _ in range(8):
        day.until(day.at / MINUTE + 3.0, PA=11.8).until(day.at / MINUTE + 8.0, PA=13.0)
    air = {
        event.number
        for event in day.watch.state.durable.events.values()
        if event.first_out.startswith("PA trouble")
    }
    assert 3 == len(air)
    assert 1 == sum(row.state == "comes and goes" for row in day.watch.rows)
    day.until(day.at / MINUTE + 30.0)
    assert all(event.stage == "closed" for event in day.watch.state.durable.events.values())


# Latching


WET = next(spec.id for spec in plan_of(HILL).specs.values() if spec.name == "floor wet")


def test_a_latched_alarm_stays_until_somebody_has_looked() -> None:
    """The pad dries, and people are called on; DONE and its name, by whoever is there, ends it."""
    day = Day(HILL, WELL).until(5.0).until(7.0, FL=1.0).until(20.0, FL=0.0)
    assert "LATUN" == day.state(WET)
    assert calling(day.watch.event(52))
    assert [("floor wet", "tavrin"), ("next call", "oskel")] == [t[1:] for t in day.turns[:2]]
    day.say("here", event=52)
    assert "LATAK" == day.state(WET)
    day.say("done", event=52, text="pump noise").say("done", event=52, text="floor wet: a hose")
    assert ["event 52 owes nothing; 'pump noise' is not among it"] == day.refused
    day.until(30.0)
    assert ("NORM", "closed") == (day.state(WET), day.watch.event(52).stage)


def test_a_latched_alarm_reset_before_anybody_answered_is_unanswered() -> None:
    """A reset is no acknowledgement: it stays as returned until the event closes or is taken."""
    day = Day(HILL, WELL).until(5.0).until(7.0, FL=1.0).until(10.0, FL=0.0)
    day.say("done", event=52, text=WET)
    assert "RTNUN" == day.state(WET)


def test_a_latch_lasts_over_a_restart() -> None:
    """Dry and restarted, it still calls."""
    day = Day(HILL, WELL).until(5.0).until(7.0, FL=1.0).until(10.0, FL=0.0).restart().until(40.0)
    assert "LATUN" == day.state(WET)
    assert "call to all" == day.turns[-1][1]
    day.until(41.0, FL=1.0)
    assert "UNACK" == day.state(WET)


# Standing


@pytest.mark.long
def test_a_notice_that_nobody_mends_is_told_again_the_next_day() -> None:
    """A sump under its mark for two days: told, and told again a day later by day."""
    only = with_tags(sample("ostrel-hill"), "LS")
    day = Day(only, {"LS": 32.0}).until(10.0).until(2.2 * 24 * HOUR, LS=29.5)
    told = [minute for minute, turn, _ in day.turns if turn == "sump low"]
    assert 3 == len(told)
    assert [pytest.approx(24 * HOUR, abs=1.0)] * 2 == [b - a for a, b in pairwise(told)]


def test_flood_texts_fit() -> None:
    """However many there are, the text of a flood stays within one part."""
    day = flooded()
    assert all((places(text.body) or 999) <= 160 for text in day.watch.texts)
