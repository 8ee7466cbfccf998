"""Plays a recording through the real loop on a virtual clock, and prints what the watch would do.

Nothing is sent, nothing is kept: what comes out is every effect, as lines to read or as JSON
(docs/reference/replay.md). The clock jumps from row to row and to whatever falls due between.
"""

import json
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from monitor.clock import VirtualClock
from monitor.effects import Effect
from monitor.errors import HoldwaterError, RecordingError
from monitor.inputs import Answer, ClockNote, Moment
from monitor.lines import Line, as_line
from monitor.logic.state import Durable, decode, fresh
from monitor.logic.step import resume
from monitor.loop import Loop
from monitor.recording import Row, read_answers, read_rows, read_utc, recorded_tags
from monitor.setup import Run, Setup


@dataclass(frozen=True, slots=True)
class Start:
    """What a replay begins with: the state it finds, and the watch time of the first row, s."""

    durable: Durable
    elapsed: float = 0.0


def replay(
    setup: Setup,
    rows: Iterator[Row],
    answers: Sequence[tuple[float, Answer]],
    start: Start,
    run_on: float,
    show: Callable[[Line], None],
) -> None:
    """Play the rows and answers, then let the clock run on for `run_on` seconds."""
    first = next(rows, None)
    if first is None:
        raise RecordingError("the recording holds no row; is it the right file?")
    clock = VirtualClock(first.moment)

    def observe(effects: Sequence[Effect], now: Moment) -> None:
        for effect in effects:
            line = as_line(setup.zone, effect, now)
            if line is not None:
                show(line)

    begin = resume(setup, start.durable, first.moment)
    loop = Loop(setup, begin, clock, None, lambda *_: None, observe)
    player = _Player(loop, clock, list(answers))
    player.row(first)
    for row in rows:
        player.row(row)
    player.finish(run_on)


class _Player:
    """Brings rows and answers into the loop in order of time."""

    def __init__(
        self, loop: Loop, clock: VirtualClock, answers: list[tuple[float, Answer]]
    ) -> None:
        self._loop = loop
        self._clock = clock
        self._answers = answers

    def row(self, row: Row) -> None:
        """Everything that comes before the row, then its readings."""
        stepped = row.step != 0.0
        if not stepped:
            self._answer_before(row.moment.utc)
        self._loop.run_on_to(self._clock, row.moment.elapsed)
        if stepped:
            self._clock.set_wall(row.moment.utc)
            note = ClockNote(row.moment, row.moment.trusted, row.step)
            self._loop.turn([note, *row.readings])
        else:
            self._loop.turn(row.readings)

    def finish(self, run_on: float) -> None:
        """The answers that are left, then `run_on` seconds without anything."""
        self._answer_before(float("inf"))
        until = self._clock.now().elapsed + run_on
        self._loop.run_on_to(self._clock, until)
        if self._loop.next_due <= until:
            self._loop.turn(())

    def _answer_before(self, utc: float) -> None:
        while self._answers and self._answers[0][0] < utc:
            at, answer = self._answers.pop(0)
            now = self._clock.now()
            self._loop.run_on_to(self._clock, now.elapsed + max(0.0, at - now.utc))
            self._loop.turn([replace(answer, moment=self._clock.now())])


def set_up_for(setup: Setup, run_start: str, stood_down: bool) -> Setup:
    """The set-up as this replay wants it: reference hatch, and whether the watch is set."""
    run = setup.run
    if run_start:
        hatch = _hatch(setup, run_start)
        tanks = [*setup.rig.kinds(["larval tank"]), *setup.rig.vessels]
        tank = tanks[0].id if tanks else setup.rig.label
        run = Run("replay", tank, hatch) if run is None else replace(run, hatch=hatch)
    if run is None:
        if stood_down:
            raise HoldwaterError("--stood-down needs a run; give --run-start DATE as well")
        return setup
    return replace(setup, run=replace(run, watch_set=not stood_down), worked_out={})


def _hatch(setup: Setup, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        try:
            return setup.local_day(read_utc(text))
        except ValueError as error:
            raise HoldwaterError(
                f"--run-start: write a date such as 2026-10-06, or a time: {error}"
            ) from error


def with_tags(setup: Setup, tags: Collection[str]) -> Setup:
    """The set-up as if the rig had these tags only: what a recording lacks is a blank, no fault."""
    kept = tuple(tag for tag in setup.rig.tags if tag.id in tags)
    return replace(setup, rig=replace(setup.rig, tags=kept), worked_out={})


def read_start(path: Path | None) -> Start:
    """The state a replay starts from, out of a JSON file (only read); without one, a fresh one."""
    if path is None:
        return Start(fresh())
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise HoldwaterError(f"{path}: {error.strerror}; is the name right?") from error
    except (ValueError, RecursionError) as error:
        raise HoldwaterError(f"{path}: no JSON; docs/reference/replay.md shows the form") from error
    if not isinstance(data, dict):
        raise HoldwaterError(f"{path}: no JSON object; docs/reference/replay.md shows the form")
    elapsed = data.pop("elapsed", 0.0)
    if not isinstance(elapsed, int | float) or not 0.0 <= elapsed <= 1e12:
        raise HoldwaterError(f"{path}: elapsed: must be a number of seconds, 0 or more")
    try:
        return Start(decode(data), float(elapsed))
    except HoldwaterError as error:
        raise HoldwaterError(f"{path}: {error}") from error


def play_files(
    setup: Setup,
    recording: Path,
    answers: Path | None,
    state: Path | None,
    run_on: float,
    show: Callable[[Line], None],
) -> None:
    """What `holdwater replay` does, once the set-up is read."""
    start = read_start(state)
    said = [] if answers is None else read_answers(answers)
    setup = with_tags(setup, recorded_tags(recording, setup.rig))
    replay(setup, read_rows(recording, setup.rig, start.elapsed), said, start, run_on, show)
