"""kill -9 at any moment of an outage: no decided text is lost and the event goes on."""

import random
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from monitor.archive import OutboxRow, Reader
from monitor.config import load
from monitor.logic.state import decode
from monitor.simulator import write_recording
from monitor.simulator.nights import night_outage

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "sample_config" / "ostrel-hill"
CHILD = Path(__file__).with_name("night_process.py")
KILLS = 50
DOWN = 20
"""Seconds of the night that pass while the killed process is away."""


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, int]:
    """The outage of the demo night as a recording, its answers, and its length in seconds."""
    folder = tmp_path_factory.mktemp("night")
    story = night_outage()
    recording, answers = folder / "night.csv", folder / "answers.jsonl"
    write_recording(load(CONFIG), story, 3, story.length, recording, answers)
    return recording, answers, int(story.length)


def _start(state: Path, night: tuple[Path, Path, int], begin: int) -> "subprocess.Popen[str]":
    words = [CONFIG, state, night[0], night[1], begin, DOWN + 10]
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


def test_fifty_kills_lose_no_text(tmp_path: Path, night: tuple[Path, Path, int]) -> None:
    """Killed fifty times, the watch still sends every text of the night, and closes the event."""
    whole = tmp_path / "whole"
    whole.mkdir()
    with _start(whole, night, 0) as undisturbed:
        assert _run_until(undisturbed, night[2] + 1) is None
    assert undisturbed.returncode == 0
    wanted = Counter((row.text.turn, row.text.person) for row in _outbox(whole))

    state = tmp_path / "killed"
    state.mkdir()
    chance = random.Random(50)
    first, last = 1900, night[2] - 900
    moments = sorted(chance.randrange(first, last) for _ in range(KILLS))
    begin = 0
    for moment in moments:
        with _start(state, night, begin) as process:
            reached = _run_until(process, max(moment, begin))
            assert reached is not None
            process.send_signal(signal.SIGKILL)
        assert process.returncode == -signal.SIGKILL
        begin = reached + DOWN
    with _start(state, night, begin) as process:
        assert _run_until(process, night[2] + 1) is None
    assert process.returncode == 0

    rows = _outbox(state)
    assert {row.state for row in rows} == {"accepted"}
    numbers = sorted(row.text.number for row in rows)
    assert numbers == list(range(1, len(numbers) + 1))
    files = [
        path.read_text() for path in state.rglob("*") if path.is_file() and path.suffix == ".txt"
    ]
    for row in rows:
        assert any(row.text.body in content for content in files)
    sent = Counter((row.text.turn, row.text.person) for row in rows)
    assert not wanted - sent, f"lost: {wanted - sent}"
    assert not sent - wanted, f"sent again under another number: {sent - wanted}"
    with Reader(state / "record.db") as reader:
        document = reader.durable()
    assert document is not None
    durable = decode(document)
    assert [event.stage for event in durable.events.values()] == ["closed"]
    assert durable.next_event == 42
