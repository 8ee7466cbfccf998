"""kill -9 again and again through the outage of the demo night, and what is left of it."""

import random
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from monitor.archive import OutboxRow, Reader
from monitor.config import load
from monitor.logic.state import Durable, decode
from monitor.simulator import write_recording
from monitor.simulator.nights import night_outage

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "sample_config" / "ostrel-hill"
CHILD = Path(__file__).with_name("night_process.py")
DOWN = 20
"""Seconds of the night that pass while the killed process is away."""
REPEAT = 900.0
"""Seconds after which "still no flow" is told again, as the delays of the set-up have it. With many
kills the proof of flow comes later, and then it is due once more."""
NEAR = 40
"""Seconds round a text within which every second kill falls."""

Turn = tuple[str, str]
"""A turn and the person it was told to."""


@dataclass(frozen=True, slots=True)
class Night:
    """The outage of the demo night as a recording, its answers, and its length in seconds."""

    recording: Path
    answers: Path
    length: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a night with kills has left.

    lost, added: turns that an undisturbed night told, or did not; a repeat that was due is none.
    rows: the outbox. sent: each handing over of a text to a channel, in order. durable: the state
    at the end.
    """

    kills: int
    lost: Counter[Turn]
    added: Counter[Turn]
    rows: list[OutboxRow]
    sent: list[str]
    durable: Durable

    @property
    def repeated(self) -> int:
        """How many times a text was handed over again; it then is the same, number and all."""
        return len(self.sent) - len(set(self.sent))

    @property
    def wrong(self) -> list[str]:
        """What must not be: empty when nothing was forgotten, made up, or begun anew."""
        numbers = sorted({row.text.number for row in self.rows})
        unsettled = [row.text.number for row in self.rows if row.state != "accepted"]
        handed = {int(line.partition(" ")[0]) for line in self.sent}
        bodies = {tuple(line.split(" ", 2)[:2]) for line in self.sent}
        stages = [event.stage for event in self.durable.events.values()]
        checks = (
            (bool(self.lost), f"lost: {self.lost}"),
            (bool(self.added), f"told again under another number: {self.added}"),
            (bool(unsettled), f"never settled: {unsettled}"),
            (numbers != list(range(1, len(numbers) + 1)), f"numbers with a gap: {numbers}"),
            (handed != set(numbers), f"decided and never sent: {set(numbers) - handed}"),
            (len(bodies) != len(set(self.sent)), "one number with two bodies"),
            (self.repeated > self.kills, f"{self.repeated} repeats after {self.kills} kills"),
            (stages != ["closed"], f"events: {stages}"),
            (self.durable.next_event != 42, f"next event: {self.durable.next_event}"),
        )
        return [said for is_wrong, said in checks if is_wrong]


def record_night(folder: Path) -> Night:
    """Play the outage of the demo night on the simulated rig and write it down."""
    story = night_outage()
    night = Night(folder / "night.csv", folder / "answers.jsonl", int(story.length))
    write_recording(load(CONFIG), story, 3, story.length, night.recording, night.answers)
    return night


def campaign(folder: Path, night: Night, kills: int, seed: int) -> Outcome:
    """Watch the night once undisturbed and once with so many kills; half of them near a text."""
    whole, killed = folder / "whole", folder / "killed"
    whole.mkdir()
    killed.mkdir()
    with _start(whole, night, 0) as undisturbed:
        assert _run_until(undisturbed, night.length + 1) is None
    wanted = _outbox(whole)
    begin = 0
    for moment in _moments(kills, seed, night, wanted):
        with _start(killed, night, begin) as process:
            reached = _run_until(process, max(moment, begin))
            assert reached is not None, "the night ended before the kills did"
            process.send_signal(signal.SIGKILL)
        assert process.returncode == -signal.SIGKILL
        begin = reached + DOWN
    with _start(killed, night, begin) as process:
        assert _run_until(process, night.length + 1) is None
    rows = _outbox(killed)
    with Reader(killed / "record.db") as reader:
        document = reader.durable()
    assert document is not None
    return Outcome(
        kills,
        _turns(wanted) - _turns(rows),
        _turns(row for row in rows if not _is_due_repeat(row, rows)) - _turns(wanted),
        rows,
        (killed / "sent.log").read_text(encoding="utf-8").splitlines(),
        decode(document),
    )


def _moments(kills: int, seed: int, night: Night, texts: list[OutboxRow]) -> list[int]:
    """Seconds of the night at which to kill: anywhere, and round the texts."""
    chance = random.Random(seed)
    first, last = 1900, night.length - 900
    told = [int(row.text.moment.elapsed) for row in texts]
    near = [chance.choice(told) + chance.randint(-NEAR, NEAR) for _ in range(kills // 2)]
    anywhere = [chance.randrange(first, last) for _ in range(kills - len(near))]
    return sorted(min(max(moment, first), last) for moment in (*anywhere, *near))


def _turns(rows: Iterable[OutboxRow]) -> Counter[Turn]:
    return Counter((row.text.turn, row.text.person) for row in rows)


def _is_due_repeat(row: OutboxRow, rows: list[OutboxRow]) -> bool:
    """Whether a text repeats an earlier one after the time at which it is to be repeated."""
    if row.text.turn != "still no flow":
        return False
    at = row.text.moment.elapsed
    before = [
        other.text.moment.elapsed
        for other in rows
        if (other.text.turn, other.text.person) == (row.text.turn, row.text.person)
        and other.text.moment.elapsed < at
    ]
    return bool(before) and at - max(before) >= REPEAT


def _start(state: Path, night: Night, begin: int) -> "subprocess.Popen[str]":
    words = [CONFIG, state, night.recording, night.answers, begin, DOWN + 10]
    return subprocess.Popen(
        [sys.executable, str(CHILD), *(str(word) for word in words)],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"},
        stdout=subprocess.PIPE,
        text=True,
    )


def _run_until(process: "subprocess.Popen[str]", second: int) -> int | None:
    """Read the progress up to this second of the night; None once the night has ended."""
    assert process.stdout is not None
    reached = -1
    for line in process.stdout:
        if line.strip() == "ended":
            return None
        reached = int(line)
        if reached >= second:
            return reached
    raise AssertionError(f"the process ended by itself at second {reached}")


def _outbox(state: Path) -> list[OutboxRow]:
    with Reader(state / "record.db") as reader:
        return reader.outbox()
