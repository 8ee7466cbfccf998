"""The conversation with a modem over a serial line: commands, answers, and what it says unasked.

One thread at a time may talk; `modem.py` sees to that. Every wait has an end. Rules: ITU-T V.250
(commands and result codes), 3GPP TS 27.005 (texts), TS 27.007 (network, SIM, calls).
"""

import re
from collections import deque
from collections.abc import Callable
from typing import Protocol

from monitor.channels.modem_codes import words_of

SUBMIT_KEY, ABORT_KEY = b"\x1a", b"\x1b"
"""Control-Z sends a text, escape drops it (TS 27.005, section 3.5.1)."""

LONGEST_LINE = 1024
"""Octets; the longest text in hexadecimal has 360. What is longer is noise on the line."""

UNASKED = ("+CMTI:", "+CMT:", "+CDS:", "+CDSI:", "+CUSD:", "RING", "+CRING:", "+CLIP:")
"""How lines begin that a modem says by itself, whatever else is going on."""

WITH_BODY = ("+CMT:", "+CDS:")
"""Those of them that are followed by a line with the message."""

_FINAL = ("OK", "ERROR", "NO CARRIER", "BUSY", "NO ANSWER", "NO DIALTONE")
_ERROR = re.compile(r"\+CM([SE]) ERROR(?::\s*(\d{1,5}))?", re.A)


class Port(Protocol):
    """A serial line. `read` waits a short while only; both raise OSError when the line is gone."""

    def read(self, size: int = 1, /) -> bytes: ...

    def write(self, data: bytes, /) -> object: ...

    def close(self) -> None: ...


class ModemError(Exception):
    """The modem said no. code: its number, None without one; is_equipment: +CME, not +CMS."""

    def __init__(self, words: str, code: int | None = None, is_equipment: bool = False) -> None:
        super().__init__(words)
        self.code, self.is_equipment = code, is_equipment


class Silent(Exception):
    """The modem said nothing in time, or the line is gone; the conversation is over."""


class NoPrompt(Silent):
    """It never asked for the text, so none was sent."""


class Talk:
    """One conversation. now: seconds that never step. unasked: what was said by itself, as pairs
    of line and body; the owner takes them out."""

    def __init__(self, port: Port, now: Callable[[], float]) -> None:
        self.unasked: deque[tuple[str, str]] = deque(maxlen=500)
        self._port = port
        self._now = now
        self._buffer = b""

    def ask(self, command: str, timeout: float) -> list[str]:
        """The lines a command is answered with. Raises ModemError and Silent."""
        self._write(command.encode("ascii") + b"\r")
        return self._answer(command, self._now() + timeout)

    def hand_over(
        self,
        command: str,
        body: str,
        prompt_within: float,
        timeout: float,
        at_body: Callable[[], None],
    ) -> list[str]:
        """A command that asks for a text; at_body is called when the text itself is on its way.

        Raises NoPrompt if it does not ask for it, else as `ask`.
        """
        self._write(command.encode("ascii") + b"\r")
        self._await_prompt(command, self._now() + prompt_within)
        at_body()
        self._write(body.encode("ascii") + SUBMIT_KEY)
        return self._answer(command, self._now() + timeout)

    def pick_up(self, seconds: float) -> None:
        """Take in what the modem says by itself for so long. Raises Silent if the line is gone."""
        until = self._now() + seconds
        while (line := self._line(until)) is not None:
            self._note_unasked(line, until + 1.0)

    def pick_up_until(self, begin: str, seconds: float) -> None:
        """Take in what the modem says by itself until a line begins so, or for so long."""
        until = self._now() + seconds
        while not any(line.startswith(begin) for line, _ in self.unasked):
            line = self._line(until)
            if line is None:
                return
            self._note_unasked(line, until + 1.0)

    def drop_text(self) -> None:
        """Leave a text that was begun; to a modem that waits for none this means nothing."""
        self._write(ABORT_KEY)

    def close(self) -> None:
        self._port.close()

    def _answer(self, command: str, until: float) -> list[str]:
        lines: list[str] = []
        while True:
            line = self._line(until)
            if line is None:
                raise Silent(f"{_name(command)}: no answer in time")
            if line == "OK":
                return lines
            if line in _FINAL:
                raise ModemError(f"{_name(command)}: {line}")
            if found := _ERROR.match(line):
                code, is_equipment = int(found[2]) if found[2] else None, found[1] == "E"
                words = words_of(code, is_equipment)
                raise ModemError(f"{_name(command)}: {words}", code, is_equipment)
            if not self._note_unasked(line, until) and line != command:
                lines.append(line)

    def _note_unasked(self, line: str, until: float) -> bool:
        if not line.startswith(UNASKED):
            return False
        body = (self._line(until) or "") if line.startswith(WITH_BODY) else ""
        self.unasked.append((line, body))
        return True

    def _await_prompt(self, command: str, until: float) -> None:
        """Wait for `> ` at the beginning of a line; it has no end of line of its own."""
        while True:
            self._buffer = self._buffer.lstrip(b"\r\n")
            if self._buffer.startswith(b">"):
                self._buffer = self._buffer[1:].lstrip(b" ")
                return
            if b"\n" in self._buffer or b"\r" in self._buffer:
                line = self._line(until) or ""
                if line in _FINAL or _ERROR.match(line):
                    self._buffer = line.encode() + b"\r\n" + self._buffer
                    self._answer(command, until)
                    raise NoPrompt(f"{_name(command)}: not asked for the text")
                self._note_unasked(line, until)
            elif not self._fill(until):
                self.drop_text()
                raise NoPrompt(f"{_name(command)}: not asked for the text")

    def _line(self, until: float) -> str | None:
        """The next line that is not empty, None if none comes in time."""
        while True:
            found = re.match(rb"[\r\n]*([^\r\n]+)[\r\n]", self._buffer)
            if found:
                self._buffer = self._buffer[found.end() :]
                line = found[1].decode("latin-1").strip()
                if line and line != ">":
                    return line
            elif not self._fill(until):
                return None

    def _fill(self, until: float) -> bool:
        """Read some more, waiting at most till then; False if nothing came."""
        while True:
            try:
                new = self._port.read(LONGEST_LINE)
            except OSError as error:
                raise Silent(f"line lost: {error}") from error
            if new:
                self._buffer += new
                if len(self._buffer) > 2 * LONGEST_LINE:
                    self._buffer = self._buffer[-LONGEST_LINE:]
                return True
            if self._now() >= until:
                return False

    def _write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except OSError as error:
            raise Silent(f"line lost: {error}") from error


def _name(command: str) -> str:
    """A command without what it carries: a PIN or a phone number is not for the log."""
    found = re.match(r"AT\+?[A-Z]*", command)
    return found[0] if found else command[:2]
