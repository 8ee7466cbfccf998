"""The condition `changed` in the watch: a notice by day, for followed tags only."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from logic_change.series import SAMPLES, noise, watched
from monitor.config import load, load_texts, snapshot
from monitor.effects import Effect, JournalRow, Text
from monitor.errors import SetupError
from monitor.inputs import Answer, Input, Moment, Reading
from monitor.logic import change
from monitor.logic.plan import plan_of
from monitor.logic.state import State, fresh
from monitor.logic.step import resume, step
from monitor.logic.usual import ENOUGH
from monitor.setup import Setup

NOON, NIGHT = 1_791_979_200.0, 1_792_018_800.0
"""2026-10-14 at 12:00 and at 23:00 UTC."""


def played(
    setup: Setup, start: float, seconds: int, fall: int, state: State | None = None
) -> tuple[State, list[tuple[float, Effect]]]:
    """Flow 32 L/min that falls to 30.5 at a second; effects with the second they came in."""
    at = Moment(1, 0.0, start)
    state = state or resume(setup, fresh(), at).state
    rest, found = noise(0.0, 0.3, 1), []
    for second in range(seconds):
        now = Moment(1, float(second), start + second)
        flow = (32.0 if second < fall else 30.5) + next(rest)
        taken = step(setup, state, [Reading("LF", now, flow)], now)
        state = taken.state
        found += [(float(second), effect) for effect in taken.effects]
    return state, found


def conditions(found: list[tuple[float, Effect]]) -> list[tuple[float, JournalRow]]:
    """The journal rows of the condition, with their second."""
    return [
        (second, effect)
        for second, effect in found
        if isinstance(effect, JournalRow) and effect.what == "condition"
        if effect.subject.startswith("changed")
    ]


def texts(found: list[tuple[float, Effect]]) -> list[tuple[float, Text]]:
    """The texts, with their second."""
    return [(second, effect) for second, effect in found if isinstance(effect, Text)]


def loop_with_flow_only() -> Setup:
    """The watched loop with nothing but its flow meter."""
    setup = watched()
    return replace(setup, rig=replace(setup.rig, tags=setup.rig.tags[:1]), worked_out={})


def test_change_is_told_by_day_with_what_moved() -> None:
    """A notice at once at noon, which names the tag and says what was usual."""
    _, found = played(loop_with_flow_only(), NOON, 1000, 900)
    ((second, row),) = conditions(found)
    assert 900 < second <= 925
    assert ("changed/L1", "true", "notice") == (row.subject, row.state, row.grade)
    assert (("LF", "down from 32.0 L/min"),) == row.evidence
    ((_, text),) = texts(found)
    assert "notice" == text.grade
    assert "READINGS CHANGED since" in text.body
    assert "Compare LF with before." in text.body


def test_nobody_is_woken() -> None:
    """At night the same change sends no text, and calls nobody later in the night."""
    state, found = played(loop_with_flow_only(), NIGHT, 1000, 900)
    assert 1 == len(conditions(found))
    assert [] == texts(found)
    assert [0] == [event.calls for event in state.durable.events.values()]
    assert [None] == [event.next_call for event in state.durable.events.values()]


def test_it_never_joins_an_event_that_calls() -> None:
    """Its group is its own, so that no urgent event takes it along."""
    spec = plan_of(watched()).specs["changed/L1"]
    others = {s.group for s in plan_of(load(SAMPLES / "ostrel-hill")).specs.values()}
    assert spec.group not in others
    assert "notice" == spec.grade


@pytest.mark.parametrize("name", ["ostrel-hill", "first-night", "loop-recording"])
def test_nothing_is_followed_where_nobody_asked(name: str) -> None:
    """The other samples follow no tag, have no such condition, and keep no baseline."""
    setup = load(SAMPLES / name)
    assert () == plan_of(setup).followed
    assert not any(spec.startswith("changed") for spec in plan_of(setup).specs)


def test_change_ends_even_if_nothing_is_read() -> None:
    """A sensor that falls silent does not leave the change standing without end."""
    setup = loop_with_flow_only()
    state, found = played(setup, NOON, 1000, 900)
    ((second, _),) = conditions(found)
    end = second + change.LONGEST * change.READINGS
    before = step(setup, state, (), Moment(1, end - 1.0, NOON + end - 1.0))
    assert before.state.running.conditions["changed/L1"].truth
    after = step(setup, before.state, (), Moment(1, end, NOON + end))
    assert "changed/L1" not in after.state.running.conditions


def test_restart_holds_the_alarm_until_there_is_a_baseline() -> None:
    """After a restart a standing change is neither dropped nor judged before the cold start."""
    setup = loop_with_flow_only()
    state, _ = played(setup, NOON, 1000, 900)
    again = resume(setup, state.durable, Moment(2, 0.0, NOON + 1000)).state
    cold = ENOUGH * change.READINGS
    held, found = played(setup, NOON + 1000, cold - 10, 0, again)
    assert [] == conditions(found)
    assert held.running.conditions["changed/L1"].truth
    _, found = played(setup, NOON + 1000, cold + 20, 0, again)
    assert ["false"] == [row.state for _, row in conditions(found)]


def test_other_setup_begins_anew() -> None:
    """A tag that is no longer followed, or another one, does not upset what was learnt."""
    setup = watched()
    state, _ = played(setup, NOON, 400, 900)
    fewer = replace(setup, rig=replace(setup.rig, tags=setup.rig.tags[:2]), worked_out={})
    at = Moment(1, 401.0, NOON + 401)
    silent = step(fewer, state, (), at)
    taken = step(fewer, silent.state, [Reading("LF", at, 32.0)], at)
    assert 2 == len(taken.state.running.followed["L1"].tags)


def test_state_cannot_be_followed() -> None:
    """A tag that says no or yes has no small changes: refused, with the line."""
    texts = snapshot(SAMPLES / "first-night")
    texts["rig.toml"] = texts["rig.toml"].replace(
        'measures = "mains"', 'measures = "mains"\nfollowed = true', 1
    )
    with pytest.raises(SetupError) as error:
        load_texts(texts, 1)
    (problem,) = error.value.problems
    assert "followed" in str(problem)
    assert "says only no or yes" in str(problem)


def followed_siphon() -> Setup:
    """The demo rig with its flow to the larvae followed, and nothing else."""
    setup = load(SAMPLES / "ostrel-hill")
    flow = replace(setup.rig.tag["QL"], followed=True)
    return replace(setup, rig=replace(setup.rig, tags=(flow,)), limits=(), worked_out={})


def flowing(
    setup: Setup, start: float, flow: Callable[[int], float], hold: tuple[int, int] | None = None
) -> list[tuple[float, JournalRow]]:
    """Two and a half hours of the flow to the larvae, L/min by the minute, read each 5 s; a hold
    from a minute on, for so many."""
    at = Moment(1, 0.0, start)
    state, rest, found = resume(setup, fresh(), at).state, noise(0.0, 0.04, 1), []
    for second in range(0, 9000, 5):
        now = Moment(1, float(second), start + second)
        inputs: list[Input] = [Reading("QL", now, flow(second // 60) + next(rest))]
        if hold is not None and second == hold[0] * 60:
            inputs.append(Answer(now, "hold", "tavrin", minutes=hold[1]))
        taken = step(setup, state, inputs, now)
        state = taken.state
        found += [(float(second), effect) for effect in taken.effects]
    return conditions(found)


AFTERNOON = 1_792_512_000.0
"""2026-10-20 at 11:00 in the zone of the demo rig."""


def test_flow_that_falls_without_a_reason_is_told() -> None:
    """A tenth less after an hour and a half: told."""
    rows = flowing(followed_siphon(), AFTERNOON, lambda minute: 6.0 if minute < 90 else 5.4)
    assert ["changed/S1"] == [row.subject for _, row in rows]


def test_feeding_hold_is_no_change() -> None:
    """The same fall in a hold is what people did; afterwards another setting is the usual one."""

    def held(minute: int) -> float:
        return 6.0 if minute < 90 else 2.0 if minute < 110 else 5.7

    assert [] == flowing(followed_siphon(), AFTERNOON, held, hold=(90, 20))


def test_another_set_flow_is_no_change() -> None:
    """On the morning of dph 10 at 10:00 the flow goes from 4.5 to 6.0, as is due."""
    setup = followed_siphon()
    morning = 1_792_162_800.0 - 5400.0
    assert 10 == setup.dph(morning)
    assert [] == flowing(setup, morning, lambda minute: 4.5 if morning + minute * 60 < TEN else 6.0)


TEN = 1_792_162_800.0
"""2026-10-16 at 10:00 in the zone of the demo rig."""
