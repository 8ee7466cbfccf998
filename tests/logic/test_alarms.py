"""The nine alarm states of ISA-18.2 / IEC 62682, and the stages of an event, walked as tables."""

from itertools import product

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from monitor.errors import IllegalTransition, RefusedInput
from monitor.logic import alarms, events
from monitor.logic.alarms import ACTIVE, HIDDEN, STATES, TRIGGERS, UNANSWERED, move

STANDARD = """
NORM  true            UNACK
UNACK acknowledge     ACKED
UNACK false           RTNUN
UNACK false latching  LATUN
UNACK re-alarm        UNACK
ACKED false           NORM
ACKED false latching  LATAK
ACKED re-alarm        UNACK
RTNUN acknowledge     NORM
RTNUN true            UNACK
LATUN acknowledge     LATAK
LATUN reset           RTNUN
LATUN true            UNACK
LATAK reset           NORM
LATAK true            UNACK
"""
"""State, what happens, next state: the transition diagram as public sources describe it (the
standard's own text not seen), with OPC UA Part 9 annex B agreeing on the first nine."""


def standard() -> dict[tuple[str, str], str]:
    """The table above, with the three hidden states: any visible state enters them; in them the
    condition goes on being judged; out of them it must be seen anew if true."""
    table = {}
    for line in STANDARD.strip().splitlines():
        state, *words, after = line.split()
        table[state, " ".join(words)] = after
    entries = {"shelve": "SHLVD", "suppress": "DSUPR", "withdraw": "OOSRV"}
    for state in set(STATES) - set(HIDDEN):
        table |= {(state, trigger): hidden for trigger, hidden in entries.items()}
    for hidden in HIDDEN:
        table |= {(hidden, "show true"): "UNACK", (hidden, "show false"): "NORM"}
        table |= {(hidden, word): hidden for word in ("true", "false", "false latching")}
    return table


def test_table_is_the_standard() -> None:
    """Every legal move is there, and no other."""
    assert standard() == alarms.TRANSITIONS


@pytest.mark.parametrize(("state", "trigger"), sorted(product(STATES, TRIGGERS)))
def test_every_pair(state: str, trigger: str) -> None:
    """A pair of the table moves as it says; any other is refused, naming state and trigger."""
    legal = standard()
    if (state, trigger) in legal:
        assert legal[state, trigger] == move(state, trigger)
    else:
        with pytest.raises(IllegalTransition, match=f"{state}.*{trigger}"):
            move(state, trigger)


def test_unknown_words_are_refused() -> None:
    """A state or a trigger that does not exist is an illegal move, not a crash."""
    for state, trigger in (("", "true"), ("NORM", ""), ("norm", "true"), ("NORM", "TRUE")):
        with pytest.raises(RefusedInput):
            move(state, trigger)


def test_all_nine_states_can_be_reached() -> None:
    """From normal every state can be reached, and from every state normal again."""
    for start, wanted in [("NORM", set(STATES)), *((state, {"NORM"}) for state in STATES)]:
        seen, edge = {start}, [start]
        while edge:
            state = edge.pop()
            for trigger in TRIGGERS:
                after = alarms.TRANSITIONS.get((state, trigger))
                if after is not None and after not in seen:
                    seen.add(after)
                    edge.append(after)
        assert wanted <= seen, start


TABLE_B1 = [
    ("true", True, False),
    ("acknowledge", True, True),
    ("false", False, True),
    ("true", True, False),
    ("false", False, False),
    ("acknowledge", False, True),
]
"""OPC UA Part 9 v1.05, table B.1: what happens, then Active and Acked.

Confirm (a person says that corrective action was taken) is the closing of the event here, so rows
4 and 8 of the table change no alarm; table B.1 counts a cleared alarm as acked where it had been
acked while active (row 3), which is NORM here.
"""


def test_opc_ua_sequence() -> None:
    """The published sequence gives its pairs of active and acknowledged, row by row."""
    state = "NORM"
    for trigger, active, acked in TABLE_B1:
        state = move(state, trigger)
        assert (active, acked) == (state in ACTIVE, state not in UNANSWERED), (trigger, state)
    assert "NORM" == state


def test_second_acknowledgement_is_refused() -> None:
    """An alarm is acknowledged once (OPC UA Part 9: a second one is an error)."""
    with pytest.raises(IllegalTransition):
        move(move("UNACK", "acknowledge"), "acknowledge")


class AlarmWalk(RuleBasedStateMachine):
    """Random life of one alarm, with a memory of whether anybody has answered it."""

    def __init__(self) -> None:
        super().__init__()
        self.state = "NORM"
        self.owed = False

    @rule(trigger=st.sampled_from(TRIGGERS))
    def anything(self, trigger: str) -> None:
        """Try any trigger; an illegal one leaves the state as it is."""
        before = self.state
        try:
            self.state = move(before, trigger)
        except IllegalTransition:
            assert before == self.state
            assert (before, trigger) not in alarms.TRANSITIONS
            return
        if self.state == "UNACK":
            self.owed = True
        if trigger == "acknowledge" or self.state in HIDDEN:
            self.owed = False

    @precondition(lambda self: self.owed)
    @invariant()
    def never_normal_unanswered(self) -> None:
        """What was not acknowledged is not normal, hiding by a named person or by design apart."""
        assert self.state not in ("NORM", "ACKED", "LATAK")

    @invariant()
    def unanswered_is_known(self) -> None:
        """The states that ask for an answer are exactly those in which one is owed."""
        assert self.owed == (self.state in UNANSWERED)


TestAlarmWalk = AlarmWalk.TestCase
TestAlarmWalk.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)


EVENT_TRIGGERS = ("take", "here", "cannot", "missed", "re-alarm", "proven", "again", "close")


@pytest.mark.parametrize(("stage", "trigger"), sorted(product(events.STAGES, EVENT_TRIGGERS)))
def test_every_stage(stage: str, trigger: str) -> None:
    """An event moves only along its table, and a closed one not at all."""
    known = (stage, trigger) in events.TRANSITIONS
    assert not (known and stage == "closed")
    if known:
        assert events.TRANSITIONS[stage, trigger] == events.move(stage, trigger)
    else:
        with pytest.raises(IllegalTransition, match=stage):
            events.move(stage, trigger)


def test_event_tables_name_only_what_there_is() -> None:
    """No stage or trigger of the event table is misspelt."""
    assert {stage for stage, _ in events.TRANSITIONS} <= set(events.STAGES)
    assert {trigger for _, trigger in events.TRANSITIONS} == set(EVENT_TRIGGERS)
    assert set(events.TRANSITIONS.values()) == set(events.STAGES)
