"""The simulated rig as a source: its readings in real time, or faster, for demonstrations."""

import math
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated

from pydantic import ConfigDict, Field, ValidationError
from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.errors import Problem, SetupError
from monitor.inputs import Moment, Reading
from monitor.rig import Rig
from monitor.setup import Setup, SourceSetup
from monitor.simulator.nights import STORIES
from monitor.simulator.simulated import SimulatedRig
from monitor.simulator.story import Story
from monitor.units import L_PER_MIN

STEADY = "steady"


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class SimulatedOptions:
    """story: a name in nights.STORIES. speed: story seconds a second. set_flow: L/min, None for
    that of the story."""

    story: str = STEADY
    seed: int = 1
    speed: Annotated[float, Field(gt=0.0, le=1000.0)] = 1.0
    set_flow: Annotated[float, Field(gt=0.0, le=1e6)] | None = None


class SimulatedSource:
    """Plays a story on the rig it belongs to; "steady" at the time of day it really is.

    What people say in the story is not delivered: a source gives readings. They are stamped when
    delivered, so the delays of a watch fit only at speed 1. Raises SetupError with every problem,
    RefusedInput for a story that the rig cannot play.
    """

    def __init__(self, source: SourceSetup, rig: Rig, secrets: Mapping[str, str]) -> None:
        self.id = source.id
        self._rig = rig
        self._tags = frozenset(tag.id for tag in rig.tags if tag.source == source.id)
        self._options, problems = _read(source)
        if not self._tags:
            problems.append(_problem(source, "id", "no tag names this source", "Name it in one"))
        if problems:
            raise SetupError(problems)
        self._play(Moment(0, 0.0, 0.0))  # what cannot be played is refused now, not in the thread

    def run(self, put: Callable[[Reading], None], clock: Clock, stop: threading.Event) -> None:
        """Deliver readings when due until `stop` is set."""
        begin = clock.now()
        for item in self._play(begin).until(math.inf):
            due = begin.elapsed + (item.moment.elapsed - begin.elapsed) / self._options.speed
            while clock.now().elapsed < due and not stop.is_set():
                clock.wait(stop, due)
            if stop.is_set():
                return
            if isinstance(item, Reading):
                put(replace(item, moment=clock.now()))

    def _play(self, begin: Moment) -> SimulatedRig:
        return SimulatedRig(
            Setup(0, self._rig), self._story(begin), self._options.seed, begin, self._tags
        )

    def _story(self, begin: Moment) -> Story:
        options = self._options
        story = STORIES[options.story]()
        if options.set_flow is not None:
            story = replace(story, set_flow=options.set_flow * L_PER_MIN)
        if options.story == STEADY:
            story = replace(story, start=datetime.fromtimestamp(begin.utc, UTC).isoformat())
        return story


def _read(source: SourceSetup) -> tuple[SimulatedOptions, list[Problem]]:
    """The options of a source, with every problem in them."""
    try:
        options = SimulatedOptions(**dict(source.options))  # type: ignore[arg-type]
    except ValidationError as error:
        return SimulatedOptions(), [
            _problem(
                source,
                ".".join(str(part) for part in wrong["loc"]) or "options",
                wrong["msg"],
                "Options: story, seed, speed, set_flow",
            )
            for wrong in error.errors(include_url=False)
        ]
    if options.story in STORIES:
        return options, []
    wrong = f"no story {options.story!r}"
    return options, [_problem(source, "story", wrong, f"There are: {', '.join(STORIES)}")]


def _problem(source: SourceSetup, key: str, wrong: str, remedy: str) -> Problem:
    return Problem(f"source {source.id}", None, key, wrong, remedy)
