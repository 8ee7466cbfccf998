"""A text service on the loopback net that behaves as it is told, with or without TLS."""

# ruff: noqa: N815 - http.server finds its methods by these names

import ssl
import threading
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from real.servers import HOST, Certificates


@dataclass(frozen=True, slots=True)
class Request:
    """A request as it arrived."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass(slots=True)
class Behaviour:
    """How the service answers. step: "answer", or "silent", "drop", "drip", "half" instead of it.

    drip: the answer comes letter by letter from its first header on. half: it breaks off in its
    body.
    """

    status: int = 200
    body: bytes = b"{}"
    headers: dict[str, str] = field(default_factory=dict)
    step: str = "answer"


class TextService:
    """A running service. `requests` holds whatever arrived, `arrived` is set by each."""

    def __init__(self, certificates: Certificates | None) -> None:
        self.requests: list[Request] = []
        self.behaviour = Behaviour()
        self.arrived = threading.Event()
        self.over = threading.Event()
        service = self

        class Handler(BaseHTTPRequestHandler):
            """One request."""

            def do_GET(self) -> None:
                service.answer(self)

            do_POST = do_PUT = do_GET

            def log_message(self, *_words: object) -> None:
                """Nothing is printed."""

        self._server = _Quiet((HOST, 0), Handler)
        self.scheme = "http"
        if certificates is not None:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(certificates.chain, certificates.key)
            self._server.socket = context.wrap_socket(self._server.socket, server_side=True)
            self.scheme = "https"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.01,))
        self._thread.start()

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"{self.scheme}://{HOST}:{self._server.server_address[1]}"

    def answer(self, request: BaseHTTPRequestHandler) -> None:
        """Note a request and behave."""
        length = int(request.headers.get("Content-Length", "0"))
        body = request.rfile.read(length)
        self.requests.append(
            Request(request.command, request.path, dict(request.headers.items()), body)
        )
        self.arrived.set()
        behaviour = self.behaviour
        request.close_connection = True
        if behaviour.step == "silent":
            self.over.wait()
        elif behaviour.step == "drip":
            for letter in b"HTTP/1.1 200 OK\r\nX-Filling: " + b"x" * 1000:
                if self.over.wait(0.02):
                    return
                request.wfile.write(bytes([letter]))
        elif behaviour.step in ("answer", "half"):
            # The plain form of it adds a date of its own.
            if "Date" in behaviour.headers:
                request.send_response_only(behaviour.status)
            else:
                request.send_response(behaviour.status)
            for name, value in behaviour.headers.items():
                request.send_header(name, value)
            missing = 100 if behaviour.step == "half" else 0
            request.send_header("Content-Length", str(len(behaviour.body) + missing))
            request.end_headers()
            request.wfile.write(behaviour.body)

    def stop(self) -> None:
        """End it, and every request that still waits."""
        self.over.set()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


class _Quiet(ThreadingHTTPServer):
    """A client that goes away is what these tests are about, and no news."""

    def handle_error(self, _request: object, _address: object) -> None:
        """Say nothing."""
