"""A crash at any minute of an evening with shelves, checks, works, a hold and a generator."""

import json
from functools import cache

import pytest

from logic.days import AFTERNOON, MINUTE, Day
from logic.play import sample, with_tags
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.logic.state import State, decode, encode

pytestmark = pytest.mark.long

HILL = with_tags(sample("ostrel-hill"), "TW1", "LS", "MA", "QL")
WELL = {"TW1": 27.9, "LS": 32.0, "MA": 1.0, "QL": 6.0}
EVENING = Moment(1, 0.0, AFTERNOON.utc + 2.5 * 3600.0)
"""Fri 23 Oct 2026, 16:30 at the site: it ends as the quiet hours begin."""
LENGTH = 270
LOW, HEAT = "sump low/SU1/warn", "temperature high/LT1/alarm"

SENSORS: dict[int, dict[str, float]] = {
    20: {"LS": 29.5},
    70: {"MA": 0.0},
    100: {"QL": 0.0},
    125: {"QL": 6.0},
    180: {"MA": 1.0},
    190: {"TW1": 28.05},
    230: {"TW1": 27.75},
}
"""Minute -> what sensors say from then on."""


def people(day: Day, minute: int) -> None:
    """What people say at a minute."""
    works = {"at": "B1", "second": "lendow"}
    check = {"alarm": HEAT, "check": "read the thermometer", "every": "30"}
    if minute == 10:
        day.say("shelve", "oskel", "water change", 60.0, alarm=LOW)
        day.say("works", "tavrin", "painting", 50.0, details=works)
    elif minute == 15:
        day.say("withdraw", "oskel", "probe is cleaned", 190.0, details=check)
    elif minute == 80:
        day.say("fuel", "tavrin", minutes=130.0)
    elif minute == 100:
        day.say("hold", "oskel", minutes=15.0)
    elif minute == 110:
        day.say("checked", "tavrin", "26.5", alarm=HEAT)
    elif minute == 112:
        day.say("hold", "oskel", minutes=20.0)
    elif minute == 160:
        day.say("works end", "tavrin", "nothing", details={"at": "B1"})
    elif minute == 165:
        day.say("fuel", "oskel", "over")
    elif minute == 210:
        warm = day.watch.state.durable.alarms[HEAT].event
        day.say("take", "oskel", minutes=20.0, event=warm)
    elif minute == 225:
        day.say("shelve", "oskel", "sump is cleaned", 59.0, alarm="sump low/SU1/alarm")


def play(day: Day, first: int, last: int) -> Day:
    """The evening from one minute to another."""
    for minute in range(first, last + 1):
        day.until(float(minute), **SENSORS.get(minute, {}))
        people(day, minute)
    return day


@cache
def undisturbed() -> tuple[tuple[State, ...], tuple[Text, ...]]:
    """The state at the end of each minute, and every text."""
    day, states = Day(HILL, WELL, EVENING), []
    for minute in range(LENGTH + 1):
        play(day, minute, minute)
        states.append(day.watch.state)
    return tuple(states), tuple(day.watch.texts)


def test_the_evening_has_everything() -> None:
    """Every kind of care happens in it, so that a restart can lose something."""
    states, texts = undisturbed()
    turns = {text.turn for text in texts}
    assert {
        "sump low", "works in progress", "works at their end", "works over", "check",
        "put aside tonight", "backup runs", "fuel low", "temperature high", "eased",
    } <= turns  # fmt: skip
    assert any(state.durable.holds for state in states)
    assert {"SHLVD", "OOSRV"} <= {
        record.state for state in states for record in state.durable.alarms.values()
    }


SLACK = 125.0
"""Seconds by which a text may come later after a restart: a delay on its way begins anew."""


def test_restart_at_any_minute() -> None:
    """A crash at any minute loses no text of the next 25 minutes and sends none twice, nor much
    later."""
    states, texts = undisturbed()
    for minute in range(1, LENGTH - 1):
        day = Day(HILL, WELL, EVENING)
        for at in sorted(SENSORS):
            day.values |= SENSORS[at] if at <= minute else {}
        day.at = minute * MINUTE
        day.watch.state = State(
            decode(json.loads(json.dumps(encode(states[minute].durable)))),
            states[minute].running,
        )
        day.watch.effects.clear()
        end = min(minute + 25, LENGTH)
        play(day.restart(), minute + 1, end)
        first, last = minute * MINUTE + 0.5, end * MINUTE + 0.5
        wanted = [text for text in texts if first < text.moment.elapsed <= last]
        told = [(text.turn, text.person) for text in day.watch.texts]
        due = [(text.turn, text.person) for text in wanted]
        assert due[: len(told)] == told, minute
        left = [text for text in wanted[len(told) :] if text.moment.elapsed < end * MINUTE - SLACK]
        assert [] == left, minute
        for before, after in zip(wanted, day.watch.texts, strict=False):
            late = after.moment.elapsed - before.moment.elapsed
            assert -1.0 <= late <= SLACK, (minute, before.turn, late)
