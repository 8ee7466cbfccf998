"""How an event eases, what came first in it, and who is called meanwhile."""

from collections.abc import Mapping

from logic.play import Watch, sample, watch, with_tags
from monitor.inputs import Answer, Moment, Reading
from monitor.setup import Setup

AFTERNOON = Moment(1, 0.0, 1_792_782_000.0)
"""Fri 23 Oct 2026, 14:00 at the site."""
WARM = with_tags(sample("ostrel-hill"), "TW1")
MINUTE = 60.0


class Day:
    """A watch on a few sensors that say what they are told to, each half minute."""

    def __init__(
        self, setup: Setup, values: Mapping[str, float], start: Moment = AFTERNOON
    ) -> None:
        self.watch: Watch = watch(setup, start, 52)
        self.values = dict(values)
        self.at = 0.0

    def until(self, minutes: float, **values: float) -> "Day":
        """Go on to this minute, the sensors named saying something new from now on."""
        self.values |= values
        while self.at + 30.0 <= minutes * MINUTE:
            self.at += 30.0
            now = self.watch.now(self.at)
            self.watch.feed(
                [Reading(tag, now, value) for tag, value in self.values.items()], self.at
            )
            self.watch.take(self.at)
        self.watch.idle(self.at + 0.5)
        return self

    def say(self, kind: str, who: str = "tavrin", **more: object) -> "Day":
        """Somebody says something now."""
        said = Answer(self.watch.now(self.at), kind, who, **more)  # type: ignore[arg-type]
        self.watch.take(self.at, [said])
        self.watch.idle(self.at + 0.5)
        return self

    @property
    def turns(self) -> list[tuple[float, str, str]]:
        """Minute, turn and person of every text."""
        return [
            (round(text.moment.elapsed / MINUTE, 1), text.turn, text.person)
            for text in self.watch.texts
        ]


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
