"""A day by hand: a few sensors that say what they are told to, and people who answer."""

import json
from collections.abc import Mapping

from logic.play import Watch, watch
from monitor.inputs import Answer, Moment, Reading
from monitor.logic.state import decode, encode
from monitor.logic.step import resume
from monitor.setup import Setup

AFTERNOON = Moment(1, 0.0, 1_792_782_000.0)
"""Fri 23 Oct 2026, 14:00 at the site: Tavrin, Oskel and Lendow are called in this order."""
MINUTE = 60.0


class Day:
    """A watch on a few sensors, each of which speaks every half minute."""

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
            readings = [Reading(tag, now, value) for tag, value in self.values.items()]
            self.watch.feed(readings, self.at)
            self.watch.take(self.at)
        self.watch.idle(self.at + 0.5)
        return self

    def say(
        self,
        kind: str,
        who: str = "tavrin",
        text: str = "",
        minutes: float | None = None,
        event: int | None = None,
        alarm: str = "",
        details: Mapping[str, str] | None = None,
    ) -> "Day":
        """Somebody says something now."""
        named = tuple((({"alarm": alarm} if alarm else {}) | dict(details or {})).items())
        said = Answer(self.watch.now(self.at), kind, who, event, minutes, text, details=named)
        self.watch.take(self.at, [said])
        self.watch.idle(self.at + 0.5)
        return self

    def restart(self, time_lost: bool = False) -> "Day":
        """The watch dies and starts again with what it had kept."""
        kept = decode(json.loads(json.dumps(encode(self.watch.state.durable))))
        again = resume(self.watch.setup, kept, self.watch.now(self.at), time_lost)
        self.watch.state, self.watch.due = again.state, again.next_due
        self.watch.effects.extend(again.effects)
        return self

    def state(self, alarm: str) -> str:
        """The state of an alarm."""
        return self.watch.state.durable.alarms[alarm].state

    @property
    def turns(self) -> list[tuple[float, str, str]]:
        """Minute, turn and person of every text but the questions about duty."""
        return [
            (round(text.moment.elapsed / MINUTE, 1), text.turn, text.person)
            for text in self.watch.texts
            if not text.turn.startswith("asked: ") and text.turn != "nobody answers"
        ]

    @property
    def refused(self) -> list[str]:
        """Why answers were not taken."""
        return [refusal.why for refusal in self.watch.refusals]
