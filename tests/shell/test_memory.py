"""What a starting watch finds, and what it makes of what it cannot read."""

import logging
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

import monitor.watch.watchdog
from monitor.archive import SetupVersion, Writer
from monitor.config import snapshot
from monitor.errors import SetupError
from monitor.inputs import Moment, Reading
from monitor.logic.state import encode, fresh
from monitor.watch.memory import Memory, durable_from, last_readings, remember, set_up
from monitor.watch.watchdog import WRITER_FRESH, Watchdog
from shell.fakes import START, text

SAMPLES = Path(__file__).parents[2] / "sample_config"
HANG = 20.0


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    """A writer at work on a new record."""
    made = Writer(tmp_path / "record.db", "ostrel-1", "OH", lambda _wrong, _over: None)
    made.start(START.utc)
    made.open_boot("boot-a", 0.0)
    yield made
    made.close(HANG)


def version(number: int, name: str = "ostrel-hill") -> SetupVersion:
    """A sample folder as a version."""
    return SetupVersion(number, START, "tavrin", "test", snapshot(SAMPLES / name))


def test_new_place_has_no_memory(tmp_path: Path) -> None:
    """Where no watch ever ran there is nothing to remember."""
    assert Memory() == remember(tmp_path / "record.db")


def test_memory_is_what_was_committed(writer: Writer, tmp_path: Path) -> None:
    """The last set-up, the durable state and the open texts come back."""
    writer.commit(setup=version(1))
    writer.commit(encode(fresh(41)), texts=[(text(1), ("mail",))], setup=version(2))
    assert writer.flush().wait(HANG)
    memory = remember(tmp_path / "record.db")

    assert version(2) == memory.version
    assert fresh(41) == durable_from(memory.durable)
    assert [(1, "mail")] == [(row.text.number, row.channel) for row in memory.waiting]


def test_unreadable_record_is_no_memory(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A record that is no database is logged, and the watch begins without it."""
    (tmp_path / "record.db").write_bytes(b"no database" * 1000)

    assert Memory() == remember(tmp_path / "record.db")
    assert [] == last_readings(tmp_path / "record.db", 0.0)
    assert 2 == len(caplog.records)


def test_last_readings_come_in_order_of_time(writer: Writer, tmp_path: Path) -> None:
    """A quarter of an hour of all tags, mixed in the order in which it was read."""
    readings = [
        Reading(tag, Moment(1, second, START.utc + second), second)
        for second in range(0, 1200, 100)
        for tag in ("A", "B")
    ]
    writer.readings(readings, {}, "")
    assert writer.flush().wait(HANG)
    found = last_readings(tmp_path / "record.db", 1100.0)

    assert [(reading.tag, reading.value) for reading in readings[4:]] == [
        (reading.tag, reading.value) for reading in found
    ]


def test_first_start_takes_the_folder() -> None:
    """Without a version the folder is version 1, to be kept with its files."""
    setup, files = set_up(SAMPLES / "first-night", None)

    assert (1, snapshot(SAMPLES / "first-night")) == (setup.version, files)


def test_later_start_takes_the_version_in_force(caplog: pytest.LogCaptureFixture) -> None:
    """The version in force counts, and a folder that differs is only spoken of."""
    setup, files = set_up(SAMPLES / "first-night", version(7))

    assert (7, 17, None) == (setup.version, len(setup.rig.tags), files)
    assert "differs_from_version=7" in caplog.text


def test_unchanged_folder_is_not_spoken_of(caplog: pytest.LogCaptureFixture) -> None:
    """A folder that is what is in force causes no word."""
    set_up(SAMPLES / "ostrel-hill", version(7))

    assert [] == caplog.records


def test_folder_that_is_gone_does_not_stop_a_restart(tmp_path: Path) -> None:
    """The version in force is in the record; the folder is not needed any more."""
    setup, files = set_up(tmp_path / "gone", version(7))

    assert (7, None) == (setup.version, files)


def test_version_that_is_no_longer_valid_gives_way_to_the_folder() -> None:
    """After an update that no longer takes what was in force, a valid folder is the next one."""
    old = SetupVersion(7, START, "tavrin", "test", {"rig.toml": "nonsense = 1"})
    setup, files = set_up(SAMPLES / "first-night", old)

    assert (8, snapshot(SAMPLES / "first-night")) == (setup.version, files)


def test_without_any_valid_set_up_there_is_no_start(tmp_path: Path) -> None:
    """Neither version nor folder: every problem of the folder is told."""
    old = SetupVersion(7, START, "tavrin", "test", {"rig.toml": "nonsense = 1"})
    with pytest.raises(SetupError):
        set_up(tmp_path / "gone", old)


def test_unreadable_state_keeps_its_counters(caplog: pytest.LogCaptureFixture) -> None:
    """A state that cannot be read is begun anew, but no number is given twice."""
    durable = durable_from({"events": [1, 2], "next_event": 45, "next_text": 9})
    with caplog.at_level(logging.ERROR):
        bare = durable_from({"events": [], "next_event": "x", "next_text": -1})

    assert durable is not None
    assert (45, 9) == (durable.next_event, durable.next_text)
    assert fresh() == bare
    assert durable_from(None) is None


@dataclass
class FakeParts:
    """Parts of which some are stuck."""

    stuck_ones: list[str] = field(default_factory=list)

    def stuck(self, _now: Moment) -> list[str]:
        return list(self.stuck_ones)


@dataclass
class FakeWriter:
    """A writer that shows how often it has looked up."""

    passes: int = 0


class Bench:
    """A watchdog whose words are heard."""

    def __init__(self) -> None:
        self.writer, self.parts = FakeWriter(), FakeParts()
        self.watchdog = Watchdog(self.writer, self.parts)  # type: ignore[arg-type]
        self.heard: list[tuple[str, ...]] = []

    def look(self, second: float) -> list[tuple[str, ...]]:
        self.heard.clear()
        self.watchdog.look(Moment(1, second, START.utc + second))
        return list(self.heard)


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A watchdog that was never looked at."""
    made = Bench()
    monkeypatch.setattr(monitor.watch.watchdog, "notify", lambda *words: made.heard.append(words))
    return made


def test_first_scan_is_ready_and_every_scan_a_sign_of_life(bench: Bench) -> None:
    """The service manager learns once that the watch is ready, then that it lives."""
    assert [("READY=1", "STATUS=watching"), ("WATCHDOG=1",)] == bench.look(0.0)
    assert [("WATCHDOG=1",)] == bench.look(1.0)


def test_stuck_sender_lets_the_watchdog_run_out(bench: Bench) -> None:
    """While a sender is stuck there is no sign of life; when it moves again there is."""
    bench.look(0.0)
    bench.parts.stuck_ones = ["mail"]
    stuck = bench.look(1.0)
    bench.parts.stuck_ones = []

    assert ([], [("WATCHDOG=1",)]) == (stuck, bench.look(2.0))


def test_stuck_writer_lets_the_watchdog_run_out(bench: Bench) -> None:
    """A writer that has not looked up for too long counts as stuck until it does."""
    bench.look(0.0)
    within, beyond = bench.look(WRITER_FRESH), bench.look(WRITER_FRESH + 1.0)
    bench.writer.passes = 1

    assert ([("WATCHDOG=1",)], []) == (within, beyond)
    assert [("WATCHDOG=1",)] == bench.look(WRITER_FRESH + 2.0)
