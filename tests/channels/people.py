"""The people, the set-up and the open event that the tests of answers share, and a small watch."""

from monitor.channels.hearing import Heard, NotTaken
from monitor.channels.reception import Reception, Reply
from monitor.clock import VirtualClock
from monitor.effects import JournalRow, Refusal
from monitor.inputs import Answer, Moment, Reading
from monitor.logic.state import Durable, EventRecord, Running, SiphonRecord, State
from monitor.logic.step import step
from monitor.rig import Line, Rig, Tag, Vessel
from monitor.setup import Duty, Person, Setup
from monitor.units import unit_of

NOW = Moment(1, 5_000.0, 1_792_304_400.0)
"""01:20 on Sunday 18 October 2026 at Ostrel Hill."""

TAVRIN = Person("tavrin", "Tavrin", "tavrin@example.org", "+19405550141")
OSKEL = Person("oskel", "Oskel", "Oskel@Example.org", "+1 940-555-0142")
EVENT = EventRecord(
    41, "water", "LT1", "mains lost", 4_900.0, 4_950.0, "urgent", calls=1,
    first_call=4_950.0, no_flow_since=4_960.0, owed=("cause", "dead count", "timers"),
)  # fmt: skip


def setup(*more: Person) -> Setup:
    """Ostrel Hill as far as answers need it: two siphons, a level and a thermometer."""
    vessels = tuple(
        Vessel(name, kind, 0.5, 0.38, 0.46)
        for name, kind in (("HD1", "header"), ("LT1", "larval tank"), ("LT2", "larval tank"))
    )
    lines = (
        Line("S1", "siphon", "HD1", "LT1", 0.013, 1.05, 0.12),
        Line("S2", "siphon", "HD1", "LT2", 0.013, 1.05, 0.12),
    )
    tags = (
        Tag("LH", "level", "HD1", unit_of("level", "cm"), "bus"),
        Tag("TW1", "temperature", "LT1", unit_of("temperature", "C"), "bus"),
    )
    rig = Rig("ostrel-1", "OH", "Ostrel", "America/Chicago", vessels, lines, (), tags)
    people = (TAVRIN, OSKEL, *more)
    duty = Duty(tuple(person.id for person in people))
    return Setup(1, rig, people=people, duty=duty, manager="lendow")


class SmallWatch:
    """The real logic behind a reception, without disk and threads."""

    def __init__(self, *events: EventRecord, people: tuple[Person, ...] = ()) -> None:
        self.setup = setup(*people)
        self.clock = VirtualClock(NOW)
        self.state = State(
            Durable(
                events={event.number: event for event in events},
                siphons={"S1": SiphonRecord(4_960.0, False, "level")},
                next_event=999,
            ),
            Running(0.0),
        )
        self.said: list[Reply] = []
        self.answers: list[Answer] = []
        self.journal: list[JournalRow] = []
        self.is_stuck = False
        self.reception = Reception(
            lambda: (self.setup, self.state), self.put, self.said.append, self.clock
        )

    def put(self, answer: Answer) -> str:
        """One turn of the loop with this answer; why it was refused."""
        if self.is_stuck:
            raise NotTaken("the watch did not get to it in time")
        self.answers.append(answer)
        done = step(self.setup, self.state, [answer], self.clock.now())
        self.state = done.state
        self.journal += [effect for effect in done.effects if isinstance(effect, JournalRow)]
        return next((effect.why for effect in done.effects if isinstance(effect, Refusal)), "")

    def read(self, tag: str, value: float) -> None:
        """One reading comes in."""
        reading = Reading(tag, self.clock.now(), value)
        self.state = step(self.setup, self.state, [reading], self.clock.now()).state

    def text(self, words: str, sender: str = TAVRIN.phone) -> list[str]:
        """A text comes in by the modem; what is said back."""
        before = len(self.said)
        self.reception.take(Heard(sender, words, "text", "modem"))
        return [reply.body for reply in self.said[before:]]
