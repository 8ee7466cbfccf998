"""How an event eases, what came first in it, and who is called meanwhile."""

from logic.days import Day
from logic.play import sample, with_tags

WARM = with_tags(sample("ostrel-hill"), "TW1")


def test_a_notice_that_is_left_calls_nobody() -> None:
    """Water over 28.0 calls people; once it is back under that and only over the warn line of
    27.3, the calling ends, those called hear so, and the event stays open."""
    day = Day(WARM, {"TW1": 26.5}).until(10.0, TW1=28.3).until(22.0)
    called = [turn for turn in day.turns if turn[1] in ("temperature high", "next call")]
    assert [("temperature high", "tavrin"), ("next call", "oskel")] == [t[1:] for t in called[:2]]
    day.until(60.0, TW1=27.6).until(240.0)
    assert "eased" == day.turns[-1][1]
    assert {"oskel", "tavrin", "lendow"} >= {who for _, turn, who in day.turns if turn == "eased"}
    assert "Left: WATER WARM" in day.watch.texts[-1].body
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
