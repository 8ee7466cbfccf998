"""Stand-ins for the parts around the loop."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from monitor.archive.records import SetupVersion
from monitor.effects import Effect, Flag, JournalRow, Refusal, Text
from monitor.inputs import Answer, Input, Moment, Reading
from monitor.logic.state import Durable, Running, State
from monitor.logic.step import Step
from monitor.rig import Rig
from monitor.setup import Channel, Person, Setup

START = Moment(1, 100.0, 1_792_285_200.0)
SETUP = Setup(
    1,
    Rig("board", "rig", "Ostrel", "America/Chicago"),
    people=(
        Person("tavrin", "Tavrin", channels=("mail", "folder")),
        Person("oskel", "Oskel", channels=("mail",)),
    ),
    channels=(Channel("mail", "mail"), Channel("folder", "folder")),
)
BEGIN = Step(State(Durable(), Running(started=100.0)), (), float("inf"))


def text(number: int, person: str = "tavrin") -> Text:
    """A text of event 41."""
    return Text(number, 41, person, "supply lost", "urgent", "Go.", START, 7300.0)


def row(state: str) -> JournalRow:
    """A journal row of event 41."""
    return JournalRow(START, "event", "41", state)


@dataclass
class FakeTicket:
    """A commit whose end the test decides."""

    kept: bool = True
    error: str = ""
    waits: list[float] = field(default_factory=list)

    def wait(self, timeout: float) -> bool:
        self.waits.append(timeout)
        return self.kept


@dataclass
class Commit:
    """What one commit was given."""

    durable: Mapping[str, object] | None
    journal: tuple[JournalRow, ...]
    texts: tuple[tuple[Text, tuple[str, ...]], ...]
    flags: tuple[Flag, ...]
    setup: SetupVersion | None
    ticket: FakeTicket


class FakeRecord:
    """Keeps what it is given in lists; `next_ticket` is what the next commit returns."""

    def __init__(self) -> None:
        self.stored: list[tuple[Reading, int, str]] = []
        self.flagged: list[Flag] = []
        self.commits: list[Commit] = []
        self.tickets: list[FakeTicket] = []

    def readings(
        self, readings: Iterable[Reading], calibrations: Mapping[str, int], run: str
    ) -> None:
        self.stored.extend((reading, calibrations.get(reading.tag, 0), run) for reading in readings)

    def flags(self, flags: Iterable[Flag]) -> None:
        self.flagged.extend(flags)

    def commit(
        self,
        durable: Mapping[str, object] | None,
        journal: Sequence[JournalRow],
        texts: Sequence[tuple[Text, tuple[str, ...]]],
        flags: Sequence[Flag],
        setup: SetupVersion | None,
    ) -> FakeTicket:
        ticket = self.tickets.pop(0) if self.tickets else FakeTicket()
        self.commits.append(
            Commit(durable, tuple(journal), tuple(texts), tuple(flags), setup, ticket)
        )
        return ticket


class FakeStep:
    """A step that answers with what the test has planned for each turn, else with nothing.

    An answer of kind "note" is refused; a reading of the tag "poison" is an error.
    """

    def __init__(self) -> None:
        self.turns: list[tuple[Moment, tuple[Input, ...]]] = []
        self.plan: list[tuple[Sequence[Effect], bool]] = []
        self.due: list[float] = []

    def __call__(self, _setup: Setup, state: State, inputs: Sequence[Input], now: Moment) -> Step:
        if any(isinstance(item, Reading) and item.tag == "poison" for item in inputs):
            raise OverflowError("math range error")
        self.turns.append((now, tuple(inputs)))
        effects, changes = self.plan.pop(0) if self.plan else ((), False)
        refused = tuple(
            Refusal(now, item.who, item.way, f"no to {item.text}")
            for item in inputs
            if isinstance(item, Answer) and item.kind == "note"
        )
        if changes:
            durable = Durable(next_event=state.durable.next_event + 1)
            state = State(durable, state.running)
        due = self.due.pop(0) if self.due else float("inf")
        return Step(state, (*effects, *refused), due)
