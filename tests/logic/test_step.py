"""The step itself: pure, indifferent to how often it is called, to the wall clock, to restarts."""

import json
import math
from copy import deepcopy
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logic.play import Watch, inputs_of, sample, unhurried, watch, with_tags, without
from monitor.effects import JournalRow, Text
from monitor.inputs import (
    ANSWER_KINDS,
    Answer,
    ClockNote,
    DeliveryReport,
    Fault,
    Input,
    Moment,
    Reading,
    SetupChange,
)
from monitor.logic.gsm import places
from monitor.logic.state import State, decode, encode
from monitor.logic.step import Step, resume, step
from monitor.setup import Run, Setup
from monitor.simulator import Story, nights
from monitor.simulator.story import Action, Say
from monitor.units import L_PER_MIN

pytestmark = pytest.mark.long

SLOW = unhurried(sample("ostrel-hill"), 10.0)
LEAN = with_tags(unhurried(sample("ostrel-hill"), 20.0), "MP", "MA", "QS", "QL", "LH")
FULL = 6.0 * L_PER_MIN


@cache
def outage() -> tuple[Moment, list[Reading | Answer], float]:
    """The night outage as inputs, once: origin, inputs, end."""
    story = nights.night_outage(41)
    origin, inputs = inputs_of(LEAN, story)
    return origin, inputs, origin.elapsed + story.length


@cache
def undisturbed() -> Watch:
    """The night outage played without any disturbance."""
    origin, inputs, end = outage()
    return watch(LEAN, origin, 41).feed(inputs, end)


# Pure


def test_same_arguments_same_result() -> None:
    """A step changes none of its arguments, and called again gives an equal result."""
    origin, inputs, _ = outage()
    under = watch(LEAN, origin, 41)
    under.feed([item for item in inputs if item.moment.elapsed < 1970.0], 1970.0)
    rest = [item for item in inputs if 1970.0 <= item.moment.elapsed <= 2100.0]
    for at in sorted({item.moment.elapsed for item in rest}):
        batch = [item for item in rest if item.moment.elapsed == at]
        kept, given_ = deepcopy(under.state), deepcopy(batch)
        first = step(LEAN, under.state, batch, under.now(at))
        assert (kept, given_) == (under.state, batch)
        assert first == step(LEAN, under.state, batch, under.now(at))
        under.take(at, batch)
    assert ["supply lost"] == [turn for turn, _, _ in under.told]


def test_what_lasts_is_new_only_when_it_changed() -> None:
    """The durable part is the same object as long as it is equal, so that a commit means news."""
    origin, inputs, _ = outage()
    under = watch(LEAN, origin, 41)
    changes = 0
    for at in sorted({item.moment.elapsed for item in inputs}):
        before = under.state.durable
        under.take(at, batch_at(at))
        if under.state.durable is not before:
            assert before != under.state.durable
            changes += 1
    assert changes < 80


@cache
def _by_moment() -> dict[float, list[Input]]:
    found: dict[float, list[Input]] = {}
    for item in outage()[1]:
        found.setdefault(item.moment.elapsed, []).append(item)
    return found


def batch_at(at: float) -> list[Input]:
    """The inputs of the night outage at one moment."""
    return _by_moment()[at]


# Idle seconds


SPAN = 2700.0
"""Seconds of the random stories; the last half minute is not compared, its steps differ."""


def trace(played: Watch) -> tuple[list[tuple[str, str, float]], list[tuple[str, str, float]]]:
    """Texts and alarm transitions with their elapsed times."""
    texts = [(text.turn, text.person, text.moment.elapsed) for text in played.texts]
    alarms = [
        (row.subject, row.state, row.moment.elapsed) for row in played.rows if row.what == "alarm"
    ]
    return (
        [item for item in texts if item[2] < SPAN - 30.0],
        [item for item in alarms if item[2] < SPAN - 30.0],
    )


def every_second(setup: Setup, origin: Moment, inputs: list[Input], end: float) -> Watch:
    """The same played with a step each second as well."""
    under = watch(setup, origin)
    at, place = origin.elapsed, 0
    while at < end:
        batch = []
        while place < len(inputs) and inputs[place].moment.elapsed <= at:
            batch.append(inputs[place])
            place += 1
        under.take(at, batch)
        under.idle(at + 1.0)
        at += 1.0
    return under


minutes = st.integers(1, 35).map(lambda minute: minute * 60.0)
seconds = st.integers(61, 2000).map(float)
happenings = st.one_of(
    st.builds(lambda at: (Action(at, "mains off"),), seconds),
    st.builds(
        lambda at, up: (Action(at, "mains off"), Action(at + up, "mains on")), seconds, seconds
    ),
    st.builds(lambda at: (Action(at, "pump stop"),), seconds),
    st.builds(lambda at: (Action(at, "air lock"),), seconds),
    st.builds(lambda at, up: (Action(at, "air lock"), Action(at + up, "prime")), seconds, seconds),
    st.builds(
        lambda at, tag: (Action(at, "sensor silent", tag),),
        seconds,
        st.sampled_from(["MP", "QS", "QL", "LH"]),
    ),
    st.builds(
        lambda at: (Action(at, "valve", value=0.0), Say(at, "tavrin", "hold", minutes=10.0)),
        seconds,
    ),
    st.builds(lambda at, kind: (Say(at, "tavrin", kind),), seconds, st.sampled_from(ANSWER_KINDS)),
)


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(happenings, min_size=1, max_size=4))
def test_idle_seconds_change_nothing(happened: list[tuple[Action | Say, ...]]) -> None:
    """A step each second, or only at inputs and due times: the same texts and alarms, within the
    second; so a virtual clock may jump."""
    steps = [item for group in happened for item in group]
    story = Story(
        "any",
        "2026-10-18T00:45:00",
        SPAN,
        FULL,
        actions=tuple(item for item in steps if isinstance(item, Action)),
        says=tuple(item for item in steps if isinstance(item, Say)),
    )
    origin, inputs = inputs_of(LEAN, story)
    seldom = watch(LEAN, origin).feed(inputs, SPAN)
    often = every_second(LEAN, origin, list(inputs), SPAN)
    for few, many in zip(trace(seldom), trace(often), strict=True):
        assert [item[:2] for item in few] == [item[:2] for item in many]
        for (name, what, early), (_, _, late) in zip(few, many, strict=True):
            assert late == pytest.approx(early, abs=1.0), (name, what)


def test_a_quiet_watch_rests() -> None:
    """With nothing coming in, a watch asks to be called a few times an hour, not all the time."""
    under = watch(LEAN, outage()[0], 41)
    under.feed([item for item in outage()[1] if item.moment.elapsed < 3600.0], 3600.0)
    steps = 0
    while under.due < 3600.0 + 8 * 3600.0:
        under.take(under.due)
        steps += 1
    assert steps < 400


# The wall clock


@pytest.mark.parametrize("jump", [-14 * 60.0, 12 * 3600.0, 180 * 86_400.0])
@pytest.mark.parametrize("clock", ["01:18:20", "01:45:00", "03:07:00", "03:29:30"])
def test_steps_of_the_wall_clock(jump: float, clock: str) -> None:
    """However the clock jumps, the same turns go to the same people after the same seconds; but
    for the check at the full minute and what is asked for in the morning."""
    origin, inputs, end = outage()
    under = watch(LEAN, origin, 41)
    when = under.elapsed(clock)
    under.clock = lambda elapsed: origin.utc_at(elapsed) + (jump if elapsed >= when else 0.0)
    under.feed(inputs, end)
    expected = undisturbed().texts
    texts = [text for text in under.texts if text.turn != "owed"]
    assert [(text.turn, text.person) for text in expected] == [(t.turn, t.person) for t in texts]
    for wanted, text in zip(expected, texts, strict=True):
        slack = 60.0 if text.turn == "flow proven" else 0.0
        late = text.moment.elapsed - wanted.moment.elapsed
        assert abs(late) <= slack, (text.turn, late)
    assert "closed" == under.event(41).stage


# Restarts


@cache
def by_minute() -> dict[int, list[Reading | Answer]]:
    """The inputs of the night outage by the minute at whose end they are in."""
    found: dict[int, list[Reading | Answer]] = {}
    for item in outage()[1]:
        found.setdefault(math.ceil(item.moment.elapsed / 60.0), []).append(item)
    return found


def feed_minute(under: Watch, minute: int) -> None:
    """All that comes in up to the end of a minute."""
    under.feed(by_minute().get(minute, []), 60.0 * minute)


@cache
def states() -> list[State]:
    """The state of the undisturbed night at the end of each minute."""
    under = watch(LEAN, outage()[0], 41)
    found = []
    for minute in range(int(outage()[2] // 60.0) + 1):
        feed_minute(under, minute)
        found.append(under.state)
    return found


def shape(state: State) -> list[object]:
    """All that decides what is told from here on; conditions without their times."""
    durable, conditions = state.durable, state.running.conditions.items()
    return [
        durable.events,
        durable.siphons,
        durable.next_text,
        {name: record.lost_since for name, record in durable.supplies.items()},
        {name: (item.truth, item.active) for name, item in conditions},
    ]


def restarted(minute: int) -> tuple[Watch, float]:
    """The night with a crash at the end of a minute: only what was kept comes back.

    Played until nothing distinguishes it from the undisturbed night; that moment comes second.
    """
    origin, _, end = outage()
    at = 60.0 * minute
    kept = decode(json.loads(json.dumps(encode(states()[minute].durable))))
    again = resume(LEAN, kept, Moment(2, at, origin.utc_at(at)))
    under = Watch(LEAN, origin, again.state, again.next_due, list(again.effects), origin.utc_at)
    for now in range(minute + 1, len(states())):
        feed_minute(under, now)
        if now >= minute + 11 and shape(states()[now]) == shape(under.state):
            return under, 60.0 * now
    return under, end


LATE = {"flow proven": 240.0}
"""Three minutes of flow have to be seen anew after a restart, and then the full minute."""


def test_restart_at_any_minute() -> None:
    """A crash at any minute of the night loses no text and sends none twice, nor much later."""
    for minute in range(len(states()) - 1):
        under, until = restarted(minute)
        wanted = [t for t in undisturbed().texts if 60.0 * minute < t.moment.elapsed <= until]
        found = [text for text in under.texts if text.moment.elapsed <= until]
        told = [(text.turn, text.person) for text in wanted]
        assert told == [(text.turn, text.person) for text in found], minute
        for before, after_ in zip(wanted, found, strict=True):
            late = after_.moment.elapsed - before.moment.elapsed
            assert -1.0 <= late <= LATE.get(before.turn, 30.0), (minute, before.turn, late)
            assert before.number == after_.number


def test_restart_right_after_the_power_came_back() -> None:
    """A watch that was down when the power returned tells its time, not that of the restart."""
    minute = 143
    under, _ = restarted(minute)
    assert "03:08:00" == under.at(60.0 * minute)
    back = next(text for text in under.texts if text.turn == "power back, no flow")
    assert "Power back 03:05" in back.body


def test_restart_under_another_set_up() -> None:
    """Alarms of sensors the new set-up does not have are put to rest, and the event can end."""
    origin, _, _ = outage()
    played = watch(SLOW, origin, 41)
    steps = (Action(60.0, "sensor gain", "PA", 0.1),)
    story = Story("air", "2026-10-18T12:45:00", 600.0, FULL, actions=steps)
    played.feed(inputs_of(SLOW, story)[1], 600.0)
    assert "air low/A1/alarm" in played.event(41).alarms
    fewer = without(SLOW, "PA")
    again = resume(fewer, played.state.durable, Moment(2, 600.0, origin.utc_at(600.0)))
    under = Watch(fewer, origin, again.state, again.next_due, list(again.effects), origin.utc_at)
    rest = replace(story, actions=(), length=2000.0)
    under.feed([i for i in inputs_of(fewer, rest)[1] if i.moment.elapsed > 600.0], 2000.0)
    assert "air low/A1/alarm" not in under.state.durable.alarms
    assert "closed" == under.event(41).stage


# A set-up that changes while an event is open


def changed(at: str, setup: Setup, story: Story | None = None) -> Watch:
    """The night outage with another set-up in force from a clock time on."""
    origin, inputs, end = outage()
    under = watch(LEAN, origin, 41)
    when = under.elapsed(at)
    under.feed([item for item in inputs if item.moment.elapsed < when], when)
    under.take(when, [SetupChange(under.now(when), setup, "tavrin", "test")])
    under.setup = setup
    return under.feed([item for item in inputs if item.moment.elapsed >= when], end)


def test_same_set_up_again_changes_nothing() -> None:
    """A new version that says the same leaves texts and times as they were."""
    under = changed("01:30:00", replace(LEAN, version=2, worked_out={}))
    assert undisturbed().told == under.told
    assert [t.body for t in undisturbed().texts] == [t.body for t in under.texts]
    assert ["2"] == [row.subject for row in under.rows if row.what == "set-up"]


def test_limit_taken_away_mid_event() -> None:
    """An alarm whose limit is gone is put to rest; the outage is told on as before."""
    limits = tuple(limit for limit in LEAN.limits if limit.condition != "header low")
    under = changed("01:30:00", replace(LEAN, version=2, limits=limits, worked_out={}))
    assert undisturbed().told == under.told
    gone = [row for row in under.rows if row.subject == "header low/HD1/alarm"]
    assert "NORM" == gone[-1].state
    assert "header low/HD1/alarm" not in under.state.durable.alarms


def test_holder_taken_off_the_list_mid_event() -> None:
    """Who has the event leaves the list of people: what follows reaches those who are left."""
    people = tuple(person for person in LEAN.people if person.id != "tavrin")
    under = changed("01:30:00", replace(LEAN, version=2, people=people, worked_out={}))
    after_ = [text for text in under.texts if text.moment.elapsed > under.elapsed("01:30:00")]
    assert {"oskel", "lendow"} >= {text.person for text in after_}
    broken = next(text for text in after_ if text.turn == "siphon broken")
    assert broken.moment.elapsed == pytest.approx(under.elapsed("01:41:17"), abs=30.0)
    assert ("flow proven", "oskel", "03:32:00") in under.told


def test_sensor_taken_away_mid_event() -> None:
    """The flow meter is taken out of the set-up at 02:00: the siphon stays broken, and without a
    witness no power, level or clock ends the event."""
    under = changed("02:10:00", replace(without(LEAN, "QL"), version=2))
    event = under.event(41)
    assert event.stage in ("open", "taken", "on site")
    assert "S1" in under.state.durable.siphons


def stood_down(setup: Setup) -> Setup:
    """The same with the watch stood down."""
    assert isinstance(setup.run, Run)
    return replace(setup, version=2, run=replace(setup.run, watch_set=False), worked_out={})


def test_watch_stood_down_mid_event() -> None:
    """From then on nobody is called."""
    under = changed("01:30:00", stood_down(LEAN))
    assert all(text.moment.elapsed <= under.elapsed("01:30:00") for text in under.texts)


def test_watch_set_while_something_is_wrong() -> None:
    """Set while the siphon is broken, the watch tells it, as if it began now."""
    origin, inputs, _ = outage()
    down = stood_down(LEAN)
    under = watch(down, origin, 41)
    when = under.elapsed("02:40:00")
    under.feed([item for item in inputs if item.moment.elapsed < when], when)
    assert ([], {}) == (under.texts, under.state.durable.events)
    under.take(when, [SetupChange(under.now(when), LEAN, "tavrin", "eggs are in")])
    under.setup = LEAN
    under.feed([i for i in inputs if when < i.moment.elapsed < when + 900.0], when + 900.0)
    assert ["supply lost", "siphon broken"] == [text.turn for text in under.texts[:2]]
    assert under.texts[1].moment.elapsed - when <= 60.0
    assert "SIPHON BROKEN 01:41" in under.texts[1].body
    assert "breaks about" not in under.texts[0].body


# Whatever comes in


def moment(at: float) -> Moment:
    """A moment of the night outage."""
    return (
        outage()[0] if at == 0.0 else replace(outage()[0], elapsed=at, utc=outage()[0].utc_at(at))
    )


tags = st.sampled_from([*(tag.id for tag in SLOW.rig.tags), "nothing", ""])
words = st.text(max_size=12)
people = st.sampled_from(["tavrin", "oskel", "lendow", "amberlis", "", "x"])
numbers = st.one_of(st.none(), st.floats(), st.sampled_from([0.0, 1.0, 5.9, 9.0, 38.3, 85.0]))
inputs = st.one_of(
    st.builds(lambda at, tag, value: Reading(tag, moment(at), value), seconds, tags, numbers),
    st.builds(
        lambda at, kind, who, event, mins, text: Answer(moment(at), kind, who, event, mins, text),
        seconds,
        st.sampled_from([*ANSWER_KINDS, "dance"]),
        people,
        st.one_of(st.none(), st.integers(-1, 4)),
        numbers,
        st.one_of(words, st.sampled_from(["S1", "dead count", "cause: power", "timers"])),
    ),
    st.builds(lambda at, text: DeliveryReport(moment(at), 1, "mail", text), seconds, words),
    st.builds(lambda at, step_: ClockNote(moment(at), True, step_), seconds, st.floats()),
    st.builds(
        lambda at, part, over: Fault(moment(at), part, part, over), seconds, words, st.booleans()
    ),
)


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.lists(inputs, min_size=1, max_size=12), max_size=12))
def test_no_input_stops_the_watch(batches: list[list[Input]]) -> None:
    """Whatever sources and people send, in whatever order, a step comes to an end, every text
    fits, what lasts can be kept, and next due lies ahead."""
    under = watch(SLOW, outage()[0])
    for count, batch in enumerate(batches):
        at = 200.0 * (count + 1)
        under.idle(at)
        result = under.take(at, batch)
        assert at < result.next_due
        assert under.state.durable == decode(json.loads(json.dumps(encode(under.state.durable))))
    under.idle(200.0 * len(batches) + 4000.0)
    for text in under.texts:
        assert (places(text.body) or 999) <= 160, text.body
        assert text.person in SLOW.person


def test_refused_answer_leaves_only_its_refusal() -> None:
    """An answer that cannot be taken changes nothing but the record of its refusal."""
    origin = outage()[0]
    under = watch(SLOW, origin)
    before = under.state
    said = Answer(under.now(5.0), "here", "tavrin", 7)
    result: Step = under.take(5.0, [said])
    assert before.durable is result.state.durable
    assert ["answer"] == [e.what for e in result.effects if isinstance(e, JournalRow)]
    assert [] == [e for e in result.effects if isinstance(e, Text)]
    assert ["there is no event 7"] == [refusal.why for refusal in under.refusals]
