"""JSON at an address of the web: status, length, time, certificates, and hostile documents."""

import base64
import json
import socket
import ssl
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import trustme
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.clock import SystemClock, always_trusted
from monitor.inputs import Reading
from monitor.sources.http import PROBLEMS
from monitor.sources.payload import LONGEST_PAYLOAD
from sources.drivers.stage import StageClock, build, first, listen, tag
from sources.drivers.worlds import HOST, WebServer

TR = tag("TR", "temperature", "room.temperature")


@pytest.fixture
def server() -> Iterator[WebServer]:
    """A board that shows one temperature."""
    played = WebServer()
    played.happen({"body": '{"room": {"temperature": 26.4}}'})
    yield played
    played.close()


def now(server: WebServer, **options: object) -> tuple[float | None, str]:
    """Value and problem of the temperature as a new source sees it."""
    return first(build("http", {**server.options, **options}, TR))["TR"]


@pytest.mark.parametrize(
    ("status", "problem"),
    [
        (200, ""),
        (201, "unexpected status"),
        (204, "unexpected status"),
        (301, "unexpected status"),
        (400, "unexpected status"),
        (401, "access denied"),
        (403, "access denied"),
        (404, "no such page"),
        (410, "no such page"),
        (429, "unexpected status"),
        (500, "server error"),
        (503, "server error"),
    ],
)
def test_status(server: WebServer, status: int, problem: str) -> None:
    """Only a plain success is read; each other status has its word."""
    server.happen({"status": status, "body": '{"room": {"temperature": 26.4}}'})
    assert (None if problem else 26.4, problem) == now(server)


@pytest.mark.parametrize(
    ("body", "problem"),
    [
        (b"", "not JSON"),
        (b"<html>", "not JSON"),
        (b'{"room": {"temperature": 26.', "not JSON"),
        (b'{"room": {"temperature": NaN}}', "not a number"),
        (b'{"room": {"temperature": 1e999}}', "number too large"),
        (b'{"room": {"temperature": ' + b"9" * 5000 + b"}}", "number too large"),
        (b'{"room": {"temperature": true}}', "not a number"),
        (b'{"room": {"temperature": {}}}', "not a number"),
        (b'{"room": {"temperature": null}}', "empty"),
        (b'{"room": []}', "no such field"),
        (b'{"room": {"temperature": 1, "temperature": 2}}', "field given twice"),
        (b"[" * 60_000, "nested too deep"),
        (b"\xff\xfe", "not text"),
        (b"[" + b"1," * (LONGEST_PAYLOAD // 2) + b"1]", "too long"),
        (b" " * 10_000_000, "too long"),
    ],
)
def test_documents_that_are_none(server: WebServer, body: bytes, problem: str) -> None:
    """Whatever a document holds, there is a word for it and no value."""
    server.happen({"body": body})
    assert (None, problem) == now(server)


def test_a_redirection_is_not_followed(server: WebServer) -> None:
    """A board that sends us elsewhere is told as such; nobody else is asked."""
    server.happen({"status": 302, "body": "", "head": {"Location": "http://example.org/"}})
    assert (None, "unexpected status") == now(server)
    assert 1 == len(server.asked)


def test_what_is_asked(server: WebServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """User and password go along; proxies and password files of the surroundings do not count."""
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:1")
    options = {**server.options, "user": "watch", "password_secret": "board"}
    source = build("http", options, TR, secrets={"board": "larvae-need-water"})
    assert {"TR": (26.4, "")} == first(source)
    (asked,) = server.asked
    told = base64.b64encode(b"watch:larvae-need-water").decode()
    assert asked.startswith("GET /status HTTP/1.1\r\n")
    assert f"Authorization: Basic {told}\r\n" in asked


def test_one_document_serves_all_tags_that_are_due(server: WebServer) -> None:
    """Tags that are due together share one document; the next turn fetches a new one."""
    server.happen({"body": '{"a": 1, "b": "on", "c": [2.5]}'})
    tags = (tag("A", "number", "a"), tag("B", "wet", "b"), tag("C", "number", "c.0"))
    heard = listen(build("http", server.options, *tags), StageClock(15.0))
    assert [1.0, 1.0, 2.5] * 2 == [value for _, _, value, _ in heard]
    assert 2 == len(server.asked)


def test_a_failure_is_shared_too() -> None:
    """Where nobody answers, each turn tries once and not once a tag."""
    tags = [tag(f"T{number}", "number", "a") for number in range(5)]
    source = build("http", {"url": f"http://{HOST}:1/", "timeout": 0.2}, *tags)
    heard = listen(source, StageClock(5.0))
    assert [(None, "no connection")] * 5 == [item[2:] for item in heard]


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\r\n\r\n",
        b"HTTP/1.1 abc X\r\n\r\n",
        b"SSH-2.0-board\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: 500\r\n\r\n{}",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n{}\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: 2\r\n\r\n{}",
        b"HTTP/1.1 200 OK\r\n" + b"X: " + b"y" * 100_000,
        b"HTTP/1.1 200 OK\r\n" + b"X: y\r\n" * 1000,
    ],
)
def test_answers_that_are_no_http(server: WebServer, raw: bytes) -> None:
    """What does not speak HTTP, or stops in the middle of it, gives no value."""
    server.happen({"raw": raw})
    value, problem = now(server)
    assert value is None
    assert problem in ("no connection", "no answer")


@given(
    st.one_of(
        st.binary(max_size=200),
        st.from_regex(rb"\AHTTP/1.1 [0-9]{3} X\r\n([A-Z][a-z]{1,9}: .{0,20}\r\n){0,4}\r\n.{0,80}"),
    )
)
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_answer_is_a_value_or_a_word(server: WebServer, raw: bytes) -> None:
    """Whatever comes back, there is a finite value or a known word."""
    server.happen({"raw": raw})
    value, problem = now(server, timeout=1.0)
    assert (value is None) == bool(problem)
    assert problem in ("", *PROBLEMS)


@pytest.mark.parametrize(
    ("trusted", "found"), [(True, (26.4, "")), (False, (None, "no connection"))]
)
def test_certificates_are_verified(
    tmp_path: Path, trusted: bool, found: tuple[float | None, str]
) -> None:
    """A board with a certificate of somebody else is not asked anything."""
    ours, other = trustme.CA(), trustme.CA()
    (ours if trusted else other).cert_pem.write_to_path(tmp_path / "ca.pem")
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    ours.issue_cert(HOST).configure_cert(context)
    server = WebServer(wrap=lambda plain: context.wrap_socket(plain, server_side=True))
    server.happen({"body": '{"room": {"temperature": 26.4}}'})
    try:
        assert found == now(server, ca_file=str(tmp_path / "ca.pem"))
    finally:
        server.close()
    assert trusted == any(asked.startswith("GET ") for asked in server.asked)


def test_a_certificate_file_that_is_none(tmp_path: Path) -> None:
    """Without its file of certificates nothing is asked, and the word says so."""
    source = build("http", {"url": f"https://{HOST}:1/", "ca_file": str(tmp_path / "no.pem")}, TR)
    value, problem = first(source)["TR"]
    assert value is None
    assert problem in ("no connection", "no answer")


MOST_SENT = 50_000_000
"""Bytes after which a server gives up: far more than buffers between the two could hold."""


class Dripping:
    """A server that sends its document piece by piece, and never ends it."""

    def __init__(self, pause: float, piece: bytes = b" ") -> None:
        self.sent = 0
        self._over = threading.Event()
        self._pause = pause
        self._piece = piece
        self._server = socket.create_server((HOST, 0))
        self.port: int = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        self._server.close()

    def _serve(self) -> None:
        connection, _ = self._server.accept()
        with connection:
            try:
                connection.sendall(b"HTTP/1.1 200 OK\r\n\r\n")
                while not self._over.wait(self._pause):
                    connection.sendall(self._piece)
                    self.sent += len(self._piece)
                    if self.sent > MOST_SENT:
                        return
            except OSError:
                self._over.set()


def test_a_document_without_end_is_given_up() -> None:
    """A document that drips in is given up; the time of it is bounded, on the real clock."""
    server = Dripping(0.002)
    clock = SystemClock(1, 0.0, always_trusted)
    stop = threading.Event()
    heard: list[Reading] = []

    def put(reading: Reading) -> None:
        heard.append(reading)
        stop.set()

    began = clock.now().elapsed
    build("http", {"url": f"http://{HOST}:{server.port}/", "timeout": 0.2}, TR).run(
        put, clock, stop
    )
    assert (None, "no answer") == (heard[0].value, heard[0].problem)
    assert clock.now().elapsed - began < 5.0
    server.close()


def test_a_fast_document_without_end_is_cut() -> None:
    """However fast a document comes, no more of it is taken than a document may have."""
    server = Dripping(0.0, b" " * 65_536)
    found = first(build("http", {"url": f"http://{HOST}:{server.port}/"}, TR))
    server.close()
    assert {"TR": (None, "too long")} == found
    assert server.sent < MOST_SENT


def test_numbers_keep_their_digits(server: WebServer) -> None:
    """A number comes through as it was written, in the unit of the tag."""
    server.happen({"body": json.dumps({"room": {"temperature": 26.123456789}})})
    assert (26.123456789, "") == now(server)
