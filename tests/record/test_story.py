"""What the journal tells of a run: events with their times, feeding holds, silences."""

from datetime import UTC, datetime

from monitor.effects import JournalRow
from monitor.inputs import Moment
from monitor.logic.state import Durable, EventRecord, HoldRecord
from monitor.record.rows import EventOfDay
from monitor.record.spans import Span
from monitor.record.story import Story

AHEAD = 1_790_000_000.0
OVERRUN = 600.0
NOTHING = Durable()


def story_of(*rows: tuple[float, str, str, str]) -> Story:
    """The story of rows (elapsed, what, subject, state), as the journal has them."""
    story = Story()
    for elapsed, what, subject, state in rows:
        grade = "urgent" if what == "event" and state == "open" else ""
        cause = "mains lost/B1" if grade else ""
        moment = Moment(1, elapsed, elapsed + AHEAD)
        story.tell(JournalRow(moment, what, subject, state, grade, cause, "tavrin"), OVERRUN)
    return story


def test_an_event_has_its_times() -> None:
    """The first time it was taken and somebody came, the last proof and the closing."""
    story = story_of(
        (60.0, "event", "41", "open"),
        (240.0, "answer", "41", "taken"),
        (2520.0, "answer", "41", "taken"),
        (4440.0, "answer", "41", "on site"),
        (8040.0, "event", "41", "flow proven"),
        (12000.0, "answer", "41", "done"),
        (12120.0, "event", "41", "closed"),
        (12120.0, "event", "41", "closed"),
    )
    kept = EventRecord(41, "water", "LT1", "mains lost/B1", 0.0, 60.0, "urgent")
    (event,) = story.finished(Durable(events={41: kept}))
    times = [AHEAD + at for at in (0.0, 240.0, 4440.0, 8040.0, 12120.0)]
    assert EventOfDay(41, "urgent", "mains lost/B1", *times) == event


def test_new_trouble_after_a_proof_moves_the_proof() -> None:
    """An event that is open again was not over: its proof is the last one."""
    story = story_of(
        (60.0, "event", "44", "open"),
        (600.0, "event", "44", "flow proven"),
        (900.0, "event", "44", "open"),
        (1500.0, "event", "44", "flow proven"),
    )
    (event,) = story.finished(NOTHING)
    assert (AHEAD + 60.0, AHEAD + 1500.0) == (event.first_sign, event.proven)
    assert event.taken is event.closed is None


def test_an_event_that_became_graver_has_the_worst_grade() -> None:
    """A notice that turned urgent is an urgent event of its day."""
    story = Story()
    for elapsed, state, grade in ((0.0, "open", "notice"), (60.0, "flow proven", "high")):
        row = JournalRow(Moment(1, elapsed, elapsed), "event", "7", state, grade)
        story.tell(row, OVERRUN)
    kept = EventRecord(7, "water", "LT1", "x", 0.0, 0.0, "urgent")
    assert ["high"] == [event.grade for event in story.finished(NOTHING)]
    assert ["urgent"] == [event.grade for event in story.finished(Durable(events={7: kept}))]


def test_an_answer_to_an_event_of_before_is_left_out() -> None:
    """Rows of an event whose opening lies before the table make no event of their own."""
    story = story_of((0.0, "answer", "3", "taken"), (9.0, "event", "3", "closed"))
    assert () == story.finished(NOTHING)


def test_a_hold_lasts_until_it_was_over() -> None:
    """Begun by a person, ended by a person or by flow in band."""
    story = story_of(
        (0.0, "answer", "hold S1", "began"),
        (1800.0, "event", "hold S1", "ended"),
        (9000.0, "answer", "hold S1", "began"),
        (9600.0, "answer", "hold S1", "ended"),
        (9700.0, "answer", "hold S1", "ended"),
    )
    assert {
        "S1": (Span(AHEAD, AHEAD + 1800.0), Span(AHEAD + 9000.0, AHEAD + 9600.0))
    } == story.holds(NOTHING)


def test_an_overrun_hold_ends_as_planned() -> None:
    """The overrun is known 10 min after the planned end: what follows that end is outside."""
    story = story_of(
        (0.0, "answer", "hold S1", "began"),
        (2400.0 + OVERRUN, "condition", "hold overrun/S1", "true"),
        (3720.0, "event", "hold S1", "ended"),
    )
    assert {"S1": (Span(AHEAD, AHEAD + 2400.0),)} == story.holds(NOTHING)


def test_a_hold_that_still_runs_ends_as_the_watch_remembers() -> None:
    """Its planned end is in the watch's memory; without that nothing is excused."""
    story = story_of((100.0, "answer", "hold S1", "began"))
    hold = HoldRecord("S1", "tavrin", 100.0, 1900.0)
    assert {"S1": (Span(AHEAD + 100.0, AHEAD + 1900.0),)} == story.holds(
        Durable(holds={"S1": hold})
    )
    assert {"S1": ()} == story.holds(NOTHING)


def test_silences_are_what_the_watch_noted_of_sensors() -> None:
    """Only a condition that came true shows that the watch ran meanwhile."""
    story = story_of(
        (10.0, "condition", "sensor silent/QL", "true"),
        (20.0, "condition", "sensor silent/QL", "false"),
        (30.0, "condition", "supply lost/HD1", "true"),
    )
    assert [AHEAD + 10.0] == story.silences


def test_a_hold_ends_at_its_planned_end_at_the_latest() -> None:
    """Planned for 40 min, over 5 min late: 40; lengthened by 30 and over at 50: 50."""
    story = Story()

    def tell(elapsed: float, state: str, till: float | None = None) -> None:
        moment = Moment(1, elapsed, elapsed + AHEAD)
        planned = None if till is None else datetime.fromtimestamp(till + AHEAD, UTC).isoformat()
        evidence = () if planned is None else (("till", planned),)
        row = JournalRow(moment, "answer", "hold S1", state, evidence=evidence)
        story.tell(row, OVERRUN)

    tell(0.0, "began", 2400.0)
    tell(2700.0, "ended")
    tell(9000.0, "began", 11400.0)
    tell(11000.0, "goes on", 13200.0)
    tell(12000.0, "ended")
    spans = (Span(AHEAD, AHEAD + 2400.0), Span(AHEAD + 9000.0, AHEAD + 12000.0))
    assert {"S1": spans} == story.holds(NOTHING)
