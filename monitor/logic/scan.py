"""One step while it is being worked out: the state so far, the effects so far, what is due next.

A Scan lives only inside one call of `step`. Parts of the state are copied when they are first
written, so what did not change is shared with the state before.
"""

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

from monitor.effects import Effect, Evidence, JournalRow
from monitor.inputs import Moment
from monitor.logic.aside import AsideRecord, FuelRecord, SuppressedRecord, WorksRecord
from monitor.logic.books import Books
from monitor.logic.change import Followed
from monitor.logic.plan import Plan, plan_of
from monitor.logic.slow import Minutes, Slow
from monitor.logic.state import (
    AlarmRecord,
    Coming,
    ConditionState,
    Durable,
    EventRecord,
    FlowState,
    HoldRecord,
    Running,
    SiphonRecord,
    State,
    SupplyRecord,
    TagState,
)
from monitor.rig import Tag
from monitor.setup import Setup

if TYPE_CHECKING:
    from monitor.logic.derived import Water


DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class Scan:
    """The builder of one step. `t` is now in elapsed seconds."""

    def __init__(self, setup: Setup, state: State, now: Moment) -> None:
        self.setup = setup
        self.plan: Plan = plan_of(setup)
        self.now = now
        self.t = now.elapsed
        self.dph = setup.dph(now.utc)
        self.clock = setup.seconds_into_age(now.utc)
        self.durable: Durable = state.durable
        self.running: Running = state.running
        self.effects: list[Effect] = []
        self.waters: list[Water] = []
        self.next_due = inf

    @property
    def state(self) -> State:
        return State(self.durable, self.running)

    @property
    def watch_set(self) -> bool:
        """Whether the watch is in force: set for a run, or no run is described at all."""
        return self.setup.run is None or self.setup.run.watch_set

    def site_clock(self, elapsed: float) -> str:
        """Site time of a point of the watch time line, HH:MM; with its day where that is another.

        More than a week off it is the date.
        """
        here, there = self.setup.local(self.now.utc), self.setup.local(self.now.utc_at(elapsed))
        days = abs((there.date() - here.date()).days)
        day = "" if days == 0 else f"{DAYS[there.weekday()]} " if days < 7 else f"{there:%d.%m.} "
        return f"{day}{there:%H:%M}"

    def site_time(self, elapsed: float) -> str:
        """Site time of a point of the watch time line, ISO 8601 with its offset, to the second."""
        return self.setup.local(self.now.utc_at(elapsed)).isoformat(timespec="seconds")

    def due(self, at: float) -> None:
        """Ask to be called again at this elapsed time, if it lies ahead."""
        if self.t < at < self.next_due:
            self.next_due = at

    def journal(
        self,
        what: str,
        subject: str,
        state: str,
        *,
        grade: str = "",
        cause: str = "",
        who: str = "",
        evidence: Evidence = (),
        text: str = "",
        event: int = 0,
    ) -> None:
        """Write a row. Where no event is given it is the subject's, or that of the alarm named."""
        if what in ("event", "answer") and subject.isdecimal():
            event = int(subject)
        elif subject in self.durable.alarms:
            event = event or self.durable.alarms[subject].event
        self.effects.append(
            JournalRow(self.now, what, subject, state, grade, cause, who, evidence, text, event)
        )

    # Readings

    def tag_state(self, tag: str) -> TagState:
        return self.running.tags.get(tag, _NOTHING)

    def usable(self, tag: Tag | None) -> TagState | None:
        """The state of a tag whose value can be used now: present, not bad, not stale."""
        if tag is None:
            return None
        state = self.running.tags.get(tag.id)
        if state is None or state.value is None or state.bad_run >= 3:
            return None
        return None if self.t - state.at > tag.stale else state

    def value(self, tag: Tag | None) -> float | None:
        state = self.usable(tag)
        return None if state is None else state.value

    # Durable parts: each setter replaces `durable` only when something differs

    def set_alarm(self, alarm: str, record: AlarmRecord) -> None:
        if self.durable.alarms.get(alarm) != record:
            self._durable(alarms={**self.durable.alarms, alarm: record})

    def retire_alarm(self, alarm: str) -> None:
        """Forget an alarm whose condition the set-up no longer has; the journal keeps it."""
        self._durable(
            alarms={key: item for key, item in self.durable.alarms.items() if key != alarm}
        )
        self.journal("alarm", alarm, "NORM", cause="no longer in the set-up")

    def set_event(self, event: EventRecord) -> None:
        if self.durable.events.get(event.number) != event:
            self._durable(events={**self.durable.events, event.number: event})

    def set_supply(self, header: str, record: SupplyRecord) -> None:
        if self.durable.supplies.get(header) != record:
            self._durable(supplies={**self.durable.supplies, header: record})

    def set_siphon(self, line: str, record: SiphonRecord | None) -> None:
        self._entry("siphons", line, record)

    def set_hold(self, line: str, record: HoldRecord | None) -> None:
        self._entry("holds", line, record)

    def set_aside(self, alarm: str, record: AsideRecord | None) -> None:
        self._entry("aside", alarm, record)

    def set_suppressed(self, alarm: str, record: SuppressedRecord | None) -> None:
        self._entry("suppressed", alarm, record)

    def set_works(self, place: str, record: WorksRecord | None) -> None:
        self._entry("works", place, record)

    def set_fuel(self, record: FuelRecord | None) -> None:
        if self.durable.fuel != record:
            self._durable(fuel=record)

    def _entry(self, table: str, key: str, record: object) -> None:
        """Set one entry of a durable table, or take it out with None."""
        kept = getattr(self.durable, table)
        entries = {name: item for name, item in kept.items() if name != key}
        if record is not None:
            entries[key] = record
        if entries != kept:
            self._durable(**{table: entries})

    def keep(self, **changes: object) -> None:
        """Change fields of what lasts, such as storm=None, where they differ."""
        if any(getattr(self.durable, name) != value for name, value in changes.items()):
            self._durable(**changes)

    def take_event_number(self) -> int:
        number = self.durable.next_event
        self._durable(next_event=number + 1)
        return number

    def take_text_number(self) -> int:
        number = self.durable.next_text
        self._durable(next_text=number + 1)
        return number

    def set_slow(self, slow: Slow) -> None:
        self._durable(slow=slow)

    def _durable(self, **changes: object) -> None:
        self.durable = replace(self.durable, **changes)  # type: ignore[arg-type]

    # Running parts

    def set_tags(self, tags: dict[str, TagState]) -> None:
        self._running(tags=tags)

    def set_condition(self, condition: str, state: ConditionState | None) -> None:
        conditions = dict(self.running.conditions)
        if state is None:
            conditions.pop(condition, None)
        else:
            conditions[condition] = state
        self._running(conditions=conditions)

    def set_flow(self, line: str, state: FlowState) -> None:
        if self.running.flows.get(line) != state:
            self._running(flows={**self.running.flows, line: state})

    def set_followed(self, place: str, state: Followed) -> None:
        self._running(followed={**self.running.followed, place: state})

    def set_duty_due(self, at: float) -> None:
        if self.running.duty_due != at:
            self._running(duty_due=at)

    def set_paths_due(self, at: float) -> None:
        if self.running.paths_due != at:
            self._running(paths_due=at)

    def set_minutes(self, minutes: Minutes) -> None:
        self._running(minutes=minutes)

    def set_dip(self, line: str, since: float | None) -> None:
        """Since when the flow of a line is down; None: it is not."""
        dips = {key: item for key, item in self.running.dips.items() if key != line}
        self._running(dips=dips if since is None else {**dips, line: since})

    def set_comings(self, comings: tuple[Coming, ...]) -> None:
        self._running(comings=comings)

    def set_flood(self, since: float | None) -> None:
        self._running(flood=since)

    def set_freed(self, at: float) -> None:
        self._running(freed=at)

    def set_books(self, line: str, books: Books) -> None:
        self._running(books={**self.running.books, line: books})

    def set_fault(self, part: str, wrong: str) -> None:
        faults = {key: item for key, item in self.running.faults.items() if key != part}
        if wrong:
            faults[part] = wrong
        self._running(faults=faults)

    def _running(self, **changes: object) -> None:
        self.running = replace(self.running, **changes)  # type: ignore[arg-type]


_NOTHING = TagState()
