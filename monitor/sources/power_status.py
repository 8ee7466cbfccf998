"""A session with a server of power status (RFC 9271): lines out, lines in. Only asks.

Every answer has a deadline, whatever the server does: silence, single bytes, lines without end.
"""

import re
import socket
import ssl
from collections.abc import Iterator

from monitor.clock import Clock
from monitor.sources.polled import NoReading

REFUSALS = {
    "ACCESS-DENIED": "access denied",
    "DATA-STALE": "data stale",
    "DRIVER-NOT-CONNECTED": "driver not connected",
    "INVALID-PASSWORD": "access denied",
    "INVALID-USERNAME": "access denied",
    "PASSWORD-REQUIRED": "access denied",
    "UNKNOWN-UPS": "unknown ups",
    "USERNAME-REQUIRED": "access denied",
    "VAR-NOT-SUPPORTED": "no such variable",
}
"""What the server may answer with ERR, in our words; the rest is "refused"."""

PROBLEMS = (
    *dict.fromkeys(REFUSALS.values()),
    "refused",
    "no connection",
    "no answer",
    "wrong answer",
)
"""Every problem word of a session."""

LONGEST_LINE = 4096
MOST_LINES = 500
"""Bounds of what is taken from a server; a real supply has some 50 variables (from memory)."""

_VALUE = re.compile(r'VAR (\S+) (\S+) "((?:[^"\\]|\\["\\])*)"')
_ENTRY = re.compile(r"(?:UPS|VAR \S+) (\S+) .*")


class Session:
    """One connection. After NoReading with "no answer" or "wrong answer" it has to be closed."""

    def __init__(self, host: str, port: int, timeout: float, clock: Clock) -> None:
        """Connect. Raises NoReading."""
        self._timeout = timeout
        self._clock = clock
        self._rest = b""
        try:
            self._socket = socket.create_connection((host, port), timeout)
        except (OSError, UnicodeError) as error:
            raise NoReading("no connection", f"{host}:{port}: {error}") from error

    def close(self) -> None:
        self._socket.close()

    def start_tls(self, host: str, ca_file: str | None) -> None:
        """Encrypt; certificate and name are always verified. Raises NoReading."""
        self._agree("STARTTLS")
        try:
            context = ssl.create_default_context(cafile=ca_file)
            self._socket = context.wrap_socket(self._socket, server_hostname=host)
        except OSError as error:  # which a certificate that does not hold is too
            raise NoReading("no connection", f"TLS: {error}") from error
        self._rest = b""  # what came before the handshake was not protected by it

    def log_in(self, user: str, password: str) -> None:
        """Say who asks. Raises NoReading."""
        self._agree(f"USERNAME {_quoted(user)}")
        self._agree(f"PASSWORD {_quoted(password)}")

    def value(self, ups: str, variable: str) -> str:
        """The value of one variable, as text. Raises NoReading."""
        answer = self._ask(f"GET VAR {ups} {variable}")
        found = _VALUE.fullmatch(answer)
        if found is None or found[1] != ups or found[2] != variable:
            raise NoReading("wrong answer", answer[:80])
        return re.sub(r"\\(.)", r"\1", found[3])

    def names(self, what: str) -> list[str]:
        """Names out of a list, such as `UPS` or `VAR su700`. Raises NoReading."""
        if self._ask(f"LIST {what}") != f"BEGIN LIST {what}":
            raise NoReading("wrong answer", f"no list of {what}")
        lines = self._lines()
        found: list[str] = []
        for _ in range(MOST_LINES):
            line = next(lines)
            if line == f"END LIST {what}":
                return found
            if entry := _ENTRY.fullmatch(line):
                found.append(entry[1])
        raise NoReading("wrong answer", f"list of {what} without end")

    def _agree(self, command: str) -> None:
        answer = self._ask(command)
        if answer.split(" ")[0] != "OK":
            raise NoReading("wrong answer", f"to {command.split(' ', maxsplit=1)[0]}")

    def _ask(self, command: str) -> str:
        """The first line of the answer. A refusal raises NoReading and leaves the session whole."""
        try:
            self._socket.settimeout(self._timeout)
            self._socket.sendall(command.encode("ascii") + b"\n")
        except OSError as error:
            raise NoReading("no answer", error) from error
        answer = next(self._lines())
        if answer.startswith("ERR "):
            token = answer[4:].partition(" ")[0]
            raise NoReading(REFUSALS.get(token, "refused"), answer[:80])
        return answer

    def _lines(self) -> Iterator[str]:
        """Lines of one answer, before one deadline for all of them."""
        until = self._clock.now().elapsed + self._timeout
        while True:
            line, ended, rest = self._rest.partition(b"\n")
            if ended:
                self._rest = rest
                yield _text(line)
                continue
            if len(self._rest) > LONGEST_LINE:
                raise NoReading("wrong answer", "a line without end")
            if self._clock.now().elapsed > until:
                raise NoReading("no answer", f"not complete within {self._timeout} s")
            self._rest += self._receive()

    def _receive(self) -> bytes:
        try:
            data = self._socket.recv(LONGEST_LINE)
        except OSError as error:
            raise NoReading("no answer", error) from error
        if not data:
            raise NoReading("no answer", "the server closed the connection")
        return data


def _text(line: bytes) -> str:
    try:
        return line.decode("ascii").removesuffix("\r")
    except UnicodeDecodeError as error:
        raise NoReading("wrong answer", line[:80]) from error


def _quoted(word: str) -> str:
    escaped = word.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
