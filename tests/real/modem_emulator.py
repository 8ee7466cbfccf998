"""A modem on a pseudo-terminal: answers commands, takes texts, and says what it is told to say.

It behaves as 3GPP TS 27.005 and 27.007 have it, as far as the channel uses them, and as badly as
a test asks for.
"""

import os
import re
import select
import threading
import tty
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from monitor.channels.gsm_alphabet import pack, septets
from monitor.channels.gsm_decode import decode
from monitor.channels.gsm_pdu import Submit


@dataclass(slots=True)
class Habits:
    """How this modem behaves. Errors are result lines, such as "+CMS ERROR: 38".

    registration: state in +CREG and +CEREG. refused: commands answered with ERROR, by beginning.
    silent: commands never answered. at_text: what follows a text instead of +CMGS, "" for
    nothing at all, "unplug" for the line going. deaf: commands that are missed. no_prompt: never
    asks for the text. call: what a call ends with, None while it rings. credit: what the network
    says to a short code, "" for nothing.
    """

    registration: str = "1"
    signal: int = 17
    pin: str = ""
    tries: int = 3
    sim: str = "READY"
    knows_tries: bool = True
    refused: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    deaf: int = 0
    no_prompt: bool = False
    at_command: str = ""
    at_text: str | None = None
    call: str | None = None
    credit: str = ""
    noise: str = ""


class Modem:
    """A running modem. `device` is a link that always leads to the line that is plugged in now."""

    def __init__(self, folder: Path, habits: Habits | None = None) -> None:
        self.habits = habits or Habits()
        self.device = folder / "modem"
        self.commands: list[str] = []
        self.texts: list[Submit] = []
        self.words: list[tuple[str, str]] = []
        self.store: dict[tuple[str, int], str] = {}
        self.lock = threading.Lock()
        self.news = threading.Condition(self.lock)
        self._master = -1
        self._slave = -1
        self._thread: threading.Thread | None = None
        self._reference = 23
        self._is_echoing = True
        self._text_mode = False
        self._memory = "SM"
        self._over = threading.Event()

    def plug_in(self) -> None:
        """A line appears, as after a reset: echo is on, and the SIM wants its PIN again."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.device.unlink(missing_ok=True)
        self.device.symlink_to(os.ttyname(self._slave))
        self._is_echoing, self._text_mode = True, False
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(self._master, self._over))
        self._thread.start()

    def unplug(self) -> None:
        """The line is gone. Unplugging twice changes nothing."""
        if self._thread is None:
            return
        self._over.set()
        if self._thread is not threading.current_thread():
            self._thread.join()
        self._thread = None
        self.device.unlink(missing_ok=True)
        os.close(self._slave)
        os.close(self._master)

    def reset(self) -> None:
        """It starts anew by itself, without the line going: all that was set is forgotten."""
        self._is_echoing, self._text_mode = True, True

    def say(self, *lines: str) -> None:
        """Say lines unasked."""
        os.write(self._master, "".join(f"\r\n{line}\r\n" for line in lines).encode())

    def receive(self, pdu: str, store: str = "SM", told: bool = True) -> int:
        """A text comes in and is stored; the modem tells of it unless it is not to."""
        with self.lock:
            place = max((at for _, at in self.store), default=0) + 1
            self.store[store, place] = pdu
        if told:
            self.say(f'+CMTI: "{store}",{place}')
        return place

    def wait_until(self, is_so: Callable[[], bool], timeout: float) -> bool:
        """Whether something about this modem becomes so in time."""
        with self.news:
            return self.news.wait_for(is_so, timeout)

    def _run(self, master: int, over: threading.Event) -> None:
        buffer = b""
        while not over.is_set():
            ready, _, _ = select.select([master], [], [], 0.02)
            if not ready:
                continue
            buffer += os.read(master, 1000)
            while b"\r" in buffer:
                line, _, buffer = buffer.partition(b"\r")
                command = line.decode("ascii").strip("\x1b\n")
                if self._is_echoing:
                    os.write(master, line + b"\r")
                buffer = self._obey(master, command, buffer, over)
                with self.news:
                    self.news.notify_all()

    def _obey(self, master: int, command: str, buffer: bytes, over: threading.Event) -> bytes:
        with self.lock:
            self.commands.append(command)
        habits = self.habits
        if habits.deaf or command.startswith(habits.silent or ("\0",)):
            habits.deaf = max(0, habits.deaf - 1)
            return buffer
        if habits.noise:
            self.say(habits.noise)
        if command.startswith("AT+CMGS=") and not command.startswith(habits.refused or ("\0",)):
            if habits.at_command:
                self.say(habits.at_command)
                return buffer
            if habits.no_prompt:
                return buffer
            return self._take_text(master, command, buffer, over)
        self.say(*self._answer(command))
        return buffer

    def _take_text(self, master: int, command: str, buffer: bytes, over: threading.Event) -> bytes:
        os.write(master, b"\r\n> ")
        while b"\x1a" not in buffer:
            if over.is_set() or b"\x1b" in buffer:
                return b""
            ready, _, _ = select.select([master], [], [], 0.02)
            buffer += os.read(master, 1000) if ready else b""
        body, _, buffer = buffer.partition(b"\x1a")
        words = body.decode("ascii")
        if self._text_mode:
            self.words.append((command.partition('"')[2].rstrip('"'), words))
        else:
            text = decode(words)
            assert isinstance(text, Submit)
            assert f"AT+CMGS={len(words) // 2 - 1}" == command
            self.texts.append(text)
        self._reference += 1
        ending = self.habits.at_text
        if ending == "unplug":
            threading.Thread(target=self.unplug).start()
            over.wait()
        elif ending is None:
            self.say(f"+CMGS: {self._reference}", "OK")
        elif ending:
            self.say(ending)
        return buffer

    def _answer(self, command: str) -> list[str]:
        """The lines that follow a command."""
        habits = self.habits
        if command.startswith(habits.refused or ("\0",)):
            return ["ERROR"]
        if command.startswith("AT+CPIN=") and habits.sim == "SIM PIN":
            return self._unlock(command)
        if command.startswith("AT+CUSD="):
            return ["OK", habits.credit] if habits.credit else ["OK"]
        if command.startswith("ATD"):
            return ["OK"] if habits.call is None else [habits.call]
        if found := re.fullmatch(r'AT\+CPMS="(\w+)"', command):
            self._memory = found[1]
            return ["+CPMS: 1,20,1,20,1,20", "OK"]
        if command == "AT+CMGL=4":
            return ["ERROR"] if self._text_mode else self._listed()
        if found := re.fullmatch(r"AT\+CMGD=(\d+)", command):
            with self.lock:
                gone = self.store.pop((self._memory, int(found[1])), None)
            return ["OK"] if gone else ["+CMS ERROR: 321"]
        answers = {
            "AT+CPIN?": [f"+CPIN: {habits.sim}", "OK"] if habits.sim else ["+CME ERROR: 10"],
            'AT+CPINR="SIM PIN"': [f"+CPINR: SIM PIN, {habits.tries}", "OK"]
            if habits.knows_tries
            else ["ERROR"],
            "AT+CREG?": [f"+CREG: 0,{habits.registration}", "OK"],
            "AT+CEREG?": [f"+CEREG: 0,{habits.registration}", "OK"],
            "AT+CSQ": [f"+CSQ: {habits.signal},99", "OK"],
            "AT+CSMS=1": ["+CSMS: 1,1,1", "OK"],
        }
        self._is_echoing = self._is_echoing and command != "ATE0"
        if command.startswith("AT+CMGF="):
            self._text_mode = command.endswith("1")
        return answers.get(command, ["OK"])

    def _unlock(self, command: str) -> list[str]:
        habits = self.habits
        if command == f'AT+CPIN="{habits.pin}"':
            habits.sim, habits.tries = "READY", 3
            return ["OK"]
        habits.tries -= 1
        habits.sim = "SIM PIN" if habits.tries else "SIM PUK"
        return ["+CME ERROR: 16"]

    def _listed(self) -> list[str]:
        with self.lock:
            mine = [(at, pdu) for (store, at), pdu in self.store.items() if store == self._memory]
        lines = [item for at, pdu in mine for item in (f"+CMGL: {at},0,,{len(pdu) // 2 - 1}", pdu)]
        return [*lines, "OK"]


def delivered(
    text: str, sender: str = "+19405550141", stamp: str = "6201811091020A", part: bytes = b""
) -> str:
    """A text of this sender as the network brings it; stamp: swapped digits; part: its header."""
    codes = septets(text)
    assert codes is not None
    fill = -8 * len(part) % 7
    data = part + pack(codes, fill)
    length = len(codes) + (8 * len(part) + fill) // 7
    if sender.startswith("+"):
        digits = sender[1:]
        kind, name = 0x91, _swapped(digits)
        count = len(digits)
    elif sender.isdigit():
        kind, name, count = 0x81, _swapped(sender), len(sender)
    else:
        name = pack(septets(sender) or [])
        kind, count = 0xD0, 2 * len(name)
    head = bytes([0, 0x44 if part else 0x04, count, kind]) + name + b"\0\0"
    return (head + bytes.fromhex(stamp) + bytes([length]) + data).hex().upper()


def reported(reference: int, number: str, status: int) -> str:
    """A delivery report on a text to this number."""
    head = bytes([0, 6, reference, len(number) - 1, 0x91]) + _swapped(number[1:])
    return (head + bytes.fromhex("6201811091020A" * 2) + bytes([status])).hex().upper()


def _swapped(digits: str) -> bytes:
    digits += "F" * (len(digits) % 2)
    return bytes(int(digits[at + 1] + digits[at], 16) for at in range(0, len(digits), 2))
