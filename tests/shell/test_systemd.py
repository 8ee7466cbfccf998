"""Words to the service manager."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.systemd import notify


@pytest.fixture(params=["path", "abstract"])
def manager(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[socket.socket]:
    """A listening service manager, on a path and on a name without one."""
    name = str(tmp_path / "notify") if request.param == "path" else f"@holdwater-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.bind(name.replace("@", "\0"))
        line.settimeout(20.0)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        yield line


def test_words_arrive_in_one_datagram(manager: socket.socket) -> None:
    """All words of a call arrive together, one a line."""
    assert notify("READY=1", "STATUS=watching")
    assert b"READY=1\nSTATUS=watching" == manager.recv(100)


def test_without_a_service_manager_nothing_is_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    """A watch that was started by hand tells nobody."""
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)

    assert not notify("READY=1")


def test_service_manager_that_is_gone_is_no_error(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The watch goes on when nobody listens any more."""
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "gone"))

    assert not notify("WATCHDOG=1")
