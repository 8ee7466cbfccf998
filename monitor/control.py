"""The socket through which commands and the page talk to the running watch.

One connection is one request and one response, each a line of JSON with at most LONGEST bytes.
The user at the other end is taken from the kernel (SO_PEERCRED). Each connection has its own
short-lived thread and a deadline, so whatever comes in here delays nobody else. Requests and
responses are described in docs/reference/commands.md.
"""

import json
import logging
import os
import pwd
import socket
import struct
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.clock import boottime
from monitor.errors import ControlError, HoldwaterError

log = logging.getLogger(__name__)

SOCKET, RECORD = "control.sock", "record.db"
"""Names in a state folder: this socket, and the archive beside it."""

LONGEST = 1_048_576
"""Bytes of one line; a whole configuration folder has some 20,000."""

READ_WITHIN = 5.0
"""Seconds in which a request must have come in, and a response have gone out."""

ANSWER_WITHIN = 20.0
"""Seconds a client waits for the response: a commit may take its time on a tired card."""

CONNECTIONS = 16
"""Connections served at once; more are told to come again."""

LONGEST_PATH = 107
"""Bytes of the name of a Unix socket on Linux (unix(7))."""

LOOK_FOR_STOP = 0.2
"""Seconds between two looks whether the server is to stop."""

BACKLOG = 128
"""Connections that may wait to be accepted; they cost no thread."""

MODE = 0o660

BUSY = "the watch is busy with other requests; try again"

_CREDENTIALS = struct.Struct("3i")


@dataclass(frozen=True, slots=True)
class Request:
    """One request. user: name of the user at the other end; data: the JSON object."""

    user: str
    data: Mapping[str, Any]


Handler = Callable[[Request], dict[str, Any]]
"""Returns the response; a HoldwaterError is told to the client as it stands."""


class ControlServer:
    """Listens on a Unix socket and answers requests by their "ask" word."""

    def __init__(self, path: Path, handlers: Mapping[str, Handler]) -> None:
        self._path = path
        self._handlers = handlers
        self._room = threading.BoundedSemaphore(CONNECTIONS)
        self._listener: socket.socket | None = None

    def open(self) -> None:
        """Make the socket, in place of one that an earlier watch left; ControlError if not."""
        if len(os.fsencode(self._path)) > LONGEST_PATH:
            raise ControlError(f"{self._path}: too long for a socket; take a shorter state folder")
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._path.unlink(missing_ok=True)
            listener.bind(os.fspath(self._path))
            self._path.chmod(MODE)
            listener.listen(BACKLOG)
        except OSError as error:
            listener.close()
            raise ControlError(f"{self._path}: {error.strerror or error}") from error
        listener.settimeout(LOOK_FOR_STOP)
        self._listener = listener

    def run(self, stop: threading.Event) -> None:
        """Serve until `stop` is set; makes the socket anew after an error."""
        if self._listener is None:
            self.open()
        assert self._listener is not None
        try:
            while not stop.is_set():
                try:
                    connection, _ = self._listener.accept()
                except TimeoutError:
                    continue
                self._serve(connection)
        finally:
            self._listener.close()
            self._listener = None
            self._path.unlink(missing_ok=True)

    def _serve(self, connection: socket.socket) -> None:
        if not self._room.acquire(blocking=False):
            connection.settimeout(0.1)
            _send(connection, _refusal(BUSY))
            connection.close()
            return
        talk = threading.Thread(target=self._talk, args=(connection,), name="control", daemon=True)
        try:
            talk.start()
        except RuntimeError as error:  # no more threads; the next request may find one
            log.error("control=no_thread error=%r", str(error))
            connection.close()
            self._room.release()

    def _talk(self, connection: socket.socket) -> None:
        try:
            with connection:
                response = self._respond(connection)
                connection.settimeout(READ_WITHIN)
                _send(connection, response)
        except Exception:  # one connection must not cost the thread that listens, nor its place
            log.exception("control=connection_failed")
        finally:
            self._room.release()

    def _respond(self, connection: socket.socket) -> dict[str, Any]:
        try:
            data = _parse(_read_line(connection))
            handler = self._handlers.get(str(data.get("ask")))
            if handler is None:
                known = ", ".join(self._handlers)
                return _refusal(f"ask: unknown; it is one of {known}")
            return {"ok": True} | handler(Request(_user(connection), data))
        except HoldwaterError as error:
            return _refusal(str(error))


def ask(path: Path, **data: object) -> dict[str, Any]:
    """Send one request to the running watch; ControlError tells why it was not done."""
    remedy = "start it with: holdwater watch DIR, or name its folder with --state"
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.settimeout(ANSWER_WITHIN)
            line.connect(os.fspath(path))
            _send(line, data)
            line.shutdown(socket.SHUT_WR)
            response = _parse(_read_line(line, ANSWER_WITHIN))
    except PermissionError as error:
        raise ControlError(f"{path}: not allowed; join the group of the watch") from error
    except TimeoutError as error:
        wrong = f"the watch did not answer within {ANSWER_WITHIN:.0f} s"
        raise ControlError(f"{wrong}; see what it did with: holdwater events") from error
    except (FileNotFoundError, ConnectionRefusedError) as error:
        raise ControlError(f"no watch is running at {path}; {remedy}") from error
    except BlockingIOError as error:
        raise ControlError(BUSY) from error
    except OSError as error:
        raise ControlError(f"{path}: {error}; {remedy}") from error
    if not response.get("ok"):
        raise ControlError(str(response.get("error", "the watch refused without a reason")))
    return response


def _refusal(why: str) -> dict[str, Any]:
    return {"ok": False, "error": why}


def _send(line: socket.socket, data: Mapping[str, object]) -> None:
    try:
        line.sendall(json.dumps(data).encode() + b"\n")
    except (BrokenPipeError, ConnectionResetError, TimeoutError):
        log.info("control=gone_before_the_response")


def _read_line(line: socket.socket, within: float = READ_WITHIN) -> bytes:
    """The bytes up to the first line break, all within one deadline."""
    deadline = boottime() + within
    read = bytearray()
    while b"\n" not in read:
        left = deadline - boottime()
        if left <= 0.0:
            raise ControlError(f"no whole line within {within:.0f} s; end it with a line break")
        line.settimeout(left)
        try:
            part = line.recv(65_536)
        except TimeoutError:
            continue
        except ConnectionResetError as error:
            raise ControlError("the other end is gone") from error
        if not part:
            break
        read += part
        if len(read) > LONGEST:
            raise ControlError(f"longer than {LONGEST} bytes")
    return bytes(read).partition(b"\n")[0]


def _parse(text: bytes) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ControlError("no JSON; send one object on one line") from error
    if not isinstance(data, dict):
        raise ControlError("no JSON object; send one object on one line")
    return data


def _user(connection: socket.socket) -> str:
    """Name of the user at the other end, from the kernel; the number where there is no name."""
    raw = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
    _, uid, _ = _CREDENTIALS.unpack(raw)
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)
