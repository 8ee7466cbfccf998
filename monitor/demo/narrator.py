"""What the demo prints: a timeline in plain ASCII, for a terminal or a file."""

import textwrap
from collections.abc import Sequence

from monitor.demo.screen import WIDTH, Screen
from monitor.effects import Effect, JournalRow, Text
from monitor.inputs import Answer, Moment
from monitor.logic.chains import Chain
from monitor.logic.plan import plan_of
from monitor.logic.state import State
from monitor.logic.suppression import CAUSES
from monitor.rig import Tag
from monitor.setup import Setup
from monitor.simulator import Action
from monitor.units import STATES

BOX = WIDTH - 12

QUIET_LINES = 6
"""A line on water that stands still is printed this seldom: every so many times it is asked for."""

STAGE_DIRECTIONS = {
    "mains off": "the power fails",
    "mains on": "the power is back",
    "failed priming": "the siphon is primed by hand: a little water, then air at the crest",
    "prime": "the siphon is primed by hand",
    "valve": "the siphon valve is set by hand",
    "light timer": "the light timer is set right by hand",
}
"""What happens to the rig from outside, in words."""

_TOLD_GRADES = ("high", "urgent")


class Narrator:
    """Prints what happens as it happens. The watch is never told any of this."""

    def __init__(self, setup: Setup, screen: Screen) -> None:
        self._setup = setup
        self._write = screen.line
        self._screen = screen
        self._active: set[str] = set()
        self._last_water: tuple[int, ...] = ()
        self._left_out = 0
        self._chain: Chain | None = next(iter(plan_of(setup).chains), None)

    def say(self, *lines: str) -> None:
        """Lines as they are."""
        for line in lines:
            self._write(line)

    def clock(self, moment: Moment) -> str:
        """Site time of a moment, for the left margin."""
        return f"{self._setup.local(moment.utc):%H:%M:%S}"

    def progress(self, now: Moment, share: float) -> None:
        """How far the night is."""
        self._screen.progress(self.clock(now)[:5], share)

    def water(self, state: State, now: Moment) -> None:
        """One line on what the sensors of the water show, if that has changed or is long ago."""
        values = [
            (name, tag, value)
            for name, tag in self._tags()
            if (value := _value(state, tag)) is not None
        ]
        rounded = tuple(round(tag.unit.from_si(value)) for _, tag, value in values)
        if rounded == self._last_water and self._left_out + 1 < QUIET_LINES:
            self._left_out += 1
            return
        self._last_water, self._left_out = rounded, 0
        self._line(now, ", ".join(f"{n} {_shown(tag, value)}".strip() for n, tag, value in values))

    def _tags(self) -> list[tuple[str, Tag]]:
        chain = self._chain
        if chain is None:
            return []
        named = (
            ("mains", chain.mains),
            ("supply", chain.supply),
            ("header", chain.level),
            ("header float", None if chain.level is not None else chain.float),
            ("flow", chain.flow),
            ("cup", chain.witness),
            ("", chain.temperature),
        )
        return [(name, tag) for name, tag in named if tag is not None]

    def happened(self, action: Action, now: Moment) -> None:
        """A stage direction: what the rig goes through, in brackets."""
        self._line(now, f"({STAGE_DIRECTIONS.get(action.do, action.do)})")

    def effects(self, effects: Sequence[Effect], _now: Moment) -> None:
        """What the watch notes and whom it tells."""
        for effect in effects:
            if isinstance(effect, Text):
                self._box(effect)
            elif isinstance(effect, JournalRow):
                words = self._words(effect)
                if words:
                    self._line(effect.moment, words)

    def answers(self, answer: Answer) -> None:
        """What a person says."""
        said = [answer.kind, *([str(answer.event)] if answer.event is not None else [])]
        if answer.minutes is not None:
            said.append(f"in {answer.minutes:.0f} min")
        if answer.text:
            said.append(answer.text)
        self._line(answer.moment, f"{self._name(answer.who)} answers: {' '.join(said)}")

    def refused(self, why: str) -> None:
        """An answer that the watch could not take."""
        self._write(f"          REFUSED: {why}")

    def _words(self, row: JournalRow) -> str:
        """A journal row as the demo tells it; "" for what would only clutter the night."""
        if row.what == "condition":
            return self._condition(row)
        if row.what == "event":
            who = f" ({self._name(row.who)})" if row.who else ""
            return f"** event {row.subject}: {row.state}{who}"
        if row.what == "answer" and row.cause == "command":
            return f"{self._name(row.who)}, by command: {row.subject} {row.state} {row.text}"
        if row.what == "fault":
            return f"the watch itself: {row.subject} {row.state} {row.text}"
        return ""

    def _condition(self, row: JournalRow) -> str:
        """What came true, with its evidence, unless a known cause explains it; and its end."""
        name = row.subject.split("/")[0]
        if row.state != "true":
            told = row.subject in self._active
            self._active.discard(row.subject)
            return f"over: {name}" if told else ""
        active = {subject.split("/")[0] for subject in self._active}
        explained = active.intersection(CAUSES.get(name, ()))
        if explained or name in active or not (row.grade in _TOLD_GRADES or name == "mains lost"):
            return ""
        self._active.add(row.subject)
        shown = [value if label == "how" else f"{label} {value}" for label, value in row.evidence]
        return f"{name.upper()}: {', '.join(shown)}"

    def _box(self, text: Text) -> None:
        title = f"-- text to {self._name(text.person)}, {self.clock(text.moment)[:5]} "
        self._write("")
        self._write(f"          +{title:-<{BOX}}+")
        for line in textwrap.wrap(text.body, BOX - 2):
            self._write(f"          | {line:<{BOX - 2}} |")
        self._write(f"          +{'-' * BOX}+")
        self._write("")

    def _line(self, moment: Moment, words: str) -> None:
        wrapped = textwrap.wrap(words, WIDTH - 10) or [""]
        self._write(f"{self.clock(moment)}  {wrapped[0]}")
        for line in wrapped[1:]:
            self._write(f"          {line}")

    def _name(self, person: str) -> str:
        known = self._setup.person.get(person)
        return known.name if known is not None else person


def _value(state: State, tag: Tag) -> float | None:
    known = state.running.tags.get(tag.id)
    return None if known is None else known.value


def _shown(tag: Tag, value: float) -> str:
    if tag.measures in STATES:
        return STATES[tag.measures][int(value)]
    return tag.unit.show(value)
