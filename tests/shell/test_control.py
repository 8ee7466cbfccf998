"""The control socket: one request, one answer, and nothing hurts the one who listens."""

import json
import os
import pwd
import queue
import socket
import stat
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import monitor.control as control
from monitor.clock import SystemClock, always_trusted
from monitor.control import CONNECTIONS, LONGEST, ControlServer, Request, ask
from monitor.errors import ControlError, RefusedInput
from monitor.workers import Worker

HANG = 20.0
"""Seconds after which a test socket gives up: only a failing test waits so long."""


class Watch:
    """Handlers as the watch has them."""

    def __init__(self) -> None:
        self.go_on = threading.Event()
        self.entered = threading.Semaphore(0)

    def echo(self, request: Request) -> dict[str, Any]:
        return {"user": request.user, "text": request.data.get("text")}

    def refuse(self, request: Request) -> dict[str, Any]:
        raise RefusedInput("there is no event 99")

    def crash(self, request: Request) -> dict[str, Any]:
        raise ZeroDivisionError

    def hang(self, request: Request) -> dict[str, Any]:
        self.entered.release()
        self.go_on.wait(HANG)
        return {}


@pytest.fixture
def watch() -> Watch:
    """Handlers that echo, refuse, crash and hang."""
    return Watch()


@pytest.fixture
def path(tmp_path: Path, watch: Watch) -> Iterator[Path]:
    """A socket with a running server."""
    where = tmp_path / "control.sock"
    handlers = {"echo": watch.echo, "refuse": watch.refuse, "crash": watch.crash}
    server = ControlServer(where, handlers | {"hang": watch.hang})
    stop, clock = threading.Event(), SystemClock(1, 0.0, always_trusted)
    ready = threading.Event()

    def body(stop: threading.Event) -> None:
        server.open()
        ready.set()
        server.run(stop)

    worker = Worker("control", body, clock, stop)
    worker.start()
    assert ready.wait(HANG)
    yield where
    watch.go_on.set()
    stop.set()
    assert worker.join(HANG)
    assert not where.exists()


def connect(path: Path) -> socket.socket:
    """A connection to the server."""
    line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    line.settimeout(HANG)
    line.connect(os.fspath(path))
    return line


def raw(path: Path, content: bytes) -> dict[str, Any]:
    """Send bytes as they are and read the response."""
    with connect(path) as line:
        try:
            line.sendall(content)
            line.shutdown(socket.SHUT_WR)
        except (BrokenPipeError, ConnectionResetError):
            assert len(content) > LONGEST  # refused before all of it was sent
        with line.makefile("rb") as file:
            response = json.loads(file.readline())
    assert isinstance(response, dict)
    return response


def test_user_comes_from_the_kernel(path: Path) -> None:
    """The user of a request is the user of the other process, whatever the request says."""
    name = pwd.getpwuid(os.getuid()).pw_name

    assert {"ok": True, "user": name, "text": "hello"} == ask(
        path, ask="echo", text="hello", user="somebody else"
    )


def test_socket_is_for_owner_and_group(path: Path) -> None:
    """Nobody else may connect."""
    assert 0o660 == stat.S_IMODE(path.stat().st_mode)


def test_refusal_is_told_in_its_own_words(path: Path) -> None:
    """What the watch refuses comes back as an error with the reason."""
    with pytest.raises(ControlError, match="there is no event 99"):
        ask(path, ask="refuse")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no JSON"),
        (b"\n", "no JSON"),
        (b"\0\xff\xfe\n", "no JSON"),
        (b"{\n", "no JSON"),
        (b"[" * 200_000 + b"\n", "no JSON"),
        (b"[1, 2]\n", "no JSON object"),
        (b'"take 41"\n', "no JSON object"),
        (b"{}\n", "ask: unknown"),
        (b'{"ask": ["echo"]}\n', "ask: unknown"),
        (b'{"ask": "open valve"}\n', "it is one of echo, refuse, crash, hang"),
        (b"x" * (LONGEST + 70_000), "longer than"),
    ],
)
def test_hostile_requests_get_an_error_and_hurt_nobody(
    content: bytes, words: str, path: Path
) -> None:
    """Malformed, deep and huge requests are refused, and the next one is served."""
    response = raw(path, content)

    assert (False, True) == (response["ok"], words in response["error"])
    assert "after" == ask(path, ask="echo", text="after")["text"]


def test_request_without_a_line_end_is_served_when_its_sender_is_done(path: Path) -> None:
    """Closing the sending side ends a request as well as a line break."""
    assert "x" == raw(path, b'{"ask": "echo", "text": "x"}')["text"]


def test_failing_handler_costs_its_connection_only(path: Path) -> None:
    """An error in a handler ends that connection; the next request is served."""
    with connect(path) as line:
        line.sendall(b'{"ask": "crash"}\n')
        assert b"" == line.recv(10)

    assert "after" == ask(path, ask="echo", text="after")["text"]


def test_client_that_leaves_at_once_is_no_trouble(path: Path) -> None:
    """Connections that close without a word, or before the response, cost nothing."""
    for content in (b"", b'{"ask": "echo"}\n') * 40:
        with connect(path) as line:
            line.sendall(content)

    assert "after" == ask(path, ask="echo", text="after")["text"]


def test_slow_client_is_cut_off_at_one_deadline(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The deadline holds for the whole request, however many small parts it comes in."""
    times = iter([0.0, 1.0, 4.9, 5.1])
    connected: queue.Queue[socket.socket] = queue.Queue()

    def now() -> float:
        """The time of the server; before each receive it comes with one part more to receive."""
        time = next(times)
        if 0.0 < time < 5.0:
            line = connected.get(timeout=HANG)
            line.sendall(b'{"ask"')
            connected.put(line)
        return time

    monkeypatch.setattr(control, "boottime", now)
    with connect(path) as line:
        connected.put(line)
        with line.makefile("rb") as file:
            response = json.loads(file.readline())

    assert "no whole line within 5 s" in response["error"]


def test_more_connections_than_there_is_room_for_are_told_to_come_again(
    path: Path, watch: Watch
) -> None:
    """With every place taken a further request is told so, and served once there is room."""
    lines = [connect(path) for _ in range(CONNECTIONS)]
    for line in lines:
        line.sendall(b'{"ask": "hang"}\n')
    for _ in lines:
        assert watch.entered.acquire(timeout=HANG)

    with pytest.raises(ControlError, match="busy"):
        ask(path, ask="echo", text="x")

    watch.go_on.set()
    for line in lines:
        assert {"ok": True} == json.loads(line.makefile("rb").readline())
        line.close()
    assert "after" == ask(path, ask="echo", text="after")["text"]


def test_no_watch_is_told_with_the_remedy(tmp_path: Path) -> None:
    """Without a running watch a command says so and how to start one."""
    with pytest.raises(ControlError, match=r"no watch is running at .*holdwater watch DIR"):
        ask(tmp_path / "control.sock", ask="echo")


def test_socket_of_a_dead_watch_is_no_watch(tmp_path: Path) -> None:
    """A socket file that nobody listens on any more is told as no watch."""
    path = tmp_path / "control.sock"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.bind(os.fspath(path))

    with pytest.raises(ControlError, match="no watch is running"):
        ask(path, ask="echo")


def test_socket_of_a_dead_watch_is_replaced(tmp_path: Path, watch: Watch) -> None:
    """A new watch takes the place of a socket that an earlier one left behind."""
    where = tmp_path / "control.sock"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.bind(os.fspath(where))
    server = ControlServer(where, {"echo": watch.echo})
    server.open()
    stop = threading.Event()
    thread = threading.Thread(target=server.run, args=(stop,))
    thread.start()

    assert "x" == ask(where, ask="echo", text="x")["text"]
    stop.set()
    thread.join(HANG)
    assert not thread.is_alive()


def test_socket_path_that_is_too_long_is_refused(tmp_path: Path) -> None:
    """A Unix socket has a short name; a longer one is refused with the remedy."""
    with pytest.raises(ControlError, match="shorter state folder"):
        ControlServer(tmp_path / ("x" * 120), {}).open()
