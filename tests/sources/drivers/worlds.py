"""What drivers talk to in the tests: a tree of files, pins, and small servers on loopback ports.

Each world gives the options by which a source reaches it, and takes `happen`: a table out of a
recording, or out of a test, that says what changes.
"""

import os
import shutil
import socket
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Protocol

from monitor.clock import Clock
from monitor.sources.gpio_lines import Edge, LineSpec
from monitor.sources.polled import NoReading

HOST = "127.0.0.1"


class World(Protocol):
    """Something a driver reads from."""

    @property
    def options(self) -> dict[str, object]: ...

    def happen(self, what: Mapping[str, Any]) -> None: ...

    def close(self) -> None: ...


class Tree:
    """A tree of files. files: path to content. links: path to target. gone: paths."""

    def __init__(self, root: Path, option: str = "root") -> None:
        self.root = root
        self.options: dict[str, object] = {option: str(root)}

    def happen(self, what: Mapping[str, Any]) -> None:
        for path in what.get("gone", ()):
            target = self.root / path
            if target.is_dir() and not target.is_symlink():
                shutil.rmtree(target)
            else:
                target.unlink()
        for path, content in what.get("files", {}).items():
            file = self.root / path
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content if isinstance(content, bytes) else content.encode())
        for path, target in what.get("links", {}).items():
            link = self.root / path
            link.parent.mkdir(parents=True, exist_ok=True)
            link.symlink_to(os.path.relpath(self.root / target, link.parent))

    def close(self) -> None:
        """Nothing to give back."""


class Pins:
    """Lines of a chip without hardware. lines: number to state. edges: [line, active, number].

    faults: line to the problem of asking for it; "" mends it.
    """

    def __init__(self, clock: Clock) -> None:
        self.options: dict[str, object] = {}
        self.opened: dict[str, LineSpec] = {}
        self.log: list[str] = []
        self._clock = clock
        self._states: dict[str, bool] = {}
        self._faults: dict[str, str] = {}
        self._edges: list[tuple[str, bool, int]] = []

    def happen(self, what: Mapping[str, Any]) -> None:
        self._states.update(what.get("lines", {}))
        self._faults.update(what.get("faults", {}))
        for line, active, number in what.get("edges", ()):
            self._states[line] = active
            self._edges.append((line, active, number))

    def open(self, tag: str, spec: LineSpec) -> None:
        self.log.append(f"open {tag}")
        if fault := self._faults.get(str(spec.line), ""):
            raise NoReading(fault, "played")
        self.opened[tag] = spec

    def is_active(self, tag: str) -> bool:
        line = str(self.opened[tag].line)
        if fault := self._faults.get(line, ""):
            raise NoReading(fault, "played")
        return self._states[line]

    def wait(self, seconds: float) -> list[Edge]:
        if not self._edges and seconds > 0.0:
            self._clock.wait(threading.Event(), self._clock.now().elapsed + seconds)
        tags = {str(spec.line): tag for tag, spec in self.opened.items()}
        edges = [
            Edge(tags[line], active, number) for line, active, number in self._edges if line in tags
        ]
        self._edges.clear()
        return edges

    def close(self, tag: str = "") -> None:
        self.log.append(f"close {tag}")
        self.opened.pop(tag, None)


class LineServer:
    """A server that answers line by line. answers: command to answer lines, "" to hang up.

    Unknown commands get `ERR UNKNOWN-COMMAND`; what was asked is kept in `asked`.
    """

    def __init__(self, options: Mapping[str, object]) -> None:
        self.asked: list[str] = []
        self.broken: list[str] = []
        self.answers: dict[str, str] = {}
        self._server = socket.create_server((HOST, 0))
        self.options = {"host": HOST, "port": self._server.getsockname()[1], **options}
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def happen(self, what: Mapping[str, Any]) -> None:
        self.answers.update(what.get("answers", {}))

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._server.close()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:  # closed: the test is over
                return
            self._talk(connection)

    def _talk(self, connection: socket.socket) -> None:
        try:
            with connection, connection.makefile("rwb", buffering=0) as stream:
                self._answer(stream)
        except OSError as error:  # the driver hung up in the middle of an answer
            self.broken.append(str(error))

    def _answer(self, stream: Any) -> None:
        for line in iter(stream.readline, b""):
            command = line.decode("ascii").rstrip("\n")
            self.asked.append(command)
            answer = self.answers.get(command, "ERR UNKNOWN-COMMAND")
            if not answer:
                return
            stream.write(answer.encode("latin-1") + b"\n")


class FrameServer:
    """A Modbus server over TCP that knows nothing of Modbus: recorded request, recorded answer.

    replies: "unit function data" in hex to the same for the answer; the transaction number and
    the length before it are those of the network frame (Modbus messaging on TCP/IP, 3.1).
    """

    def __init__(self) -> None:
        self.replies: dict[bytes, bytes] = {}
        self.asked: list[str] = []
        self._server = socket.create_server((HOST, 0))
        self.options: dict[str, object] = {"host": HOST, "port": self._server.getsockname()[1]}
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def happen(self, what: Mapping[str, Any]) -> None:
        for request, reply in what.get("replies", {}).items():
            self.replies[bytes.fromhex(request)] = bytes.fromhex(reply)

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._server.close()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:  # closed: the test is over
                return
            with connection:
                while request := connection.recv(260):
                    self.asked.append(request[6:].hex())
                    reply = self.replies.get(request[6:], b"")
                    if not reply:
                        break  # hang up
                    connection.sendall(request[:4] + len(reply).to_bytes(2, "big") + reply)


class WebServer:
    """A server of one document. status, body; headers of what was asked are kept in `asked`."""

    def __init__(self, path: str = "/status", wrap: Callable[[Any], Any] | None = None) -> None:
        self.asked: list[str] = []
        self.answer = b""
        self._wrap = wrap
        self._server = socket.create_server((HOST, 0))
        self.port = self._server.getsockname()[1]
        scheme = "https" if wrap else "http"
        self.options: dict[str, object] = {"url": f"{scheme}://{HOST}:{self.port}{path}"}
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def happen(self, what: Mapping[str, Any]) -> None:
        if "raw" in what:
            self.answer = what["raw"]
        if "body" in what:
            body = what["body"] if isinstance(what["body"], bytes) else what["body"].encode()
            head = f"HTTP/1.1 {what.get('status', 200)} X\r\nContent-Length: {len(body)}\r\n"
            more = "".join(f"{name}: {value}\r\n" for name, value in what.get("head", {}).items())
            self.answer = f"{head}{more}Connection: close\r\n\r\n".encode() + body

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._server.close()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:  # closed: the test is over
                return
            self._answer(connection)

    def _answer(self, connection: socket.socket) -> None:
        try:
            with self._wrap(connection) if self._wrap else connection as stream:
                request = b""
                while b"\r\n\r\n" not in request and (part := stream.recv(4096)):
                    request += part
                self.asked.append(request.decode("latin-1"))
                stream.sendall(self.answer)
        except OSError as error:  # the driver hung up, or refused our certificate
            self.asked.append(f"broken: {error}")
