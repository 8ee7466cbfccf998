"""What a day is asked with: its span, the set-ups in force, and what each tag has to say. Pure."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from monitor.logic.chains import Chain
from monitor.logic.plan import plan_of
from monitor.record.course import Chunk, Course
from monitor.record.spans import Span, Spans, joined
from monitor.rig import Tag
from monitor.setup import Profile, Setup


class Cares(NamedTuple):
    """What is asked of a tag. A lump of its readings must lie on one side of each of these.

    edges: UTC s, in order. levels: values, SI.
    """

    edges: tuple[float, ...]
    levels: tuple[float, ...]


Read = Callable[[Tag, Cares], Iterable[Chunk]]
"""Gives the readings of a tag, in SI, for the day and a minute on both sides of it."""


@dataclass(frozen=True, slots=True)
class Force:
    """A set-up and when it was in force."""

    span: Span
    setup: Setup


@dataclass(frozen=True, slots=True)
class Frame:
    """All of a day but its readings.

    dph: by the reference hatch of today; limits go by that of the set-up then in force.
    forces: the set-ups of the run in force that day, in order, at least one. holds: feeding holds
    on each line. opens, closes: whether the record begins or ends that day. silences: moments at
    which the watch itself noted that a sensor was silent. base: C, of degree-days.
    """

    day: date
    dph: int
    span: Span
    forces: tuple[Force, ...]
    holds: Mapping[str, Spans] = field(default_factory=dict)
    opens: bool = False
    closes: bool = False
    silences: tuple[float, ...] = ()
    base: float = 0.0

    @property
    def in_force(self) -> Spans:
        """When the run was under watch with a set-up of its own."""
        return joined(force.span for force in self.forces)


@dataclass(frozen=True, slots=True)
class Seen:
    """What one tag has to say of the day, with the moments of readings that cannot be used."""

    tag: Tag
    course: Course
    spans: Spans
    got: int
    unusable: tuple[float, ...]


def line_into_tank(setup: Setup) -> Chain | None:
    """The one line that feeds the tank of the run; None where there is none, or several."""
    assert setup.run is not None
    chains = [
        chain
        for chain in plan_of(setup).chains
        if chain.tank is not None and chain.tank.id == setup.run.tank
    ]
    return chains[0] if len(chains) == 1 else None


def in_steps(frame: Frame, profile: Callable[[Setup], Profile]) -> Iterator[tuple[Span, float]]:
    """The values of a profile over the day, as the watch had them: by set-up, dph and hour."""
    for force in frame.forces:
        setup, steps = force.setup, profile(force.setup)
        edges = [force.span.start, force.span.end]
        at = setup.next_time_of_day(force.span.start, steps.changes_at)
        if len(steps.steps) > 1 and at < force.span.end:
            edges.insert(1, at)
        for start, end in pairwise(edges):
            value = steps.at(setup.dph(start), setup.seconds_into_age(start))
            yield Span(start, end), value
