"""Power status by RFC 9271: the server of the tests answers as the examples of the RFC do."""

import socket
import ssl
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import trustme
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.clock import SystemClock, always_trusted
from monitor.sources.polled import NoReading
from monitor.sources.power_status import Session
from monitor.sources.ups import PROBLEMS, check_status
from sources.drivers.stage import StageClock, build, first, listen, tag
from sources.drivers.worlds import HOST, LineServer

STATUS = tag("MA", "mains", "ups.status", every=5.0)
READING = {"GET", "LIST", "USERNAME", "PASSWORD", "STARTTLS"}
"""The commands that change nothing at the supply."""


@pytest.fixture
def server() -> Iterator[LineServer]:
    """A server of the supply `su700`, on line."""
    played = LineServer({"ups": "su700", "timeout": 0.5})
    status(played, "OL")
    yield played
    played.close()
    assert {command.partition(" ")[0] for command in played.asked} <= READING


def status(server: LineServer, symbols: str) -> None:
    """Let the supply have this status."""
    server.happen({"answers": {"GET VAR su700 ups.status": f'VAR su700 ups.status "{symbols}"'}})


def now(server: LineServer, **options: object) -> tuple[float | None, str]:
    """Value and problem of the status as a new source sees it."""
    return first(build("ups", {**server.options, **options}, STATUS))["MA"]


@pytest.mark.parametrize(
    ("symbols", "value", "problem"),
    [
        ("OL", 1.0, ""),
        ("OL CHRG", 1.0, ""),
        ("OL LB", 1.0, ""),
        ("ALARM OL RB", 1.0, ""),
        ("OL TEST", 1.0, ""),
        ("OL CAL", 1.0, ""),
        ("OB", 0.0, ""),
        ("OB LB", 0.0, ""),
        ("OB DISCHRG", 0.0, ""),
        ("FSD OB LB", 0.0, ""),
        ("FSD", None, "forced shutdown"),
        ("FSD LB", None, "forced shutdown"),
        ("OB TEST", None, "battery test"),
        ("OB CAL DISCHRG", None, "battery test"),
        ("", None, "status unknown"),
        ("OFF", None, "status unknown"),
        ("NOCOMM", None, "status unknown"),
        ("LB RB", None, "status unknown"),
        ("OL OB", None, "status unknown"),
        ("ol", None, "status unknown"),
        ("OLD", None, "status unknown"),
    ],
)
def test_what_a_status_means(
    server: LineServer, symbols: str, value: float | None, problem: str
) -> None:
    """OL is mains, OB is none; without one of them nothing is known, and never mains."""
    status(server, symbols)
    assert (value, problem) == now(server)


def test_the_story_of_an_unattended_server(server: LineServer) -> None:
    """On line, on battery, battery low, shutdown, gone, back with a low battery, on line."""
    clock = StageClock(34.0)
    for s, symbols in ((0, "OL"), (4, "OB"), (9, "OB LB"), (14, "FSD"), (24, "OL LB"), (29, "OL")):
        clock.plan(float(s), lambda symbols=symbols: status(server, symbols))  # type: ignore[misc]
        if symbols == "FSD":
            hang_up = {"answers": {"GET VAR su700 ups.status": ""}}
            clock.plan(19.0, lambda hang_up=hang_up: server.happen(hang_up))  # type: ignore[misc]
    heard = listen(build("ups", server.options, STATUS), clock)
    assert [
        (0.0, 1.0, ""),
        (5.0, 0.0, ""),
        (10.0, 0.0, ""),
        (15.0, None, "forced shutdown"),
        (20.0, None, "no answer"),
        (25.0, 1.0, ""),
        (30.0, 1.0, ""),
    ] == [(s, value, problem) for s, _, value, problem in heard]


@pytest.mark.parametrize(
    ("token", "problem"),
    [
        ("ACCESS-DENIED", "access denied"),
        ("DATA-STALE", "data stale"),
        ("DRIVER-NOT-CONNECTED", "driver not connected"),
        ("FEATURE-NOT-CONFIGURED", "refused"),
        ("INVALID-ARGUMENT", "refused"),
        ("PASSWORD-REQUIRED", "access denied"),
        ("TLS-NOT-ENABLED", "refused"),
        ("TOO-LONG", "refused"),
        ("UNKNOWN-COMMAND", "refused"),
        ("UNKNOWN-UPS", "unknown ups"),
        ("USERNAME-REQUIRED", "access denied"),
        ("VAR-NOT-SUPPORTED", "no such variable"),
        ("SOMETHING-NEW with words", "refused"),
    ],
)
def test_refusals(server: LineServer, token: str, problem: str) -> None:
    """Each refusal has its word, gives no value, and the session goes on."""
    server.happen({"answers": {"GET VAR su700 ups.status": f"ERR {token}"}})
    charge = tag("BC", "share", "battery.charge")
    server.happen({"answers": {"GET VAR su700 battery.charge": 'VAR su700 battery.charge "87"'}})
    found = first(build("ups", server.options, STATUS, charge))
    assert {"MA": (None, problem), "BC": (87.0, "")} == found


@pytest.mark.parametrize(
    "answer",
    [
        "VAR su700 ups.status OL",
        'VAR su700 ups.load "OL"',
        'VAR other ups.status "OL"',
        'VAR su700 ups.status "OL',
        'VAR su700 ups.status "OL" "OB"',
        'VAR su700 ups.status "OL\\n"',
        "BEGIN LIST VAR su700",
        "OK",
        'VAR su700 ups.status "\xc4"',
        "x" * 10_000,
        "\0",
    ],
)
def test_answers_that_are_none(server: LineServer, answer: str) -> None:
    """What is no answer to the question is not taken for one, and the session is given up."""
    server.happen({"answers": {"GET VAR su700 ups.status": answer}})
    assert (None, "wrong answer") == now(server)


def test_quotes_inside_a_value_are_read(server: LineServer) -> None:
    """A value may hold quotes and backslashes, each with a backslash before it."""
    server.happen({"answers": {"GET VAR su700 x": r'VAR su700 x "a \"b\" \\ c"'}})
    session = Session(HOST, int(str(server.options["port"])), 0.5, StageClock(1.0))
    assert r'a "b" \ c' == session.value("su700", "x")
    session.close()


def test_a_battery_test_hides_an_outage_for_a_while_only(server: LineServer) -> None:
    """A test runs on battery with mains there, but a test without end is an outage."""
    status(server, "OB TEST")
    clock = StageClock(26.0)
    clock.plan(21.0, lambda: status(server, "OL"))
    source = build("ups", {**server.options, "test_limit": 12.0}, STATUS)
    found = [(value, problem) for _, _, value, problem in listen(source, clock)]
    waiting = (None, "battery test")
    assert [waiting, waiting, waiting, (0.0, ""), (0.0, ""), (1.0, "")] == found


def test_a_new_battery_test_has_its_own_time(server: LineServer) -> None:
    """Mains between two tests starts the time of the second anew."""
    clock = StageClock(26.0)
    for s, symbols in ((0.0, "OB TEST"), (9.0, "OL"), (14.0, "OB CAL")):
        clock.plan(s, lambda symbols=symbols: status(server, symbols))  # type: ignore[misc]
    source = build("ups", {**server.options, "test_limit": 9.0}, STATUS)
    found = [value for _, _, value, _ in listen(source, clock)]
    assert [None, None, 1.0, None, None, 0.0] == found


def test_other_variables(server: LineServer) -> None:
    """Percent, seconds, volts and symbols come in the unit of their tag."""
    answers = {
        "battery.charge": "87.5",
        "battery.runtime": "1481",
        "battery.voltage": "13.05",
        "ups.temperature": "31.5",
        "ups.load": "29",
        "ups.beeper.status": "enabled",
        "battery.date": "",
    }
    for name, value in answers.items():
        server.happen({"answers": {f"GET VAR su700 {name}": f'VAR su700 {name} "{value}"'}})
    found = first(
        build(
            "ups",
            server.options,
            tag("C", "share", "battery.charge"),
            tag("R", "age", "battery.runtime", unit="min"),
            tag("V", "voltage", "battery.voltage"),
            tag("T", "temperature", "ups.temperature", unit="F"),
            tag("L", "share", "ups.load"),
            tag("B", "number", "ups.beeper.status"),
            tag("D", "number", "battery.date"),
            tag("S", "number", "ups.status/CHRG"),
        )
    )
    assert {
        "C": (87.5, ""),
        "R": (24.6833333333, ""),
        "V": (13.05, ""),
        "T": (88.7, ""),
        "L": (29.0, ""),
        "B": (None, "not a number"),
        "D": (None, "empty"),
        "S": (0.0, ""),
    } == found


def test_what_there_is_instead_is_told_once(
    server: LineServer, caplog: pytest.LogCaptureFixture
) -> None:
    """For an unknown variable the log names those the supply has, and asks for them once."""
    server.happen(
        {
            "answers": {
                "GET VAR su700 battery.charge": "ERR VAR-NOT-SUPPORTED",
                "LIST VAR su700": 'BEGIN LIST VAR su700\nVAR su700 ups.status "OL"\n'
                'VAR su700 ups.mfr "x \\"y\\""\nEND LIST VAR su700',
            }
        }
    )
    charge = tag("BC", "share", "battery.charge", every=1.0)
    heard = listen(build("ups", server.options, charge, STATUS), StageClock(5.5))
    assert "there are: ups.status, ups.mfr" in caplog.records[0].getMessage()
    assert 1 == server.asked.count("LIST VAR su700")
    assert [(1.0, ""), (1.0, "")] == [item[2:] for item in heard if item[1] == "MA"]


@pytest.mark.parametrize(
    "listing",
    [
        "ERR ACCESS-DENIED",
        "BEGIN LIST VAR other",
        "",
        "BEGIN LIST VAR su700" + '\nVAR su700 x "1"' * 600,
        "BEGIN LIST VAR su700\n" + "x" * 10_000,
    ],
)
def test_a_list_that_is_none_does_no_harm(server: LineServer, listing: str) -> None:
    """A list that is refused, endless or broken changes nothing but the detail in the log."""
    server.happen(
        {
            "answers": {
                "GET VAR su700 battery.charge": "ERR VAR-NOT-SUPPORTED",
                "LIST VAR su700": listing,
            }
        }
    )
    found = first(build("ups", server.options, tag("BC", "share", "battery.charge"), STATUS))
    assert {"BC": (None, "no such variable"), "MA": (1.0, "")} == found


def test_log_in_comes_first_and_is_quoted(server: LineServer) -> None:
    """User and password are told before anything is asked, each as one word, whatever is in it."""
    user, password = r"watch keeper", r'lar"vae\x'
    server.happen({"answers": {'USERNAME "watch keeper"': "OK", r'PASSWORD "lar\"vae\\x"': "OK"}})
    options = {**server.options, "user": user, "password_secret": "ups"}
    found = first(build("ups", options, STATUS, secrets={"ups": password}))
    assert {"MA": (1.0, "")} == found
    assert ["USERNAME", "PASSWORD", "GET"] == [line.partition(" ")[0] for line in server.asked]


@pytest.mark.parametrize("refused", ["USERNAME", "PASSWORD"])
def test_a_refused_log_in(
    server: LineServer, refused: str, caplog: pytest.LogCaptureFixture
) -> None:
    """A user or password that is not taken gives the word, and stands nowhere in the log."""
    answers = {'USERNAME "watch"': "OK", 'PASSWORD "larvae-need-water"': "OK"}
    for command in answers:
        if command.startswith(refused):
            answers[command] = f"ERR INVALID-{refused}"
    server.happen({"answers": answers})
    options = {**server.options, "user": "watch", "password_secret": "ups"}
    found = first(build("ups", options, STATUS, secrets={"ups": "larvae-need-water"}))
    assert {"MA": (None, "access denied")} == found
    assert "larvae" not in caplog.text


class TlsServer:
    """A server that agrees to STARTTLS and shows a certificate; then it answers on line."""

    def __init__(self, context: ssl.SSLContext) -> None:
        self.asked: list[bytes] = []
        self._context = context
        self._server = socket.create_server((HOST, 0))
        self.port: int = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._server.close()

    def _serve(self) -> None:
        try:
            plain, _ = self._server.accept()
            with plain:
                self.asked.append(plain.recv(100))
                # What is smuggled in before the handshake must not count as an answer.
                plain.sendall(b'OK STARTTLS\nVAR su700 ups.status "OB"\n')
                with self._context.wrap_socket(plain, server_side=True) as secret:
                    self.asked.append(secret.recv(100))
                    secret.sendall(b'VAR su700 ups.status "OL"\n')
        except OSError as error:  # our certificate was refused, or the test is over
            self.asked.append(str(error).encode())


@pytest.mark.parametrize(
    ("trusted", "found"), [(True, (1.0, "")), (False, (None, "no connection"))]
)
def test_starttls(tmp_path: Path, trusted: bool, found: tuple[float | None, str]) -> None:
    """With STARTTLS the certificate is verified, and nothing is asked in the open."""
    ours, other = trustme.CA(), trustme.CA()
    (ours if trusted else other).cert_pem.write_to_path(tmp_path / "ca.pem")
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    ours.issue_cert(HOST).configure_cert(context)
    server = TlsServer(context)
    options = {
        "host": HOST,
        "port": server.port,
        "ups": "su700",
        "starttls": True,
        "ca_file": str(tmp_path / "ca.pem"),
    }
    try:
        assert {"MA": found} == first(build("ups", options, STATUS))
    finally:
        server.close()
    assert b"STARTTLS\n" == server.asked[0]
    assert trusted == (b"GET VAR su700 ups.status\n" in server.asked)


def test_no_starttls_no_question(server: LineServer) -> None:
    """A server that will not encrypt is asked nothing in the open."""
    server.happen({"answers": {"STARTTLS": "ERR FEATURE-NOT-CONFIGURED"}})
    assert (None, "refused") == now(server, starttls=True)
    assert ["STARTTLS"] == server.asked


class Slow:
    """A server that accepts and then sends `drip` again and again, or nothing."""

    def __init__(self, drip: bytes, pause: float) -> None:
        self._over = threading.Event()
        self._drip = drip
        self._pause = pause
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
                while not self._over.wait(self._pause):
                    connection.sendall(self._drip)
            except OSError:
                self._over.set()


@pytest.mark.parametrize("drip", [b"", b"V"])
def test_a_server_that_dawdles_is_given_up(drip: bytes) -> None:
    """Silence, and single bytes each just in time, end with the time of the answer."""
    server = Slow(drip, 0.02)
    clock = SystemClock(1, 0.0, always_trusted)
    began = clock.now().elapsed
    session = Session(HOST, server.port, 0.2, clock)
    with pytest.raises(NoReading, match="no answer"):
        session.value("su700", "ups.status")
    assert clock.now().elapsed - began < 2.0
    session.close()
    server.close()


def test_a_server_that_is_back_is_found(server: LineServer) -> None:
    """A connection that broke is made again, without waiting for a restart of the watch."""
    clock = StageClock(16.0)
    clock.plan(4.0, lambda: server.happen({"answers": {"GET VAR su700 ups.status": ""}}))
    clock.plan(9.0, lambda: status(server, "OB"))
    heard = listen(build("ups", server.options, STATUS), clock)
    assert [(1.0, ""), (None, "no answer"), (0.0, ""), (0.0, "")] == [item[2:] for item in heard]


class Fed:
    """A socket that gives what it was fed, in pieces, and then the end."""

    def __init__(self, data: bytes, piece: int) -> None:
        self._data = data
        self._piece = piece
        self.taken = 0

    def settimeout(self, _seconds: float) -> None:
        """Nothing here blocks."""

    def sendall(self, _data: bytes) -> None:
        """Nobody listens."""

    def recv(self, _length: int) -> bytes:
        begin, self.taken = self.taken, self.taken + self._piece
        return self._data[begin : self.taken]

    def close(self) -> None:
        """Nothing to give back."""


def test_a_line_without_end_is_not_gathered(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line that does not end is given up after some kilobytes, however fast it comes."""
    fed: Any = Fed(b"x" * 1_000_000, 1000)
    monkeypatch.setattr(socket, "create_connection", lambda *_: fed)
    session = Session(HOST, 1, 0.1, StageClock(1.0))
    with pytest.raises(NoReading, match="wrong answer"):
        session.value("su700", "ups.status")
    assert fed.taken < 10_000


@given(
    st.one_of(
        st.binary(max_size=200),
        st.from_regex(rb'\A(VAR su700 ups.status "[^\n]{0,20}"?|ERR [A-Z-]*)\n', fullmatch=False),
    ),
    st.integers(1, 50),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_answer_is_a_value_or_a_word(
    monkeypatch: pytest.MonkeyPatch, data: bytes, piece: int
) -> None:
    """Whatever a server sends, in whatever pieces, there is a text or a known word."""
    fed: Any = Fed(data, piece)
    monkeypatch.setattr(socket, "create_connection", lambda *_: fed)
    session = Session(HOST, 1, 0.1, StageClock(1.0))
    try:
        check_status(session.value("su700", "ups.status").split())
    except NoReading as trouble:
        assert trouble.problem in PROBLEMS
    try:
        session.names("UPS")
    except NoReading as trouble:
        assert trouble.problem in PROBLEMS
