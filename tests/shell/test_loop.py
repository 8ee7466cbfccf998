"""One turn of the loop: what is committed, what is waited for, and what a bad disk does."""

from dataclasses import replace
from datetime import date

import pytest

import monitor.loop
from monitor.archive.records import SetupVersion
from monitor.clock import VirtualClock
from monitor.effects import Effect, Flag, Text
from monitor.inputs import Answer, Fault, Moment, Reading, SetupChange
from monitor.logic.step import Step
from monitor.loop import PATIENCE, SHORTEST, Loop, StepFailed
from monitor.rig import Tag
from monitor.setup import Run, Setup
from monitor.units import unit_of
from shell.fakes import BEGIN, SETUP, START, FakeRecord, FakeStep, FakeTicket, row, text


class Bench:
    """A loop on a virtual clock with a scripted step, a scripted record and an open ear."""

    def __init__(self, step: FakeStep, start: Step = BEGIN, setup: Setup = SETUP) -> None:
        self.step = step
        self.record = FakeRecord()
        self.clock = VirtualClock(START)
        self.sent: list[tuple[float, Text, tuple[str, ...]]] = []
        self.seen: list[Effect] = []
        self.loop = Loop(
            setup,
            start,
            self.clock,
            self.record,
            lambda text, channels: self.sent.append((self.clock.now().elapsed, text, channels)),
            lambda effects, _now: self.seen.extend(effects),
        )

    def inputs_of_turn(self, turn: int) -> tuple[object, ...]:
        return self.step.turns[turn][1]


@pytest.fixture
def step(monkeypatch: pytest.MonkeyPatch) -> FakeStep:
    """The step that the loop calls."""
    fake = FakeStep()
    monkeypatch.setattr(monitor.loop, "step", fake)
    return fake


@pytest.fixture
def bench(step: FakeStep) -> Bench:
    """A loop that has begun with nothing to do; the commit of its start is put aside."""
    begun = Bench(step)
    begun.record.commits.clear()
    return begun


def test_turn_without_effects_commits_nothing(bench: Bench) -> None:
    """Idle scans write nothing at all to the card."""
    for _ in range(100):
        bench.clock.advance_to(bench.clock.now().elapsed + 1.0)
        bench.loop.turn([Reading("T1", bench.clock.now(), 26.5)])

    assert [] == bench.record.commits


def test_changed_durable_state_is_committed_whole(bench: Bench) -> None:
    """A turn that changes what must last commits it with its journal rows in one commit."""
    bench.step.plan = [([row("open")], True)]
    bench.loop.turn([])
    (commit,) = bench.record.commits

    assert ((row("open"),), 2) == (commit.journal, (commit.durable or {})["next_event"])


def test_journal_alone_leaves_the_durable_state_alone(bench: Bench) -> None:
    """Rows without a change of state are kept without writing the state again."""
    bench.step.plan = [([row("noted")], False)]
    bench.loop.turn([])

    assert [None] == [commit.durable for commit in bench.record.commits]


def test_texts_wait_for_their_commit(bench: Bench) -> None:
    """A text is on the disk before it is sent, to the channels of its person."""
    bench.step.plan = [([text(1), text(2, "oskel")], True)]
    bench.loop.turn([])
    (commit,) = bench.record.commits
    expected = [(text(1), ("mail", "folder")), (text(2, "oskel"), ("mail",))]

    assert PATIENCE == commit.ticket.waits[0]
    assert expected == list(commit.texts)
    assert [(100.0, *pair) for pair in expected] == bench.sent


def test_turn_without_texts_waits_for_nothing(bench: Bench) -> None:
    """Detection never waits for the disk."""
    bench.step.plan = [([row("open")], True)]
    bench.loop.turn([])

    assert [0.0] == bench.record.commits[0].ticket.waits


def test_answer_somebody_waits_for_waits_for_the_disk(bench: Bench) -> None:
    """Whoever is told "taken" can rely on it after a power cut."""
    bench.step.plan = [([row("taken")], True)]
    bench.loop.turn([Answer(START, "take", "tavrin", 41)], waited_for=True)

    assert PATIENCE == bench.record.commits[0].ticket.waits[0]


def test_blocked_disk_delays_one_text_by_its_patience_and_no_detection(bench: Bench) -> None:
    """Texts that cannot be kept go out all the same, a fault goes in, and nothing waits again."""
    bench.record.tickets = [FakeTicket(kept=False) for _ in range(3)]
    bench.step.plan = [([text(1)], True), ([text(2)], True), ([text(3)], True)]
    for _ in range(3):
        bench.loop.turn([])
        bench.clock.advance_to(bench.clock.now().elapsed + 1.0)
    waits = [[wait for wait in c.ticket.waits if wait] for c in bench.record.commits]

    assert [[PATIENCE], [], []] == waits
    assert [(100.0, 1), (101.0, 2), (102.0, 3)] == [(at, item.number) for at, item, _ in bench.sent]
    assert (Fault(START, "record", "nothing kept for 2 s"),) == bench.inputs_of_turn(1)
    assert () == bench.inputs_of_turn(2)


def test_commit_that_nobody_waits_for_is_missed_when_it_is_late(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A commit without texts that is not kept within the patience is a fault too."""
    monkeypatch.setattr(monitor.loop, "boottime", lambda: bench.clock.now().elapsed)
    bench.record.tickets = [FakeTicket(kept=False)]
    bench.step.plan = [([row("open")], True)]
    bench.loop.turn([])
    for _ in range(3):
        bench.clock.advance_to(bench.clock.now().elapsed + 1.0)
        bench.loop.turn([])
    late = bench.step.turns[3][0]

    assert [(), (), ()] == [bench.inputs_of_turn(turn) for turn in range(3)]
    assert "nothing kept for 2 s" == next(iter(bench.step.turns[3][1])).wrong  # type: ignore[union-attr]
    assert 103.0 == late.elapsed


def test_disk_that_refuses_is_left_to_the_writer(bench: Bench) -> None:
    """A refused commit is told by the writer, which tries again; the loop adds no fault."""
    bench.record.tickets = [FakeTicket(kept=False, error="disk full")]
    bench.step.plan = [([text(1)], True)]
    for _ in range(4):
        bench.loop.turn([])
        bench.clock.advance_to(bench.clock.now().elapsed + 1.0)

    assert [()] * 4 == [inputs for _, inputs in bench.step.turns]
    assert [1] == [item.number for _, item, _ in bench.sent]


def test_disk_that_moves_again_ends_the_fault(bench: Bench) -> None:
    """When the commit that was stuck is kept after all, the fault is over and texts wait again."""
    stuck, next_one = FakeTicket(kept=False), FakeTicket()
    bench.record.tickets = [stuck, next_one]
    bench.step.plan = [([text(1)], True)]
    bench.loop.turn([])
    bench.loop.turn([])
    stuck.kept = True
    bench.loop.turn([])
    bench.step.plan = [([text(2)], True)]
    bench.loop.turn([])

    assert (Fault(START, "record", "", over=True),) == bench.inputs_of_turn(3)
    assert PATIENCE == next_one.waits[0]


def test_disk_that_keeps_one_commit_and_hangs_on_the_next_is_stuck(bench: Bench) -> None:
    """An earlier commit that was kept in the end does not hide the one that hangs."""
    first = FakeTicket(kept=False)
    bench.record.tickets = [first, FakeTicket(kept=False)]
    bench.step.plan = [([row("open")], True), ([text(1)], True)]
    bench.loop.turn([])
    first.kept = True
    bench.loop.turn([])
    bench.loop.turn([])

    assert (Fault(START, "record", "nothing kept for 2 s"),) == bench.inputs_of_turn(2)


def test_fault_of_the_record_is_due_at_once(bench: Bench) -> None:
    """The fault does not wait for the next thing to fall due."""
    bench.record.tickets = [FakeTicket(kept=False)]
    bench.step.plan = [([text(1)], True)]
    bench.loop.turn([])

    assert START.elapsed + SHORTEST == bench.loop.next_due


def test_flags_cause_no_commit_of_their_own(bench: Bench) -> None:
    """Quality flags go with a commit where there is one, else to the gathered readings."""
    flags = [Flag("T1", 100.0 + second, 3, "spike") for second in range(2)]
    bench.step.plan = [([flags[0]], False), ([flags[1], row("open")], True)]
    for _ in range(2):
        bench.loop.turn([])

    assert [flags[0]] == bench.record.flagged
    assert [(flags[1],)] == [commit.flags for commit in bench.record.commits]


def test_readings_are_kept_with_calibration_and_run(step: FakeStep) -> None:
    """Each reading goes to the record with the calibration in force and the run it belongs to."""
    tag = Tag("T1", "temperature", "LT1", unit_of("temperature"), "bus", calibration=3)
    setup = replace(
        SETUP,
        rig=replace(SETUP.rig, tags=(tag,)),
        run=Run("OH-07", "LT1", date(2026, 10, 6)),
    )
    bench = Bench(step, setup=setup)
    bench.loop.keep([Reading("T1", START, 26.5)])

    assert [(Reading("T1", START, 26.5), 3, "OH-07")] == bench.record.stored


def test_refused_answer_is_told_and_changes_no_set_up(bench: Bench) -> None:
    """The reason of a refusal comes back to whoever asked."""
    assert "no to this" == bench.loop.turn([Answer(START, "note", "tavrin", text="this")])
    assert "" == bench.loop.turn([Answer(START, "take", "tavrin", 41)])


def test_change_of_the_set_up_is_kept_and_in_force(bench: Bench) -> None:
    """A new set-up is committed with its files, and the next turn runs under it."""
    new = Setup(2, SETUP.rig)
    files = {"rig.toml": "..."}
    bench.loop.turn([SetupChange(START, new, "tavrin", "new pump")], files)
    version = SetupVersion(2, START, "tavrin", "new pump", files)

    assert (new, new) == (bench.loop.setup, bench.loop.snapshot.setup)
    assert [version] == [commit.setup for commit in bench.record.commits]


def test_step_that_fails_changes_nothing(bench: Bench) -> None:
    """An error in the step leaves the state as it was and is told as such."""
    before = bench.loop.state
    with pytest.raises(StepFailed, match="OverflowError: math range error"):
        bench.loop.turn([Reading("poison", START, 1.0)])

    assert before is bench.loop.state


def test_texts_of_the_start_are_sent(step: FakeStep) -> None:
    """What a restart finds due at once is committed and sent like anything else."""
    bench = Bench(step, Step(BEGIN.state, (text(9),), 500.0))

    assert [9] == [item.number for _, item, _ in bench.sent]
    assert [9] == [pair[0].number for pair in bench.record.commits[0].texts]
    assert 500.0 == bench.loop.next_due


def test_virtual_clock_stops_at_every_due_time(bench: Bench) -> None:
    """Between two inputs the loop jumps from due time to due time, and to nothing else."""
    bench.step.due = [110.0, 130.0, 999.0]
    bench.loop.turn([])
    bench.loop.run_on_to(bench.clock, 200.0)

    assert [100.0, 110.0, 130.0] == [now.elapsed for now, _ in bench.step.turns]
    assert 200.0 == bench.clock.now().elapsed


def test_due_time_that_does_not_move_cannot_hang_the_loop(bench: Bench) -> None:
    """A due time in the past is taken as due at once, and time goes on."""
    bench.step.due = [50.0] * 20
    bench.loop.turn([])
    bench.loop.run_on_to(bench.clock, START.elapsed + 0.01)

    assert Moment(1, START.elapsed + 0.01, START.utc + 0.01) == bench.clock.now()
