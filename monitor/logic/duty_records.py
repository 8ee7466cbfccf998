"""What the watch remembers of duty between two steps: exchanges, questions, a sleeper, a storm.

What ends by the clock on the wall is kept in UTC seconds; waits are in elapsed seconds.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Exchange:
    """Two people who take each other's place on the duty list, from `start` to `end` (UTC)."""

    start: float
    end: float
    one: str
    other: str


@dataclass(frozen=True, slots=True)
class Question:
    """A question to one person; its number is what is answered to, as with an event.

    kind: "duty" (are you there tonight?), "swap" (will you take it?), "sign" (are you well?).
    wait: elapsed seconds at which no answer counts as no. start, end: the span of duty it is
    about, UTC. behalf: for whom somebody is asked to stand in, "" for nobody. passed: who was
    asked the same before, and is not asked again.
    """

    number: int
    kind: str
    who: str
    asked: float
    wait: float
    start: float
    end: float
    behalf: str = ""
    passed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sleeper:
    """Somebody who sleeps on site until a UTC second."""

    who: str
    until: float


@dataclass(frozen=True, slots=True)
class Storm:
    """Storm footing, begun by `who`, until a UTC second.

    since, sign: elapsed seconds of its beginning and of the last sign of life of a person.
    """

    who: str
    since: float
    until: float
    sign: float
