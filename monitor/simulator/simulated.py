"""The simulated rig: plays a story and gives readings and answers in time order."""

import math
import random
from collections import deque
from collections.abc import Collection, Iterator
from copy import deepcopy
from dataclasses import replace

from monitor.errors import RefusedInput
from monitor.inputs import Answer, Moment, Reading
from monitor.setup import Setup
from monitor.simulator.extras import DEMO, Extras
from monitor.simulator.hands import act
from monitor.simulator.people import ScriptedPeople
from monitor.simulator.physics import World
from monitor.simulator.sensors import FAULTS, Sensor, build
from monitor.simulator.story import Action, Story

NEAR = 1e-9
"""Times nearer than this are the same instant, s."""
SET_BY_HAND = frozenset({"valve", "prime"})


class Round:
    """The sensors that report at the same interval."""

    __slots__ = ("count", "due", "every", "sensors")

    def __init__(self, every: float) -> None:
        self.every, self.count, self.due = every, 0, 0.0
        self.sensors: list[Sensor] = []

    def next(self) -> None:
        self.count += 1
        self.due = self.count * self.every


class SimulatedRig:
    """A rig on a virtual clock: steady at the start of its story, then as the story goes.

    The same seed gives the same readings. origin: the moment of the start; by default elapsed 0
    of boot 1 at the story's own time. tags: only these report. step: longest step of the
    physics, s. Raises RefusedInput for a story that this rig cannot play.
    """

    def __init__(
        self,
        setup: Setup,
        story: Story,
        seed: int,
        origin: Moment | None = None,
        tags: Collection[str] | None = None,
        step: float = 1.0,
        extras: Extras = DEMO,
    ) -> None:
        start = story.local_start(setup.zone)
        self.setup, self.story = setup, story
        self.origin = origin or Moment(1, 0.0, start.timestamp())
        self.world = World(
            setup.rig,
            _settings(setup, story, start.timestamp()),
            clock=start.hour * 3600.0 + start.minute * 60.0 + start.second,
            days=story.days,
            water=story.water,
            step=step,
            extras=extras,
        )
        self._sensors: dict[str, Sensor] = {}
        self._rounds: dict[float, Round] = {}
        self._start_sensors(seed, tags)
        self._set_levels()
        self._hand = random.Random(extras.hand_seed)
        self._actions = deque(sorted(story.actions, key=lambda action: action.at))
        self._rehearse()
        self.people = ScriptedPeople(self.origin, story.says)
        self._now = 0.0
        self._ready: deque[Reading | Answer] = deque()

    @property
    def unplayed(self) -> tuple[str, ...]:
        """Tags of the rig that do not report here."""
        return tuple(tag.id for tag in self.setup.rig.tags if tag.id not in self._sensors)

    def until(self, elapsed: float) -> Iterator[Reading | Answer]:
        """Play on to `elapsed` seconds of watch time; yields what happens, in order of time.

        Nothing is lost if it is left half-way: the next call goes on from there.
        """
        end = elapsed - self.origin.elapsed
        while True:
            while self._ready:
                yield self._ready.popleft()
            due = self._next_due()
            if due > end + NEAR or math.isinf(due):
                break
            self._play(due)
        if math.isfinite(end) and end > self._now:
            self.world.advance(end - self._now)
            self._now = end

    def _next_due(self) -> float:
        due = self._actions[0].at if self._actions else math.inf
        said = self.people.next_due()
        if said is not None:
            due = min(due, said - self.origin.elapsed)
        for turn in self._rounds.values():
            if turn.due < due:
                due = turn.due
        return due

    def _play(self, at: float) -> None:
        """Move the world to an instant; then act, read, and let people speak, in this order."""
        self.world.advance(at - self._now)
        self._now = at
        while self._actions and self._actions[0].at <= at + NEAR:
            action = self._by_hand(self._actions.popleft())
            _carry_out(action, at, self.world, self._sensors)
        origin = self.origin
        elapsed = origin.elapsed + at
        moment = Moment(origin.boot, elapsed, origin.utc + at, origin.trusted)
        for turn in self._rounds.values():
            if turn.due <= at + NEAR:
                turn.next()
                for sensor in turn.sensors:
                    said = sensor.sample(at)
                    if said is not None:
                        self._ready.append(Reading(sensor.tag.id, moment, said[0], said[1]))
        self._ready.extend(self.people.due(elapsed + NEAR))

    def _by_hand(self, action: Action) -> Action:
        """The action with the setting that a hand really made of it."""
        scatter, value = self.story.scatter, action.value
        if action.do not in SET_BY_HAND or not scatter or not value:
            return action
        off = self._hand.uniform(-scatter, scatter)
        return replace(action, value=value * (1.0 + off))

    def _start_sensors(self, seed: int, tags: Collection[str] | None) -> None:
        for tag in self.setup.rig.tags:
            if tags is not None and tag.id not in tags:
                continue
            if not tag.every > 0.0:
                raise RefusedInput(f"tag {tag.id}: reports every {tag.every} s; give more than 0")
            sensor = build(tag, self.setup.rig, self.world, seed, self.story.noise)
            if sensor is not None:
                self._sensors[tag.id] = sensor
                self._rounds.setdefault(tag.every, Round(tag.every)).sensors.append(sensor)

    def _set_levels(self) -> None:
        for vessel, level in self.story.levels:
            basin = self.world.water.basins.get(vessel)
            if basin is None or not 0.0 <= level <= (basin.rim or math.inf):
                raise RefusedInput(
                    f"story {self.story.name!r}: level {level} m of {vessel!r} cannot be; "
                    "name a vessel with an area and a level between floor and rim"
                )
            basin.level = level

    def _rehearse(self) -> None:
        """Refuse before play begins what cannot be done: every action is tried on a copy."""
        world, sensors = deepcopy((self.world, self._sensors))
        for action in self._actions:
            try:
                for seconds in (action.at, action.seconds):
                    if not (math.isfinite(seconds) and seconds >= 0.0):
                        raise RefusedInput(f"{action.do}: {seconds} s is no time; give 0 or more")
                _carry_out(action, action.at, world, sensors)
            except RefusedInput as error:
                raise RefusedInput(
                    f"story {self.story.name!r}, action at {action.at} s: {error}"
                ) from error


def _carry_out(action: Action, at: float, world: World, sensors: dict[str, Sensor]) -> None:
    if action.do not in FAULTS:
        act(world, action)
        return
    if action.what not in sensors:
        known = ", ".join(sensors) or "none"
        raise RefusedInput(f"{action.do}: no sensor {action.what!r} reports; there are: {known}")
    sensors[action.what].fault(action, at)


def _settings(setup: Setup, story: Story, utc: float) -> dict[str, float]:
    """Valve setting of every siphon at the start, m3/s."""
    settings: dict[str, float] = {}
    for siphon in setup.rig.siphons:
        due = setup.flow_due.get(siphon.id)
        flow = story.set_flow
        if flow is None and due is not None:
            flow = due.set_flow.at(setup.dph(utc), setup.seconds_into_age(utc))
        if flow is None or not (math.isfinite(flow) and flow >= 0.0):
            raise RefusedInput(
                f"story {story.name!r}: no usable set flow for siphon {siphon.id} ({flow}); "
                "give the story one, or the set-up"
            )
        settings[siphon.id] = flow
    return settings
