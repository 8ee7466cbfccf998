"""Who is called, when, and what answers do. The rig is one mains sensor that says off."""

import math
from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from logic.play import Watch, sample, watch, with_tags
from monitor.inputs import Answer, Moment, Reading
from monitor.logic.events import is_open
from monitor.setup import Duty, DutyTurn, Person, Setup

pytestmark = pytest.mark.long

NIGHT = Moment(1, 0.0, 1_792_303_080.0)
"""Sun 18 Oct 2026, 00:58:00 at the site."""
MAINS = with_tags(sample("first-night"), "MP")
HOUR = 3600.0


def on_duty(*order: str, people: Iterable[Person] = MAINS.people) -> Setup:
    """The mains sensor, and this call order."""
    return replace(MAINS, duty=Duty(order), people=tuple(people), worked_out={})


class Night:
    """An outage from the first second on, with answers at given minutes."""

    def __init__(self, setup: Setup) -> None:
        self.watch: Watch = watch(setup, NIGHT, 41)
        self.at = 0.0
        self.watch.take(0.0, [self.mains(0.0)])

    def mains(self, at: float) -> Reading:
        return Reading("MP", self.watch.now(at), 0.0)

    def until(self, minutes: float) -> "Night":
        """Go on; the sensor speaks each half minute."""
        while self.at + 30.0 <= minutes * 60.0:
            self.at += 30.0
            self.watch.feed([self.mains(self.at)], self.at)
        self.watch.feed([], minutes * 60.0)
        self.at = max(self.at, minutes * 60.0)
        return self

    def say(self, who: str, kind: str, minutes: float | None = None, text: str = "") -> "Night":
        """Somebody answers now."""
        said = Answer(self.watch.now(self.at), kind, who, 41, minutes, text)
        self.watch.take(self.at, [said])
        self.watch.idle(self.at + 0.5)
        return self

    @property
    def table(self) -> list[tuple[float, str, str]]:
        """Minute, turn and people of each call; the siphon that breaks meanwhile left out."""
        rows: list[tuple[float, str, str]] = []
        for text in self.watch.texts:
            if text.turn == "siphon broken":
                continue
            row = (round(text.moment.elapsed / 60.0, 1), text.turn, text.person)
            if rows and rows[-1][:2] == row[:2]:
                row = (*row[:2], f"{rows.pop()[2]} {row[2]}")
            rows.append(row)
        return rows


def each_quarter(first: float, people: str) -> list[tuple[float, str, str]]:
    """Calls to all from a minute to the end of the eighth hour."""
    count = math.ceil((480.0 - first) / 15.0)
    return [(first + 15.0 * place, "call to all", people) for place in range(count)]


def test_two_people_who_never_answer() -> None:
    """For eight hours: the first at once, the second 5 minutes later, both at 10 and 15, then
    each quarter of an hour, without an end."""
    assert [
        (1.0, "supply lost", "tavrin"),
        (6.0, "next call", "oskel"),
        (11.0, "call to all", "tavrin oskel"),
        *each_quarter(16.0, "tavrin oskel"),
    ] == Night(on_duty("tavrin", "oskel")).until(480.0).table


def test_three_people_who_never_answer() -> None:
    """The third comes before everybody does."""
    assert [
        (1.0, "supply lost", "tavrin"),
        (6.0, "next call", "oskel"),
        (11.0, "next call", "lendow"),
        *each_quarter(16.0, "tavrin oskel lendow"),
    ] == Night(on_duty("tavrin", "oskel", "lendow")).until(480.0).table


def test_one_person_only() -> None:
    """A list of one: the same person is called, again and again, and nobody is made up."""
    night = Night(on_duty("oskel")).until(480.0)
    minutes = [minute for minute, _, people in night.table if people == "oskel"]
    assert [1.0, 6.0, 11.0, *(16.0 + 15.0 * place for place in range(31))] == minutes
    assert len(night.table) == len(minutes)


@pytest.mark.parametrize("order", [(), ("nobody", "ghost")])
def test_list_without_anybody_calls_everybody(order: tuple[str, ...]) -> None:
    """An empty list, or one of strangers, is no excuse: those who are known are called in turn."""
    people = [Person(name, name.title()) for name in ("ada", "bo")]
    night = Night(on_duty(*order, people=people)).until(12.0)
    assert [
        (1.0, "supply lost", "ada"),
        (6.0, "next call", "bo"),
        (11.0, "call to all", "ada bo"),
    ] == night.table


def test_siphon_that_breaks_is_told_to_all_called_so_far() -> None:
    """Nobody has taken it: whoever was called hears that it got worse."""
    night = Night(on_duty("tavrin", "oskel")).until(30.0)
    worse = [text.person for text in night.watch.texts if text.turn == "siphon broken"]
    assert ["tavrin", "oskel"] == worse


# Promises


def test_promise_kept() -> None:
    """Taken at minute 2 for 30, on site at 25: nobody else is called, nobody reminded."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 30.0)
    night.until(25.0).say("tavrin", "here").until(264.0)
    assert [(1.0, "supply lost", "tavrin")] == night.table
    assert "on site" == night.watch.event(41).stage


def test_whoever_is_on_site_for_hours_is_asked() -> None:
    """Four hours on site and the siphon still broken: a question; HERE answers it for four more."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 30.0)
    night.until(25.0).say("tavrin", "here").until(270.0).say("tavrin", "here").until(480.0)
    assert [(1.0, "supply lost", "tavrin"), (265.0, "still there", "tavrin")] == night.table
    assert "on site" == night.watch.event(41).stage


def test_whoever_went_home_is_noticed() -> None:
    """No answer to that question in a quarter of an hour: the next is called."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 30.0)
    night.until(25.0).say("tavrin", "here").until(290.0)
    assert [(265.0, "still there", "tavrin"), (280.0, "next call", "oskel")] == night.table[1:3]


def test_promise_missed() -> None:
    """Reminded at the promise, the next called five minutes later, all in the end."""
    night = Night(on_duty("tavrin", "oskel", "lendow")).until(2.0).say("tavrin", "take", 30.0)
    assert [
        (1.0, "supply lost", "tavrin"),
        (32.0, "reminder", "tavrin"),
        (37.0, "next call", "oskel"),
        (42.0, "next call", "lendow"),
        (47.0, "call to all", "oskel lendow"),
        (62.0, "call to all", "oskel lendow"),
    ] == night.until(65.0).table


def test_promise_missed_by_the_only_person() -> None:
    """With nobody else on the list, who missed the promise is called on."""
    night = Night(on_duty("tavrin")).until(2.0).say("tavrin", "take", 30.0).until(70.0)
    assert [
        (1.0, "supply lost", "tavrin"),
        (32.0, "reminder", "tavrin"),
        (37.0, "call to all", "tavrin"),
        (42.0, "call to all", "tavrin"),
        (47.0, "call to all", "tavrin"),
        (62.0, "call to all", "tavrin"),
    ] == night.table


def test_promise_without_minutes_is_bed_to_door() -> None:
    """OK alone promises the time this person needs from bed to door."""
    night = Night(on_duty("oskel", "tavrin")).until(2.0).say("oskel", "take")
    assert (2.0 + 35.0) * 60.0 == night.watch.event(41).promise


@pytest.mark.parametrize("minutes", [-1.0, 601.0, math.nan, math.inf, -math.inf])
def test_impossible_promises(minutes: float) -> None:
    """A promise of less than nothing, of more than ten hours, or of no number, is refused."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", minutes)
    assert 1 == len(night.watch.refusals)
    assert ("open", None) == (night.watch.event(41).stage, night.watch.event(41).promise)


def test_taking_again_moves_the_promise() -> None:
    """The taker needs longer: the new time counts, and a reminder starts anew with it."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 30.0)
    night.until(33.0).say("tavrin", "take", 20.0).until(52.0)
    assert [(1.0, "supply lost", "tavrin"), (32.0, "reminder", "tavrin")] == night.table
    assert (53.0, "reminder", "tavrin") == night.until(53.5).table[-1]


def test_the_sooner_of_two_takers_has_it() -> None:
    """A second taker counts only if sooner there; a later promise takes nothing over."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 30.0)
    night.until(3.0).say("oskel", "take", 60.0)
    assert ("tavrin", 32.0 * 60.0) == (
        night.watch.event(41).taken_by,
        night.watch.event(41).promise,
    )
    night.until(4.0).say("lendow", "take", 10.0)
    assert ("lendow", 14.0 * 60.0) == (
        night.watch.event(41).taken_by,
        night.watch.event(41).promise,
    )
    assert [] == night.watch.refusals


def test_late_taker_takes_it_back() -> None:
    """OK after the missed promise counts again."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 10.0).until(18.0)
    assert "open" == night.watch.event(41).stage
    night.say("tavrin", "take", 5.0)
    assert ("taken", "tavrin") == (night.watch.event(41).stage, night.watch.event(41).taken_by)


def test_who_was_called_instead_is_told_to_stay() -> None:
    """The taker arrives late: the one called meanwhile need not go."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 10.0)
    night.until(19.0).say("tavrin", "here")
    assert (19.0, "somebody has it", "oskel") == night.table[-1]


# NO


def test_cannot_passes_on_at_once() -> None:
    """NO of the first calls the second in the same minute, who has five minutes like anybody."""
    night = Night(on_duty("tavrin", "oskel", "lendow")).until(2.0).say("tavrin", "cannot")
    assert [
        (1.0, "supply lost", "tavrin"),
        (2.0, "next call", "oskel"),
        (7.0, "next call", "lendow"),
        (12.0, "call to all", "tavrin oskel lendow"),
    ] == night.until(15.0).table


def test_cannot_of_the_taker() -> None:
    """The taker gives it back: the next is called at once, no promise stands."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 30.0)
    night.until(10.0).say("tavrin", "cannot")
    assert (10.0, "next call", "oskel") == night.table[-1]
    assert ("open", None, "") == (
        night.watch.event(41).stage,
        night.watch.event(41).promise,
        night.watch.event(41).taken_by,
    )


def test_cannot_of_somebody_else_leaves_the_taker() -> None:
    """NO of a person who does not have it changes nothing for the one who does."""
    night = Night(on_duty("tavrin", "oskel")).until(2.0).say("tavrin", "take", 30.0)
    night.until(3.0).say("oskel", "cannot").until(30.0)
    assert [(1.0, "supply lost", "tavrin")] == night.table
    assert "tavrin" == night.watch.event(41).taken_by


def test_cannot_of_the_only_person() -> None:
    """Who has just said no is not texted in the same breath, but the calling does not end."""
    night = Night(on_duty("tavrin")).until(2.0).say("tavrin", "cannot").until(40.0)
    assert [(1.0, "supply lost", "tavrin")] == night.table[:1]
    assert 6.5 < night.table[1][0] <= 17.0
    assert "call to all" == night.table[1][1]
    assert night.watch.event(41).next_call is not None


# The list itself


def test_duty_changes_hands_during_an_event() -> None:
    """From the hour of the change on the others of the new list are called."""
    turn = DutyTurn(NIGHT.utc, NIGHT.utc + 180.0, ("tavrin", "oskel"))
    setup = replace(on_duty("lendow", "korrin"), people=sample("ostrel-hill").people)
    setup = replace(setup, duty=Duty(("lendow", "korrin"), (turn,)), worked_out={})
    assert [
        (1.0, "supply lost", "tavrin"),
        (6.0, "next call", "lendow"),
        (11.0, "next call", "korrin"),
        (16.0, "call to all", "lendow korrin"),
    ] == Night(setup).until(20.0).table


# Answers that end things


def test_owed_lines() -> None:
    """DONE takes the owed lines off one by one, whatever stands behind the colon; the last closes
    it; one that is not owed is refused and named."""
    night = Night(on_duty("oskel")).until(2.0).say("oskel", "take", 30.0).until(40.0)
    night.say("oskel", "here").say("oskel", "flow").say("oskel", "flow")
    night.say("oskel", "done", text="Dead count: 160").say("oskel", "done", text="fish")
    night.say("oskel", "done", text="timers")
    assert ("cause",) == night.watch.event(41).owed
    assert ["event 41 owes cause, timers; 'fish' is not among it"] == [
        refusal.why for refusal in night.watch.refusals
    ]
    night.say("oskel", "done", text="cause: mains")
    assert "closed" == night.watch.event(41).stage


def test_owed_lines_are_asked_for_once_in_the_morning() -> None:
    """At 09:00 who had it is asked once for what is still owed."""
    night = Night(on_duty("oskel", "tavrin")).until(2.0).say("oskel", "take", 30.0).until(40.0)
    night.say("oskel", "here").say("oskel", "flow").say("oskel", "flow")
    night.until(12 * 60.0)
    owed = [text for text in night.watch.texts if text.turn == "owed"]
    assert [("oskel", "09:00")] == [(t.person, night.watch.at(t.moment.elapsed)[:5]) for t in owed]
    assert "dead count, cause, timers" in owed[0].body


@pytest.mark.parametrize(
    ("kind", "minutes", "text", "why"),
    [
        ("hold", None, "", "has an end"),
        ("hold", 0.0, "", "has an end"),
        ("hold", 241.0, "", "has an end"),
        ("hold", math.nan, "", "has an end"),
        ("hold", 30.0, "S9", "no line 'S9'"),
        ("sing", None, "", "not an answer"),
    ],
)
def test_answers_that_make_no_sense(kind: str, minutes: float | None, text: str, why: str) -> None:
    """A hold without an end or of a line that is not there, an answer nobody knows: refused."""
    night = Night(on_duty("oskel")).until(2.0)
    before = night.watch.state.durable
    night.say("oskel", kind, minutes, text)
    assert [True] == [why in refusal.why for refusal in night.watch.refusals]
    assert before == night.watch.state.durable


def test_answer_without_a_number() -> None:
    """With one open event the number may be left out; with none it is refused."""
    night = Night(on_duty("oskel"))
    night.watch.take(1.0, [Answer(night.watch.now(1.0), "take", "oskel")])
    assert ["0 events are open: name the number"] == [r.why for r in night.watch.refusals]
    night.until(2.0)
    night.watch.take(120.0, [Answer(night.watch.now(120.0), "take", "oskel")])
    assert "taken" == night.watch.event(41).stage


# A notice that turns grave


def test_notice_taken_by_day_that_turns_urgent_at_night() -> None:
    """A dead thermometer was taken in the afternoon; when the flow meter dies at night the first
    on duty is called, and the second after five minutes, whoever had taken the notice."""
    setup = with_tags(sample("ostrel-hill"), "QL", "TW1", "TW2")
    afternoon = Moment(1, 0.0, NIGHT.utc - 10 * HOUR)
    under = watch(setup, afternoon, 41)
    dead = {"TW1": 0.0, "QL": 10 * HOUR}
    values = {"QL": 6.0, "TW1": 26.5, "TW2": 26.5}
    for at in range(0, int(10.5 * HOUR), 30):
        now = under.now(float(at))
        alive = [tag for tag in values if at < dead.get(tag, math.inf)]
        under.feed([Reading(tag, now, values[tag]) for tag in alive], at + 1.0)
        if at == 1800:
            under.take(at + 2.0, [Answer(under.now(at + 2.0), "take", "lendow", 41)])
    turns = [
        (text.turn, text.person)
        for text in under.texts
        if text.turn not in ("asked: duty", "nobody answers")
    ]
    assert ("sensor silent", "oskel") == turns[0]
    assert "Sensor TW1 bad since the start (no answer)." in under.texts[0].body
    assert [("flow not seen", "tavrin"), ("next call", "oskel")] == turns[1:3]


def test_cannot_of_a_notice_passes_it_on_once() -> None:
    """NO to a notice tells the next on duty; nobody is called on and on for it."""
    setup = with_tags(sample("ostrel-hill"), "QL", "TW1", "TW2")
    under = watch(setup, Moment(1, 0.0, NIGHT.utc + 9 * HOUR), 41)
    for at in range(0, int(2 * HOUR), 30):
        now = under.now(float(at))
        under.feed([Reading("QL", now, 6.0), Reading("TW2", now, 26.5)], at + 1.0)
        if at == 1800:
            under.take(at + 2.0, [Answer(under.now(at + 2.0), "cannot", "tavrin", 41)])
    assert [("sensor silent", "tavrin"), ("next call", "oskel")] == [
        (text.turn, text.person) for text in under.texts
    ]


# Whatever people answer


class Callout(RuleBasedStateMachine):
    """Random answers in a night without mains: somebody is always on the way or being called."""

    @initialize(count=st.integers(1, 4))
    def begin(self, count: int) -> None:
        """A duty list of one to four."""
        names = ("ada", "bo", "cyd", "dee")[:count]
        self.night = Night(on_duty(*names, people=[Person(name, name.title()) for name in names]))
        self.names = names
        self.night.until(1.5)

    @rule(minutes=st.floats(0.5, 25.0))
    def wait(self, minutes: float) -> None:
        """Time goes by."""
        self.night.until(self.night.at / 60.0 + minutes)

    @rule(
        who=st.integers(0, 3),
        kind=st.sampled_from(
            ["take", "here", "cannot", "note", "swap", "sleep", "storm", "storm end"]
        ),
        minutes=st.one_of(st.none(), st.floats(-5.0, 90.0)),
    )
    def answer(self, who: int, kind: str, minutes: float | None) -> None:
        """Somebody says something."""
        text = "05:00" if kind == "storm" else ""
        self.night.say(self.names[who % len(self.names)], kind, minutes, text)

    @invariant()
    def somebody_is_coming_or_called(self) -> None:
        """Open: the next call is due within a quarter of an hour. Taken: a promise stands or was
        just reminded of. On site: somebody is there."""
        if not hasattr(self, "night"):
            return
        event, now = self.night.watch.event(41), self.night.at
        assert is_open(event)
        if event.stage == "open":
            assert event.next_call is not None
            assert now <= event.next_call <= now + 900.0
            assert self.night.watch.due <= event.next_call
        elif event.stage == "taken":
            assert event.taken_by in self.names
            assert event.promise is not None
            last = event.promise if event.reminded is None else event.reminded + 300.0
            assert now <= last
            assert self.night.watch.due <= last
        else:
            assert "on site" == event.stage
            assert event.on_site is not None

    @invariant()
    def nobody_is_flooded(self) -> None:
        """Nobody gets more than one text a minute on the mean, nor one that does not fit."""
        if hasattr(self, "night"):
            texts = self.night.watch.texts
            said = sum(row.what == "answer" for row in self.night.watch.rows)
            assert len(texts) <= len(self.names) * (4 + said + self.night.at / 60.0)
            assert all(len(text.body) <= 160 for text in texts)

    @invariant()
    def nothing_of_duty_is_without_an_end(self) -> None:
        """A question waits half an hour at most, and none hangs; storm and sleeper have an end."""
        if hasattr(self, "night"):
            durable, now = self.night.watch.state.durable, self.night.at
            assert all(
                now - 1.0 <= item.wait <= now + 1800.0 for item in durable.questions.values()
            )
            utc = self.night.watch.now(now).utc
            assert durable.storm is None or utc - 30.0 < durable.storm.until <= utc + 72 * HOUR
            assert durable.sleeper is None or utc - 30.0 < durable.sleeper.until <= utc + 24 * HOUR


TestCallout = Callout.TestCase
TestCallout.settings = settings(
    max_examples=40,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
