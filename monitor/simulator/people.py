"""Scripted people: they answer at fixed times, or so long after they were texted."""

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from monitor.errors import RefusedInput
from monitor.inputs import ANSWER_KINDS, Answer, Moment
from monitor.simulator.story import Say

WAY = "script"


@dataclass(frozen=True, slots=True)
class Rule:
    """How a person reacts to being texted: `after` seconds later they send this answer.

    turn: the turn of the text it reacts to; empty for any. times: how often it is followed.
    """

    who: str
    after: float
    kind: str
    turn: str = ""
    minutes: float | None = None
    text: str = ""
    times: int = 1


class ScriptedPeople:
    """Collects what people will say and yields it when due.

    start: the moment from which the times of `says` count.
    """

    def __init__(self, start: Moment, says: Sequence[Say] = (), rules: Sequence[Rule] = ()) -> None:
        self._start = start
        self._rules = tuple(rules)
        self._left = [rule.times for rule in self._rules]
        self._due: list[tuple[float, int, Say]] = []
        self._count = 0
        for kind in [say.kind for say in says] + [rule.kind for rule in self._rules]:
            if kind not in ANSWER_KINDS:
                raise RefusedInput(
                    f"scripted answer {kind!r}: there are only {', '.join(ANSWER_KINDS)}"
                )
        for say in says:
            self._plan(start.elapsed + say.at, say)

    def texted(self, who: str, event: int | None, turn: str, at: Moment) -> None:
        """A text reached a person; rules that fit it put their answers on the way."""
        for place, rule in enumerate(self._rules):
            if rule.who == who and rule.turn in ("", turn) and self._left[place] > 0:
                self._left[place] -= 1
                say = Say(rule.after, who, rule.kind, event, rule.minutes, rule.text)
                self._plan(at.elapsed + rule.after, say)

    def next_due(self) -> float | None:
        """Elapsed seconds at which somebody speaks next."""
        return self._due[0][0] if self._due else None

    def due(self, until: float) -> list[Answer]:
        """What was said up to and including `until` (elapsed seconds), in order of time."""
        answers: list[Answer] = []
        while self._due and self._due[0][0] <= until:
            at, _, say = heappop(self._due)
            moment = Moment(self._start.boot, at, self._start.utc_at(at), self._start.trusted)
            answers.append(Answer(moment, say.kind, say.who, say.event, say.minutes, say.text, WAY))
        return answers

    def _plan(self, at: float, say: Say) -> None:
        heappush(self._due, (at, self._count, say))
        self._count += 1
