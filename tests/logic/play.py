"""Plays a story of the simulated rig through the logic, on a virtual clock."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from monitor.config import load
from monitor.effects import Effect, JournalRow, Refusal, Text
from monitor.inputs import Answer, Input, Moment, Reading
from monitor.logic.state import EventRecord, State, fresh
from monitor.logic.step import Step, resume, step
from monitor.setup import Duty, Setup
from monitor.simulator import SimulatedRig, Story, nights
from monitor.simulator.story import Say, after

SAMPLES = Path(__file__).parents[2] / "sample_config"


@cache
def sample(name: str) -> Setup:
    """A set-up of sample_config, read once."""
    return load(SAMPLES / name)


def without(setup: Setup, *tags: str) -> Setup:
    """The same set-up on a rig that lacks these tags, and their limits with them."""
    return with_tags(setup, *(tag.id for tag in setup.rig.tags if tag.id not in tags))


def with_tags(setup: Setup, *tags: str) -> Setup:
    """The same set-up on a rig that has only these tags."""
    kept = tuple(tag for tag in setup.rig.tags if tag.id in tags)
    limits = tuple(limit for limit in setup.limits if limit.tag in tags)
    return replace(setup, rig=replace(setup.rig, tags=kept), limits=limits, worked_out={})


@dataclass(slots=True)
class Watch:
    """A watch on a virtual clock: feed it, and read what it has told so far."""

    setup: Setup
    origin: Moment
    state: State
    due: float
    effects: list[Effect]
    clock: Callable[[float], float]

    def now(self, elapsed: float) -> Moment:
        return Moment(self.origin.boot, elapsed, self.clock(elapsed))

    def take(self, elapsed: float, inputs: Sequence[Input] = ()) -> Step:
        """One step at this elapsed time."""
        result = step(self.setup, self.state, inputs, self.now(elapsed))
        self.state, self.due = result.state, result.next_due
        self.effects.extend(result.effects)
        return result

    def feed(self, inputs: Iterable[Input], until: float) -> "Watch":
        """A step for the inputs of each moment and at each due time, up to `until`."""
        batch: list[Input] = []
        for item in inputs:
            at = item.moment.elapsed
            if batch and at > batch[0].moment.elapsed:
                self.take(batch[0].moment.elapsed, batch)
                batch = []
            if not batch:
                self.idle(at)
            batch.append(item)
        if batch:
            self.take(batch[0].moment.elapsed, batch)
        self.idle(until)
        return self

    def idle(self, until: float) -> None:
        """A step at each due time before `until`."""
        while self.due < until:
            self.take(self.due)

    def elapsed(self, clock: str) -> float:
        """Elapsed seconds at which the site clock next shows HH:MM:SS."""
        return self.origin.elapsed + after(
            self.setup.local(self.origin.utc).isoformat()[:19], clock
        )

    @property
    def texts(self) -> list[Text]:
        return [effect for effect in self.effects if isinstance(effect, Text)]

    @property
    def refusals(self) -> list[Refusal]:
        return [effect for effect in self.effects if isinstance(effect, Refusal)]

    @property
    def rows(self) -> list[JournalRow]:
        return [effect for effect in self.effects if isinstance(effect, JournalRow)]

    def event(self, number: int) -> EventRecord:
        return self.state.durable.events[number]

    def at(self, elapsed: float) -> str:
        """Site time of an elapsed time, HH:MM:SS."""
        return f"{self.setup.local(self.now(elapsed).utc):%H:%M:%S}"

    @property
    def told(self) -> list[tuple[str, str, str]]:
        """Turn, person and site time of every text."""
        return [(text.turn, text.person, self.at(text.moment.elapsed)) for text in self.texts]


def watch(setup: Setup, origin: Moment, first_event: int = 1) -> Watch:
    """A watch that starts at `origin` and has never run."""
    start = resume(setup, fresh(first_event), origin)
    return Watch(setup, origin, start.state, start.next_due, list(start.effects), origin.utc_at)


def inputs_of(
    setup: Setup, story: Story, seed: int = 1, tags: Sequence[str] | None = None
) -> tuple[Moment, list[Reading | Answer]]:
    """The origin of a story and all that happens in it."""
    rig = SimulatedRig(setup, story, seed, tags=tags)
    return rig.origin, list(rig.until(rig.origin.elapsed + story.length))


def play(setup: Setup, story: Story, first_event: int = 1, seed: int = 1) -> Watch:
    """A story from its start to its end."""
    origin, inputs = inputs_of(setup, story, seed)
    return watch(setup, origin, first_event).feed(inputs, origin.elapsed + story.length)


def unhurried(setup: Setup, every: float = 10.0) -> Setup:
    """The same set-up, for speed: no sensor reports more often than so many seconds, and those
    that say nothing of water, heat or air are left out."""
    lean = without(setup, "MC", "TO", "TR", "LX", "FL", "BAT")
    tags = tuple(replace(tag, every=max(every, tag.every)) for tag in lean.rig.tags)
    return replace(lean, rig=replace(lean.rig, tags=tags), worked_out={})


def oskel_first(setup: Setup) -> Setup:
    """Oskel is first on duty, Tavrin second."""
    return replace(setup, duty=Duty(("oskel", "tavrin")), worked_out={})


def in_storm(story: Story) -> Story:
    """The story on storm footing till 22:00, begun by Oskel in its first second."""
    return replace(story, says=(Say(0.0, "oskel", "storm", text="22:00"), *story.says))


def cast(name: str) -> tuple[Setup, Story, int]:
    """Set-up, story and first event number of a night by name."""
    full, first = unhurried(sample("ostrel-hill"), 5.0), unhurried(sample("first-night"))
    blind = without(first, "QW")
    return {
        "outage": (full, nights.night_outage(), 41),
        "outage, cup": (first, nights.night_outage(), 41),
        "outage, no witness": (blind, nights.night_outage(flow_told=True), 41),
        "storm": (oskel_first(full), in_storm(nights.storm_night()), 44),
        "storm, valve shut": (
            oskel_first(full),
            in_storm(nights.storm_night(valve_shut="00:49:50")),
            44,
        ),
        "storm, mains only": (
            oskel_first(with_tags(first, "MP")),
            in_storm(nights.storm_night()),
            44,
        ),
        "dip": (full, nights.short_dip(), 71),
        "dip, cup": (first, nights.short_dip(), 71),
        "dip, no witness": (blind, nights.short_dip(), 71),
        "hold overrun": (full, nights.hold_overrun(), 17),
        "thermometer": (full, nights.thermometer_fault(), 23),
        "screen": (full, nights.screen_clogs(), 61),
    }[name]


@cache
def night(name: str) -> Watch:
    """A night of the table above, played once; look at it, do not feed it on."""
    return play(*cast(name))


def on_story(name: str, story: Story, first_event: int = 1, seed: int = 1) -> Watch:
    """A story on a sample rig as it stands, every sensor at its own pace."""
    return play(sample(name), story, first_event, seed)
