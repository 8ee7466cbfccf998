"""Plays one fault through the real loop on a virtual clock, with the people of the duty list."""

import heapq
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import count

from monitor.clock import VirtualClock
from monitor.drill.faults import HOUR, Case, Fault
from monitor.drill.harm import Harm, HarmWatch
from monitor.drill.rig_sheet import READ
from monitor.effects import Text
from monitor.inputs import Answer, Reading
from monitor.logic.events import is_open
from monitor.logic.state import EventRecord, fresh
from monitor.logic.step import resume
from monitor.loop import Loop
from monitor.setup import Setup
from monitor.simulator import SimulatedRig, Story

SETTLED = 900.0
"""Seconds that the rig runs well before the fault: filters and means are full by then."""
LOOK = 10.0
"""Seconds between two looks at the true rig."""
AFTERWARDS = 1800.0
"""Seconds after an arrival in which a harm that is still to come is looked for."""
NIGHT, DAYTIME = "01:00:00", "10:30:00"
"""Local time at which a fault begins by night and by day."""


@dataclass(frozen=True, slots=True)
class When:
    """Day and kind of hour of a drill. asleep: people who answer nothing."""

    day: date
    night: bool
    asleep: Collection[str] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one fault; seconds count from its beginning, None where it did not happen.

    recognised: the first condition of an event. names: its conditions in order. presumed: whether
    the stop of the flow was only inferred. taker, arrival: who took it and is at the tank.
    """

    fault: str
    when: When
    flow: float
    recognised: float | None = None
    names: tuple[str, ...] = ()
    presumed: bool = False
    told: tuple[tuple[float, str, str], ...] = ()
    taker: str = ""
    arrival: float | None = None
    harm: Harm | None = None

    @property
    def called(self) -> float | None:
        """When the first text went out."""
        return self.told[0][0] if self.told else None

    @property
    def margin(self) -> float | None:
        """Seconds in hand at arrival, below zero when harm came first; None without a harm."""
        if self.harm is None or self.arrival is None:
            return None
        return self.harm.at - self.arrival

    @property
    def verdict(self) -> str:
        """What it comes to; capitals where harm is done that nobody comes in time for."""
        if self.recognised is None:
            return "not noticed" if self.harm is None else "NOT NOTICED"
        if self.harm is None:
            return "in time" if self.arrival is not None else "no harm yet"
        if self.arrival is None:
            return "NOBODY COMES"
        if self.harm.at <= LOOK:
            return "at once"
        return "in time" if self.arrival <= self.harm.at else "TOO LATE"

    @property
    def sight(self) -> str:
        """How this rig saw it, as it turned out."""
        if self.recognised is None:
            return "blind"
        if self.presumed:
            return "presumed"
        return "seen" if self.recognised <= 300.0 else "seen late"


def set_up_at(setup: Setup, day: date, dph: int | None) -> Setup:
    """The set-up with the watch set, and the run as old on that day as is wished."""
    if setup.run is None:
        return setup
    run = replace(setup.run, watch_set=True)
    if dph is not None:
        run = replace(run, hatch=day - timedelta(days=dph - run.hatch_day))
    return replace(setup, run=run, worked_out={})


@dataclass
class _Play:
    """One fault under way."""

    setup: Setup
    rig: SimulatedRig
    clock: VirtualClock
    when: When
    loop: Loop = field(init=False)
    texts: list[Text] = field(default_factory=list)
    said: list[tuple[float, int, Answer]] = field(default_factory=list)
    order: "count[int]" = field(default_factory=count)

    def hear(self, text: Text, _channels: tuple[str, ...]) -> None:
        """Somebody gets a text; whoever is awake takes the event and goes."""
        self.texts.append(text)
        person = text.person
        if text.event == 0 or person in self.when.asleep:
            return
        at = text.moment.elapsed + READ
        away = self.setup.person[person].night if self.when.night else self.setup.person[person].day
        self._plan(at, person, "take", text.event)
        self._plan(at + away, person, "here", text.event)

    def _plan(self, at: float, who: str, kind: str, event: int) -> None:
        answer = Answer(self.clock.now(), kind, who, event, way="drill")
        heapq.heappush(self.said, (at, next(self.order), answer))

    def to(self, elapsed: float) -> None:
        """Play on, people and sensors in order of time."""
        batch: list[Reading] = []
        for item in self.rig.until(elapsed):
            if not isinstance(item, Reading):
                continue
            if batch and item.moment.elapsed > batch[0].moment.elapsed:
                self._turn(batch)
                batch = []
            batch.append(item)
        self._turn(batch)
        self._people(elapsed)
        self.loop.run_on_to(self.clock, elapsed)

    def _turn(self, batch: list[Reading]) -> None:
        if batch:
            at = batch[0].moment.elapsed
            self._people(at)
            self.loop.run_on_to(self.clock, at)
            self.loop.turn(batch)

    def _people(self, until: float) -> None:
        while self.said and self.said[0][0] <= until:
            at, _, answer = heapq.heappop(self.said)
            self.loop.run_on_to(self.clock, at)
            if self._is_wanted(answer):
                self.loop.turn([replace(answer, moment=self.clock.now())])

    def _is_wanted(self, answer: Answer) -> bool:
        """Nobody takes what somebody has, and only who has it goes there."""
        event = self.loop.state.durable.events.get(answer.event or 0)
        if event is None or not is_open(event):
            return False
        if answer.kind == "take":
            return event.stage == "open"
        return event.stage == "taken" and event.taken_by == answer.who

    @property
    def event(self) -> EventRecord | None:
        """The event of the fault: the first that was opened."""
        return min(
            self.loop.state.durable.events.values(), key=lambda event: event.number, default=None
        )


def play(setup: Setup, fault: Fault, case: Case, flow: float, when: When) -> Outcome:
    """What would come of a fault; setup: as `set_up_at` gives it."""
    start = f"{when.day.isoformat()}T{NIGHT if when.night else DAYTIME}"
    actions = tuple(replace(action, at=SETTLED + action.at) for action in case.actions)
    story = Story(fault.name, start, SETTLED + fault.hours * HOUR, flow, actions)
    rig = SimulatedRig(setup, story, seed=1)
    origin = rig.origin
    clock = VirtualClock(origin)
    under_way = _Play(setup, rig, clock, when)
    begin = resume(setup, fresh(), origin)
    under_way.loop = Loop(setup, begin, clock, None, under_way.hear, lambda *_: None)
    under_way.to(origin.elapsed + SETTLED - LOOK)
    dph = setup.dph(origin.utc)
    harms = HarmWatch(setup, rig, flow, dph)
    began = origin.elapsed + SETTLED
    at = -LOOK
    while at < fault.hours * HOUR:
        harms.look(at)
        event = under_way.event
        there = event.on_site if event is not None else None
        if there is not None and (harms.first is not None or began + at > there + AFTERWARDS):
            break
        at += LOOK
        under_way.to(began + at)
    return _outcome(under_way, fault, flow, began, harms.first)


def _outcome(
    under_way: _Play, fault: Fault, flow: float, began: float, harm: Harm | None
) -> Outcome:
    event = under_way.event
    outcome = Outcome(fault.name, under_way.when, flow, harm=harm)
    if event is None:
        return outcome
    told = tuple(
        (text.moment.elapsed - began, text.person, text.body)
        for text in under_way.texts
        if text.event == event.number
    )
    names = tuple(dict.fromkeys(alarm.split("/")[0] for alarm in event.alarms))
    return replace(
        outcome,
        recognised=max(0.0, event.opened - began),
        names=names,
        presumed=event.no_flow_presumed,
        told=told,
        taker=event.taken_by,
        arrival=None if event.on_site is None else event.on_site - began,
    )
