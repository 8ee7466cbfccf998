"""The condition `changed` in the watch: a notice by day, for followed tags only."""

from dataclasses import replace

import pytest

from logic_change.series import SAMPLES, noise, watched
from monitor.config import load, load_texts, snapshot
from monitor.effects import Effect, JournalRow, Text
from monitor.errors import SetupError
from monitor.inputs import Moment, Reading
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
