"""Replay: what reaches the loop at which moment, and the form of what is printed."""

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import monitor.loop
import monitor.replay
from monitor.config import load
from monitor.effects import Flag, JournalRow, Refusal
from monitor.errors import HoldwaterError, RecordingError
from monitor.inputs import Answer, ClockNote, Moment, Reading
from monitor.lines import Line, as_line, readable
from monitor.logic.state import fresh
from monitor.recording import Row
from monitor.replay import Start, play_files, read_start, replay, set_up_for
from monitor.setup import Run
from shell.fakes import BEGIN, SETUP, START, FakeStep, text

SAMPLE = Path(__file__).parents[2] / "sample_config" / "ostrel-hill"
ZONE = SETUP.zone


def moment(second: float, wall: float = 0.0) -> Moment:
    """A moment so many seconds after the start, its wall off by `wall`."""
    return Moment(1, START.elapsed + second, START.utc + second + wall)


def row(second: float, wall: float = 0.0, step: float = 0.0) -> Row:
    """A row with one reading."""
    at = moment(second, wall)
    return Row(2, at, [Reading("T1", at, 26.5)], step)


def said(second: float, kind: str = "take") -> tuple[float, Answer]:
    """An answer at a second of the recording."""
    at = START.utc + second
    return at, Answer(Moment(1, 0.0, at), kind, "tavrin", 41, way="script")


class Bench:
    """A replay with a scripted step."""

    def __init__(self, step: FakeStep) -> None:
        self.step = step
        self.lines: list[Line] = []

    def play(
        self,
        rows: Sequence[Row],
        answers: Sequence[tuple[float, Answer]] = (),
        run_on: float = 0.0,
    ) -> None:
        replay(SETUP, iter(rows), answers, Start(fresh()), run_on, self.lines.append)

    @property
    def moments(self) -> list[Moment]:
        return [now for now, _ in self.step.turns]


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A replay whose step and start are scripted."""
    fake = FakeStep()
    monkeypatch.setattr(monitor.loop, "step", fake)
    monkeypatch.setattr(monitor.replay, "resume", lambda *_: BEGIN)
    return Bench(fake)


def test_each_row_is_a_turn_at_its_own_moment(bench: Bench) -> None:
    """The clock jumps from row to row, also over a gap of hours."""
    rows = [row(0), row(1), row(7201)]
    bench.play(rows)

    assert [(r.moment, tuple(r.readings)) for r in rows] == bench.step.turns


def test_due_times_between_rows_are_kept_to(bench: Bench) -> None:
    """What falls due between two rows happens then, not at the next row."""
    bench.step.due = [START.elapsed + 90.0, START.elapsed + 100.5]
    bench.play([row(0), row(600)])

    assert [moment(0), moment(90), moment(100.5), moment(600)] == bench.moments


def test_answers_come_at_their_own_time(bench: Bench) -> None:
    """An answer between two rows is taken between them, with the moment of that time."""
    bench.play([row(0), row(60)], [said(25.5), said(61.0, "here")])
    answers = [inputs for _, inputs in bench.step.turns if isinstance(inputs[0], Answer)]

    assert [moment(0), moment(25.5), moment(60), moment(61)] == bench.moments
    assert [
        (replace(said(25.5)[1], moment=moment(25.5)),),
        (replace(said(61.0, "here")[1], moment=moment(61)),),
    ] == answers


def test_answers_from_before_the_recording_are_taken_at_its_start(bench: Bench) -> None:
    """What was said earlier than the first row is taken before that row."""
    bench.play([row(0)], [said(-3600.0)])

    assert [moment(0), moment(0)] == bench.moments
    assert isinstance(bench.step.turns[0][1][0], Answer)


def test_repeated_hour_is_told_as_a_step_of_the_wall(bench: Bench) -> None:
    """A row whose clock went back is told as a step, and later moments have the new wall."""
    back = row(5, wall=-3600.0, step=-3600.0)
    bench.play([row(0), back, row(10, wall=-3600.0)])

    assert (ClockNote(back.moment, True, -3600.0), *back.readings) == bench.step.turns[1][1]
    assert [moment(0), moment(5, -3600.0), moment(10, -3600.0)] == bench.moments


def test_clock_runs_on_after_the_last_row_as_asked(bench: Bench) -> None:
    """After the last row nothing more happens, or what is due within the time asked for."""
    bench.step.due = [START.elapsed + 120.0, START.elapsed + 240.0]
    bench.play([row(0)], run_on=120.0)

    assert [moment(0), moment(120)] == bench.moments


def test_without_running_on_nothing_follows_the_last_row(bench: Bench) -> None:
    """By default the replay ends with the last row."""
    bench.step.due = [START.elapsed + 1.0]
    bench.play([row(0)])

    assert [moment(0)] == bench.moments


def test_recording_without_rows_is_refused(bench: Bench) -> None:
    """A recording of a header alone is told as such."""
    with pytest.raises(RecordingError, match="holds no row"):
        bench.play([])


def test_effects_are_shown_in_their_order(bench: Bench) -> None:
    """Every effect becomes a line; the journal's copy of a text and flags of readings do not."""
    copy = JournalRow(START, "text", "41", "supply lost", who="tavrin", text="Go.")
    opened = JournalRow(START, "event", "41", "open")
    bench.step.plan = [([Flag("T1", 0.0, 3, "spike"), opened, text(1), copy], True)]
    bench.play([row(0)])

    assert ["event", "text"] == [line["what"] for line in bench.lines]


def test_form_of_a_line_is_kept() -> None:
    """Others read these lines: keys, their order and their kinds stay as they are."""
    effect = JournalRow(
        START,
        "condition",
        "supply lost/HD1",
        "true",
        "urgent",
        "cause",
        "who",
        (("LH", "38.0 cm"),),
        "text",
    )
    expected = {
        "time": "2026-10-17T20:00:00-05:00",
        "what": "condition",
        "name": "supply lost/HD1",
        "number": None,
        "state": "true",
        "grade": "urgent",
        "cause": "cause",
        "who": "who",
        "evidence": {"LH": "38.0 cm"},
        "text": "text",
    }
    line = as_line(ZONE, effect, START)

    assert (expected, list(expected)) == (line, list(line or {}))


def test_every_line_has_every_key() -> None:
    """A reader never has to ask whether a key is there."""
    refusal = Refusal(START, "tavrin", "script", "there is no event 9")
    lines = [
        as_line(ZONE, effect, START)
        for effect in (JournalRow(START, "event", "41", "open"), text(1), refusal)
    ]

    assert 1 == len({tuple(line or ()) for line in lines})
    assert [(41, ""), (41, "Go."), (None, "there is no event 9")] == [
        (line["number"], line["text"]) for line in lines if line is not None
    ]


def test_times_are_rounded_to_the_nearest_second() -> None:
    """A moment a hair before the full minute is shown as the minute."""
    almost = replace(START, utc=START.utc + 59.99999)
    line = as_line(ZONE, JournalRow(almost, "event", "41", "open"), START)

    assert line is not None
    assert "2026-10-17T20:01:00-05:00" == line["time"]


def test_lines_to_read() -> None:
    """People see local time, what, state, grade, who, cause and evidence on one line."""
    effect = JournalRow(
        START, "condition", "header low/HD1", "true", "high", evidence=(("LH", "35.5 cm"),)
    )
    line, sent = as_line(ZONE, effect, START), as_line(ZONE, text(1), START)
    assert line is not None
    assert sent is not None

    assert "2026-10-17 20:00:00 condition header low/HD1 true (high) LH 35.5 cm" == readable(line)
    assert "2026-10-17 20:00:00 text      to tavrin (supply lost): Go." == readable(sent)


def test_watch_counts_as_set() -> None:
    """A replay judges as if the watch were set, unless it is asked to stand down."""
    run = Run("OH-07", "LT1", date(2026, 10, 6), watch_set=False)
    setup = replace(SETUP, run=run)

    assert replace(run, watch_set=True) == set_up_for(setup, "", False).run
    assert run == set_up_for(setup, "", True).run


@pytest.mark.parametrize("start", ["2026-10-03", "2026-10-04T04:30:00Z"])
def test_run_start_is_the_reference_hatch(start: str) -> None:
    """The hatch is given as a date, or as a time whose date at the site counts."""
    run = Run("OH-07", "LT1", date(2026, 10, 6))

    assert (
        replace(run, hatch=date(2026, 10, 3))
        == set_up_for(replace(SETUP, run=run), start, False).run
    )


def test_run_start_makes_a_run_where_there_is_none() -> None:
    """A set-up without a run gets one, in its larval tank."""
    setup = replace(load(SAMPLE), run=None)

    assert Run("replay", "LT1", date(2026, 10, 3)) == set_up_for(setup, "2026-10-03", False).run


def test_no_run_stays_no_run() -> None:
    """Without a run the watch is in force anyway; only standing down needs one."""
    assert set_up_for(SETUP, "", False).run is None
    with pytest.raises(HoldwaterError, match="--stood-down needs a run"):
        set_up_for(SETUP, "", True)


def test_run_start_that_is_no_time_is_told() -> None:
    """A mistyped date names the option and the form."""
    with pytest.raises(HoldwaterError, match="--run-start: write a date such as 2026-10-06"):
        set_up_for(SETUP, "6 October", False)


def test_state_to_start_from(tmp_path: Path) -> None:
    """A state file may hold as little as the next number; it is only read."""
    path = tmp_path / "state.json"
    path.write_text('{"next_event": 41, "elapsed": 5}')

    assert Start(fresh(41), 5.0) == read_start(path)
    assert Start(fresh()) == read_start(None)
    assert '{"next_event": 41, "elapsed": 5}' == path.read_text()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "no JSON"),
        ("[41]", "no JSON object"),
        ("[" * 100_000, "no JSON"),
        ('{"next_event": "41"}', "state.json"),
        ('{"elapsed": -1}', "elapsed: must be a number"),
        ('{"elapsed": NaN}', "elapsed: must be a number"),
        ('{"elapsed": 1e999}', "elapsed: must be a number"),
        ('{"elapsed": "0"}', "elapsed: must be a number"),
    ],
)
def test_unreadable_state_is_told(content: str, words: str, tmp_path: Path) -> None:
    """A state file that cannot be used is named with what is wrong."""
    path = tmp_path / "state.json"
    path.write_text(content)
    with pytest.raises(HoldwaterError, match=words):
        read_start(path)


def test_missing_state_is_told(tmp_path: Path) -> None:
    """A state file that is not there is named."""
    with pytest.raises(HoldwaterError, match=r"none\.json: No such file"):
        read_start(tmp_path / "none.json")


def test_recording_plays_through_the_real_logic(tmp_path: Path) -> None:
    """A night in which the cup runs empty: that is told 3 minutes later, as event 41."""
    recording, answers = tmp_path / "night.csv", tmp_path / "said.jsonl"
    lines = ["time,MP,LHf,QW,TW1,TR,FL"]
    for second in range(0, 600, 5):
        flow = 1 if second < 300 else 0
        at = f"2026-10-18T01:{second // 60:02d}:{second % 60:02d}-05:00"
        lines.append(f"{at},1,1,{flow},26.5,27.0,0")
    recording.write_text("\n".join(lines))
    answers.write_text('{"time": "2026-10-18T01:09:00-05:00", "kind": "take", "who": "oskel"}\n')
    state = tmp_path / "state.json"
    state.write_text(json.dumps({"next_event": 41}))
    shown: list[Line] = []
    setup = load(SAMPLE.with_name("first-night"))
    play_files(setup, recording, answers, state, 0.0, shown.append)
    texts = [line for line in shown if line["what"] == "text"]
    taken = [line for line in shown if line["what"] == "answer"]

    assert [("2026-10-18T01:08:00-05:00", 41)] == [(t["time"], t["number"]) for t in texts]
    assert [("2026-10-18T01:09:00-05:00", 41, "taken", "oskel")] == [
        (t["time"], t["number"], t["state"], t["who"]) for t in taken
    ]


def test_missing_columns_are_no_silent_sensors(tmp_path: Path) -> None:
    """The full rig with a recording of two of its tags: nothing is said about the other fifteen."""
    recording = tmp_path / "two.csv"
    rows = [
        f"2026-10-18T01:{second // 60:02d}:{second % 60:02d}-05:00,1,6.0" for second in range(600)
    ]
    recording.write_text("\n".join(["time,MP,QL", *rows]))
    shown: list[Line] = []
    play_files(load(SAMPLE), recording, None, None, 600.0, shown.append)

    assert {"flow not seen/S1", "sensor silent/MP", "sensor silent/QL"} >= {
        line["name"] for line in shown if line["what"] == "condition"
    }
    assert [] == [line for line in shown if line["time"] < "2026-10-18T01:10"]  # type: ignore[operator]
