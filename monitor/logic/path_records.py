"""What the watch remembers of the ways to reach people: when each last proved itself."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PathRecord:
    """One channel. proved: UTC second of the last answer of a person to what went out by it, 0 for
    never; by: who that was. failed: UTC second of a test that nobody answered since, 0 for none.

    number: the number of the test that waits for its answer, 0 for none; who: to whom it was put;
    wait: elapsed second at which no answer counts as none.
    """

    proved: float = 0.0
    by: str = ""
    failed: float = 0.0
    number: int = 0
    who: str = ""
    wait: float = 0.0


@dataclass(frozen=True, slots=True)
class Lines:
    """UTC seconds up to which tests of the paths, and lines of the day, have been looked after;
    0 before the first look. to: who was told to expect the next line."""

    tested: float = 0.0
    said: float = 0.0
    to: str = ""
