"""How an event eases, what came first in it, and who is called meanwhile."""

from dataclasses import replace

from logic.days import Day
from logic.play import sample, with_tags
from monitor.logic.alarms import ACTIVE, UNANSWERED

WARM = with_tags(sample("ostrel-hill"), "TW1")
HEAT = "temperature high/LT1/alarm"


def test_a_notice_that_is_left_calls_nobody() -> None:
    """Water over 28.0 calls people; once it is back under that and only over the warn line of
    27.3, the calling ends, those called hear so, and the event stays open."""
    day = Day(WARM, {"TW1": 26.5}).until(10.0, TW1=28.3).until(22.0)
    called = [turn for turn in day.turns if turn[1] in ("temperature high", "next call")]
    assert [("temperature high", "tavrin"), ("next call", "oskel")] == [t[1:] for t in called[:2]]
    day.until(60.0, TW1=27.6).until(240.0)
    assert "eased" == day.turns[-1][1]
    assert {"oskel", "tavrin", "lendow"} >= {who for _, turn, who in day.turns if turn == "eased"}
    eased = [text.body for text in day.watch.texts if text.turn == "eased"]
    assert "Left: WATER WARM" in eased[-1]
    assert day.turns[-1][0] < 35.0
    event = day.watch.event(52)
    assert ("open", "notice", None) == (event.stage, event.grade, event.next_call)


def test_an_eased_event_calls_again_when_it_gets_worse() -> None:
    """Over 28.0 once more: the first on duty is called anew, the second five minutes later."""
    day = Day(WARM, {"TW1": 26.5}).until(5.0, TW1=28.3).until(12.0, TW1=27.6).until(60.0)
    assert "eased" == day.turns[-1][1]
    before = len(day.turns)
    day.until(75.0, TW1=28.4)
    assert ["temperature high", "next call", "next call"] == [
        turn for _, turn, _ in day.turns[before : before + 3]
    ]


def test_an_eased_event_lets_its_taker_off() -> None:
    """Who took it is told, and no reminder follows at the promise."""
    day = Day(WARM, {"TW1": 26.5}).until(4.0, TW1=28.3)
    day.say("take", event=52, minutes=30.0).until(120.0, TW1=27.6)
    assert ["temperature high", "eased"] == [turn for _, turn, _ in day.turns]


TABLE_B1 = """
initial           F T T F
goes active       T F T T
acknowledged      T T F T
goes inactive     F T F T
confirmed         F T T F
goes active       T F T T
goes inactive     F F T T
acknowledged      F T F T
confirmed         F T T F
"""
"""OPC UA Part 9 v1.05, table B.1: what happens; then Active, Acked, Confirmed, Retain."""


def columns(day: Day) -> str:
    """The columns of the table as the watch has them.

    Active and Acked are of the alarm. To confirm is to say that the cause has been dealt with:
    here the closing of an event that somebody had taken. Retain: still shown to people.
    """
    durable = day.watch.state.durable
    alarm = durable.alarms.get(HEAT)
    event = durable.events.get(alarm.event) if alarm is not None else None
    is_shown = event is not None and event.stage != "closed"
    active = alarm is not None and alarm.state in ACTIVE
    acked = alarm is None or alarm.state not in UNANSWERED
    confirmed = not (is_shown and event is not None and event.taken_by)
    return " ".join("FT"[fact] for fact in (active, acked, confirmed, is_shown))


def test_table_b1_of_opc_ua() -> None:
    """The published sequence, lived by a watch with a thermometer: the same columns in each row."""
    one = tuple(limit for limit in WARM.limits if limit.step == "alarm" and limit.side == "high")
    day = Day(replace(WARM, limits=one, worked_out={}), {"TW1": 27.75}).until(1.0)
    shown = [("initial", columns(day))]

    def row(what: str, then: Day) -> None:
        shown.append((what, columns(then)))

    row("goes active", day.until(5.0, TW1=28.05))
    row("acknowledged", day.say("take", event=52))
    row("goes inactive", day.until(7.0, TW1=27.75))
    row("confirmed", day.until(14.0))
    row("goes active", day.until(18.0, TW1=28.05))
    row("goes inactive", day.until(20.0, TW1=27.75))
    row("acknowledged", day.say("take", event=53))
    row("confirmed", day.until(27.0))
    wanted = [(line[:18].strip(), line[18:]) for line in TABLE_B1.strip().splitlines()]
    assert wanted == shown


def test_first_out_is_what_went_wrong_first() -> None:
    """Mains, supply and header go within a minute: the event names the mains, which went first."""
    setup = with_tags(sample("ostrel-hill"), "LH", "QS", "MP")
    day = Day(setup, {"MP": 1.0, "QS": 9.0, "LH": 38.3}).until(5.0)
    day.until(8.0, MP=0.0, QS=0.0)
    event = day.watch.event(52)
    assert "mains lost" == event.first_out.split("/")[0]
    assert {"mains lost", "supply lost"} <= {alarm.split("/")[0] for alarm in event.alarms}
