"""The watch as a process: start, lock, restart, change of the set-up, kill and end."""

import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from monitor.archive import Reader
from monitor.clock import boottime
from monitor.control import SOCKET, ask
from monitor.errors import ControlError, HoldwaterError
from monitor.watch.running import sole_watch

pytestmark = pytest.mark.long

HANG = 60.0
"""Seconds after which a failing test gives up: a board under load is slow to start."""

ROOT = Path(__file__).parents[2]
FILES = {
    "rig.toml": """\
[site]
board = "b-1"
rig = "R"
label = "Ostrel"
zone = "America/Chicago"
[[source]]
id = "bus"
kind = "mqtt"
host = "127.0.0.1"
port = 9
[[vessel]]
id = "HD1"
kind = "header"
lip_cm = 38
rim_cm = 46
[[vessel]]
id = "LT1"
kind = "larval tank"
[[line]]
id = "S1"
kind = "siphon"
from_vessel = "HD1"
to_vessel = "LT1"
break_cm = 12
[[tag]]
id = "QL"
measures = "flow"
of = "S1"
source = "bus"
address = "lt1/flow"
unit = "L/min"
every_s = 1
stale_s = 3
sensor_range = [0, 30]
""",
    "limits.toml": """\
[delays]
bad_after_s = 1
[[flow]]
line = "S1"
set_l_min = 6.0
""",
    "duty.toml": """\
standing = ["tavrin"]
[[person]]
id = "tavrin"
name = "Tavrin"
bed_to_door_min = 30
channels = ["outbox"]
""",
}
"""A rig whose only sensor never speaks: within seconds that is an urgent event."""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The folder of that rig; its texts go to a folder that is not there yet."""
    folder = tmp_path / "config"
    folder.mkdir()
    for name, text in FILES.items():
        (folder / name).write_text(text)
    outbox = tmp_path / "later" / "outbox"
    (folder / "channels.toml").write_text(
        f'[[channel]]\nid = "outbox"\nkind = "folder"\nfolder = "{outbox}"\n'
    )
    return folder


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A state folder that does not exist yet."""
    return tmp_path / "state"


@contextmanager
def watching(config: Path, state: Path, **environment: str) -> Iterator[subprocess.Popen[str]]:
    """A running watch; killed at the end if it still runs."""
    process = subprocess.Popen(
        [sys.executable, "-c", "from monitor.cli import main; main()", "watch", str(config),
         "--state", str(state), "--trust-clock"],
        cwd=ROOT,
        env={"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), **environment},
        stderr=subprocess.PIPE,
        text=True,
    )  # fmt: skip
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def until(look: Callable[[], Any]) -> Any:
    """What `look` gives as soon as it gives something; a failing test ends after HANG."""
    deadline, pause = boottime() + HANG, threading.Event()
    while not (found := look()):
        assert boottime() < deadline, "it did not happen"
        pause.wait(0.05)
    return found


def asked(state: Path, **data: object) -> dict[str, Any] | None:
    """The response of the watch; None while there is none."""
    try:
        return ask(state / SOCKET, **data)
    except ControlError as error:
        if "no watch is running" in str(error):
            return None
        raise


def end(process: subprocess.Popen[str]) -> str:
    """Ask a watch to end; it has to end well. Its log."""
    process.send_signal(signal.SIGTERM)
    _, log = process.communicate(timeout=HANG)
    assert 0 == process.returncode, log
    return log


def open_event(state: Path) -> str | None:
    """The line of the open event, when there is one."""
    response = asked(state, ask="snapshot", view="events")
    lines = response["lines"] if response else [""]
    return lines[0] if lines[0].startswith("Event") else None


def test_watch_tells_the_service_manager_and_ends_in_order(
    config: Path, state: Path, tmp_path: Path
) -> None:
    """Ready comes after the first scan, signs of life while all is well, and SIGTERM ends it."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(HANG)
        with watching(config, state, NOTIFY_SOCKET=str(tmp_path / "notify")) as process:
            words = [manager.recv(200) for _ in range(3)]
            assert until(lambda: asked(state, ask="snapshot", view="now"))
            process.send_signal(signal.SIGHUP)
            assert until(lambda: asked(state, ask="snapshot", view="now"))
            log = end(process)

    assert [b"READY=1\nSTATUS=watching", b"WATCHDOG=1", b"WATCHDOG=1"] == words
    assert "ended=True record_kept=True" in log
    assert not (state / SOCKET).exists()
    with Reader(state / "record.db") as reader:
        assert [1] == [version.version for version in reader.setups()]


def test_state_folder_has_one_watch(config: Path, state: Path) -> None:
    """A second watch on the same folder is refused by name of the first, which goes on."""
    with watching(config, state) as first:
        until(lambda: asked(state, ask="snapshot"))
        with watching(config, state) as second:
            _, told = second.communicate(timeout=HANG)

        assert 1 == second.returncode
        assert f"another watch (process {first.pid}) has the state folder {state}" in told
        assert asked(state, ask="snapshot")
        end(first)


def test_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """A state folder in an impossible place is refused with the remedy."""
    (tmp_path / "file").touch()
    with (
        pytest.raises(HoldwaterError, match="choose a folder with --state"),
        sole_watch(tmp_path / "file" / "state"),
    ):
        raise AssertionError


def test_killed_watch_goes_on_where_it_was(config: Path, state: Path, tmp_path: Path) -> None:
    """After kill -9 the event, who has it, and a text that still waits are all there."""
    with watching(config, state):
        assert "NOBODY HAS IT" in until(lambda: open_event(state))
        answer = {"ask": "answer", "kind": "take", "event": 1, "minutes": 90, "as": "tavrin"}
        assert asked(state, **answer)
    with Reader(state / "record.db") as reader:
        before = [row.text for row in reader.outbox(only_open=True)]
    outbox = tmp_path / "later" / "outbox"
    outbox.parent.mkdir()

    with watching(config, state) as process:
        assert "Tavrin has it" in until(lambda: open_event(state))
        sent = until(lambda: list(outbox.glob("*.txt")) if outbox.exists() else [])
        until(lambda: not _open_rows(state))
        end(process)
    with Reader(state / "record.db") as reader:
        moments = [row.moment for row in reader.journal()]
        number = {boot.number for boot in reader.boots()}

    assert 1 == len(before)
    assert before[0].body in sent[0].read_text()
    assert 1 == len(sent)
    assert {1} == number
    assert [m.elapsed for m in moments] == sorted(m.elapsed for m in moments)


def _open_rows(state: Path) -> int:
    with Reader(state / "record.db") as reader:
        return len(reader.outbox(only_open=True))


def test_set_up_in_force_outlives_the_folder(config: Path, state: Path) -> None:
    """A change is in force at once and after a restart; a bad one changes nothing."""
    with watching(config, state) as process:
        until(lambda: asked(state, ask="snapshot"))
        files = {path.name: path.read_text() for path in config.iterdir()}
        apply = {"ask": "apply", "as": "tavrin", "reason": "Oskel joins"}
        joined = files["duty.toml"] + '[[person]]\nid = "oskel"\nname = "Oskel"\n'
        response = asked(state, **apply, files=files | {"duty.toml": joined})
        with pytest.raises(ControlError, match=r"duty\.toml"):
            asked(state, **apply, files=files | {"duty.toml": "nonsense = 1"})
        with pytest.raises(ControlError, match="no secret"):
            log_in = 'port = 9\nuser = "w"\npassword_secret = "x"'
            rig = files["rig.toml"].replace("port = 9", log_in)
            asked(state, **apply, files=files | {"rig.toml": rig})
        asked(state, ask="answer", kind="note", text="hello", **{"as": "oskel"})
        end(process)
    with watching(config, state) as process:
        until(lambda: asked(state, ask="snapshot"))
        assert asked(state, ask="answer", kind="note", text="again", **{"as": "oskel"})
        log = end(process)

    assert response == {"ok": True, "who": "tavrin", "version": 2}
    assert "differs_from_version=2 bring it in with: holdwater apply" in log
    with Reader(state / "record.db") as reader:
        assert [(1, "watch"), (2, "tavrin")] == [(v.version, v.who) for v in reader.setups()]
        assert "Oskel joins" == reader.setups()[1].reason


def test_damaged_record_is_set_aside_and_told(config: Path, state: Path) -> None:
    """A record that is no database does not stop the watch: it is kept aside, and that is told."""
    state.mkdir()
    (state / "record.db").write_bytes(b"no database" * 1000)
    with watching(config, state) as process:
        lines = until(
            lambda: [
                line
                for line in (asked(state, ask="snapshot") or {"lines": []})["lines"]
                if "set aside as record.db.damaged" in line
            ]
        )
        end(process)

    assert lines
    assert 1 == len(list(state.glob("record.db.damaged-*")))


def test_watch_that_cannot_run_says_so_before_it_begins(config: Path, state: Path) -> None:
    """A folder with a problem ends the start with 1 and every problem, and leaves no record."""
    (config / "limits.toml").write_text("nonsense = 1\n")
    (config / "duty.toml").write_text("standing = 5\n")
    with watching(config, state) as process:
        _, told = process.communicate(timeout=HANG)

    assert 1 == process.returncode
    assert all(f"{name}:" in told for name in ("limits.toml", "duty.toml"))
    assert not (state / "record.db").exists()
