"""What was acknowledged survives a kill, and a torn log costs only what was not yet committed."""

import os
import random
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from archive.keeping import PATIENCE, Kept, keeping, row
from monitor.archive import Reader
from monitor.archive.opening import open_for_reading

ROOT = Path(__file__).resolve().parents[2]
KILLS = 6


def killed_after(path: Path, boot_id: str, first: int, acknowledged: int) -> int:
    """Kill the keeping process when it has acknowledged so many; the last number it said."""
    command = [sys.executable, str(Path(__file__).with_name("killed.py")), str(path)]
    process = subprocess.Popen(
        [*command, boot_id, str(first)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    with process, closing(process.stdout or sys.stdin) as said:
        lines = [said.readline() for _ in range(acknowledged)]
        process.kill()
        lines += said.readlines()
    return max(int(line) for line in lines if line.endswith("\n"))


@pytest.mark.long
def test_a_kill_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """After kills at any moment state, journal, outbox and readings hold all that was said kept."""
    path = tmp_path / "record.db"
    chance = random.Random(23)
    said = 0
    for kill in range(KILLS):
        first = 1
        if kill:
            with Reader(path) as reader:
                first = (reader.durable() or {})["next_event"]
        said = killed_after(path, f"boot {kill % 3}", first, chance.randint(1, 40))
        with Reader(path) as reader:
            assert [] == reader.problems()
            kept = [int(entry.subject) for entry in reader.journal()]
            assert list(range(1, len(kept) + 1)) == kept
            assert said in (len(kept), len(kept) - 1)
            assert {"next_event": len(kept) + 1} == reader.durable()
            waiting = [entry.text.number for entry in reader.outbox(only_open=True)]
            assert sorted([*kept, *kept]) == waiting
            assert [n / 10 for n in kept] == [r.value for r in reader.readings("LT1.flow")]
    assert KILLS <= said


def commit(kept: Kept, number: int) -> None:
    """One commit that is surely on the disk."""
    assert kept.writer.commit({"number": number}, [row(float(number))]).wait(PATIENCE)


@pytest.mark.long
def test_a_torn_log_keeps_every_earlier_commit(tmp_path: Path) -> None:
    """The log cut at every single byte of its last transaction still holds all before it."""
    path = tmp_path / "record.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA page_size=512")
        connection.execute("VACUUM")
    with keeping(path) as kept:
        commit(kept, 0)
    log = path.with_name("record.db-wal")
    with keeping(path) as kept:
        commit(kept, 1)
        before = log.stat().st_size
        commit(kept, 2)
        whole, database = log.read_bytes(), path.read_bytes()
    assert before < len(whole)
    torn, torn_log = tmp_path / "torn.db", tmp_path / "torn.db-wal"
    torn.write_bytes(database)
    torn_log.write_bytes(whole)
    for size in range(len(whole), before - 1, -1):
        os.truncate(torn_log, size)
        last = 2 if size == len(whole) else 1
        with closing(open_for_reading(torn)) as connection:
            found = connection.execute("SELECT document, count(id) FROM state, journal").fetchone()
        assert (f'{{"number": {last}}}', last + 1) == found, f"cut at {size}"
