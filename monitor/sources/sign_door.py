"""The door for signs of life by HTTPS: one address that takes a POST and gives nothing away."""

import hmac
import socket
import ssl
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from monitor.clock import Clock
from monitor.sign import LONGEST
from monitor.sources.base import Complaints

PATH = "/life"

AGAIN = 30.0
"""Seconds after which a port that could not be had is tried again."""

PATIENCE = 10.0
"""Seconds of silence after which a connection is cut."""

AT_ONCE = 16
"""Connections that are served at once; a watch needs one a minute."""

LOOK_FOR_STOP = 0.2
"""Seconds between two looks whether to stop."""


@dataclass(frozen=True, slots=True)
class DoorSetup:
    """Where to listen, the shared token, and certificate and key (None: without TLS)."""

    address: str
    token: str
    cert_file: str | None
    key_file: str | None


class Door:
    """Listens until told to stop. take: called with each document that came with the token; it
    raises ValueError where that is no sign."""

    def __init__(
        self, setup: DoorSetup, take: Callable[[bytes], object], complaints: Complaints
    ) -> None:
        self._setup = setup
        self._take = take
        self._complaints = complaints

    def run(self, clock: Clock, stop: threading.Event) -> None:
        """Serve until `stop` is set; a port that is taken is tried again."""
        while not stop.is_set():
            try:
                with self._server() as server:
                    server.timeout = LOOK_FOR_STOP
                    while not stop.is_set():
                        server.handle_request()
            except (OSError, ValueError) as error:
                self._complaints.note("cannot listen", f"{type(error).__name__}: {error}")
                clock.wait(stop, clock.now().elapsed + AGAIN)

    def _server(self) -> "_Server":
        host, _, port = self._setup.address.rpartition(":")
        address = host.strip("[]"), int(port)
        server = _Server(address, self._handler(), self._complaints)
        if self._setup.cert_file is not None:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(self._setup.cert_file, self._setup.key_file)
            # The handshake is left to the thread of the connection: a slow one stops nobody.
            server.socket = context.wrap_socket(
                server.socket, server_side=True, do_handshake_on_connect=False
            )
        return server

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        door = self

        class Handler(BaseHTTPRequestHandler):
            """One connection."""

            timeout = PATIENCE
            server_version = "signs"
            sys_version = ""

            def do_POST(self) -> None:
                status = door.judge(self.path, self.headers, self.rfile.read)
                self.send_response(status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_words: object) -> None:
                """What is refused is noted by the door."""

        return Handler

    def judge(self, path: str, headers: Any, read: Callable[[int], bytes]) -> int:
        """The status for one request: 204 if it was a sign."""
        given = headers.get("Authorization", "").encode("utf-8", "replace")
        length = headers.get("Content-Length", "")
        if path != PATH:
            return 404
        if not hmac.compare_digest(given, f"Bearer {self._setup.token}".encode()):
            self._complaints.note("sign with a wrong token", "")
            return 401
        if not length.isascii() or not length.isdigit() or int(length) > LONGEST:
            return 413
        try:
            self._take(read(int(length)))
        except ValueError as error:
            self._complaints.note("no sign of life", error)
            return 400
        return 204


class _Server(ThreadingHTTPServer):
    """Serves a bounded number of connections at once."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(
        self,
        address: tuple[str, int],
        handler: type[BaseHTTPRequestHandler],
        complaints: Complaints,
    ) -> None:
        self._complaints = complaints
        self.address_family = socket.AF_INET6 if ":" in address[0] else socket.AF_INET
        self._room = threading.BoundedSemaphore(AT_ONCE)
        super().__init__(address, handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        if self._room.acquire(blocking=False):
            super().process_request(request, client_address)
        else:
            self.shutdown_request(request)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._room.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A connection that broke off; the next one comes in a minute."""
        self._complaints.note("connection broke off", f"{client_address[0]}: {sys.exception()}")
