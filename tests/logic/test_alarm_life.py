"""The life of alarms under whatever people and sensors do: what must never happen."""

from math import isfinite

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from logic.days import MINUTE, Day
from logic.play import sample, with_tags
from monitor.effects import JournalRow
from monitor.logic.alarms import ACTIVE, HIDDEN, TRANSITIONS, UNANSWERED
from monitor.logic.events import is_open
from monitor.logic.plan import plan_of
from monitor.logic.shelving import SERVICE, SHELF, SHELF_ELSE

HILL = with_tags(sample("ostrel-hill"), "TW1", "LS", "FL", "MA")
WELL = {"TW1": 27.2, "LS": 32.0, "FL": 0.0, "MA": 1.0}
NAMES = tuple(plan_of(HILL).specs)
OFTEN = ("temperature high", "sump low", "floor wet")
MEANT = tuple(alarm for alarm in NAMES if alarm.startswith(OFTEN))
PEOPLE = ("tavrin", "oskel", "lendow")
people = st.sampled_from(PEOPLE)
names = st.sampled_from(MEANT)
lengths = st.sampled_from([20.0, 60.0, 60.0, 480.0, 40.0, None, 0.0, 61.0, 481.0, 3000.0])


class AlarmLife(RuleBasedStateMachine):
    """Sensors that say what they like, people who take, shelve, withdraw, restore, and restarts."""

    @initialize()
    def begin(self) -> None:
        """A well day."""
        self.day = Day(HILL, WELL).until(2.0)
        self.read = 0
        self.states: dict[str, str] = {}

    @rule(
        minutes=st.sampled_from([1.0, 4.0, 20.0, 40.0]),
        water=st.sampled_from([27.2, 27.5, 27.9, 28.1]),
        sump=st.sampled_from([32.0, 29.8]),
        floor=st.sampled_from([0.0, 0.0, 1.0]),
        mains=st.sampled_from([1.0, 1.0, 0.0]),
    )
    def time_goes_by(
        self, minutes: float, water: float, sump: float, floor: float, mains: float
    ) -> None:
        """The sensors say something else from now on."""
        self.day.until(self.day.at / MINUTE + minutes, TW1=water, LS=sump, FL=floor, MA=mains)

    @rule(
        who=people, alarm=names, minutes=lengths, text=st.sampled_from(["work", "work", "work", ""])
    )
    def shelve(self, who: str, alarm: str, minutes: float | None, text: str) -> None:
        """Somebody shelves an alarm, or tries to."""
        self.day.say("shelve", who, text, minutes, alarm=alarm)

    @rule(
        who=people,
        alarm=names,
        minutes=lengths,
        check=st.sampled_from(["look", "look", "look", ""]),
    )
    def withdraw(self, who: str, alarm: str, minutes: float | None, check: str) -> None:
        """Somebody takes an alarm out of service, or tries to."""
        self.day.say("withdraw", who, "broken", minutes, details={"alarm": alarm, "check": check})

    @rule(who=people, alarm=names, kind=st.sampled_from(["restore", "checked"]))
    def care(self, who: str, alarm: str, kind: str) -> None:
        """Somebody puts an alarm in force again, or has done its check."""
        self.day.say(kind, who, "seen", alarm=alarm)

    @rule(
        who=people,
        kind=st.sampled_from(["take", "here", "cannot", "done"]),
        back=st.integers(1, 4),
        minutes=st.sampled_from([None, 10.0, 60.0]),
    )
    def answer(self, who: str, kind: str, back: int, minutes: float | None) -> None:
        """Somebody answers one of the last events."""
        number = self.day.watch.state.durable.next_event - back
        self.day.say(kind, who, "floor wet", minutes, event=number)

    @rule(lost=st.booleans())
    def restart(self, lost: bool) -> None:
        """The watch dies; it may not know for how long."""
        self.day.restart(lost)

    @invariant()
    def nothing_is_put_aside_without_an_end(self) -> None:
        """Who is shelved or out of service has a reason, a person and an end within its bound."""
        if not hasattr(self, "day"):
            return
        durable = self.day.watch.state.durable
        aside = {key for key, item in durable.alarms.items() if item.state in ("SHLVD", "OOSRV")}
        assert aside == set(durable.aside)
        for alarm, record in durable.aside.items():
            spec = plan_of(HILL).specs[alarm]
            bound = SHELF.get(spec.grade, SHELF_ELSE) if record.how == "SHLVD" else SERVICE
            assert record.how == durable.alarms[alarm].state
            assert record.reason
            assert record.who in PEOPLE
            assert isfinite(record.end)
            assert self.day.at < record.end <= record.since + bound
            assert self.day.watch.due <= record.end
            assert (record.how == "OOSRV") == bool(record.check)

    @invariant()
    def suppressed_alarms_have_a_cause(self) -> None:
        """What is suppressed by design names its cause, and is true."""
        if not hasattr(self, "day"):
            return
        durable = self.day.watch.state.durable
        hidden = {key for key, item in durable.alarms.items() if item.state == "DSUPR"}
        assert hidden == set(durable.suppressed)
        assert all(durable.alarms[alarm].beneath for alarm in hidden)

    @invariant()
    def somebody_is_called_for_what_is_urgent(self) -> None:
        """An urgent event that is open has its next call due within a quarter of an hour; one
        that is taken a promise, or somebody is on site."""
        if not hasattr(self, "day"):
            return
        now = self.day.at
        for event in self.day.watch.state.durable.events.values():
            if not is_open(event) or event.grade != "urgent":
                continue
            if event.stage == "open":
                assert not event.led_by
                assert event.next_call is not None or event.held
                assert event.next_call is None or now <= event.next_call <= now + 900.0
            elif event.stage == "taken":
                assert event.taken_by in PEOPLE
                assert event.promise is not None
            else:
                assert event.on_site is not None

    @invariant()
    def every_alarm_that_is_true_is_in_an_open_event(self) -> None:
        """An active alarm that people are to see belongs to an event that is not closed."""
        if not hasattr(self, "day"):
            return
        durable = self.day.watch.state.durable
        for alarm, record in durable.alarms.items():
            if record.state in ACTIVE and record.grade != "record":
                assert is_open(durable.events[record.event]), alarm

    @invariant()
    def never_from_unanswered_to_normal_without_a_person(self) -> None:
        """The journal has each move of each alarm: all are legal, and what was not answered comes
        to rest by a person, or by the closing of its event, or is hidden by a person."""
        if not hasattr(self, "day"):
            return
        for row in self.day.watch.rows[self.read :]:
            if row.what == "alarm" and row.subject in NAMES and row.state != "check missed":
                self.move(row)
        self.read = len(self.day.watch.rows)

    def move(self, row: JournalRow) -> None:
        """One move of one alarm."""
        before, trigger = self.states.get(row.subject, "NORM"), row.cause.partition(":")[0]
        assert TRANSITIONS[before, trigger] == row.state
        self.states[row.subject] = row.state
        if before in UNANSWERED and row.state not in UNANSWERED:
            if row.state in HIDDEN:
                assert row.who in PEOPLE or trigger == "suppress"
            else:
                assert trigger == "acknowledge"
                assert row.who in (*PEOPLE, "closing")


TestAlarmLife = pytest.mark.long(AlarmLife.TestCase)
TestAlarmLife.settings = settings(
    max_examples=60,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
