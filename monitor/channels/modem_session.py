"""A modem that has been started up: what the channel asks of it. Rules as in `modem_talk.py`."""

import logging
import re
from collections.abc import Callable
from itertools import pairwise

from monitor.channels.gsm_pdu import RELATIVE, REPORT, SUBMIT, Submit, encode, relative
from monitor.channels.modem_talk import ModemError, Silent, Talk
from monitor.clock import boottime

log = logging.getLogger(__name__)

QUICK = 3.0
"""Seconds for what a modem answers by itself (common practice, no source)."""

SLOW = 10.0
"""Seconds for what it asks its SIM or the network (common practice, no source)."""

SENDING = 75.0
"""Seconds for a text: manuals of modems tell of a minute and more."""

STORES = ("ME", "SM")
"""Where incoming texts may lie: in the modem and on the SIM (TS 27.005, section 3.2.3)."""

Place = tuple[str, int]
"""A store ("" is whichever the modem has), and the place in it."""

_STATES = {"0": "not searching", "2": "searching", "3": "registration denied", "4": "not known"}


class NotUsable(Exception):
    """The modem answers, and cannot send: its SIM is missing, locked or broken."""


class Busy(Exception):
    """The other thread has had the modem for longer than any command takes."""


class WrongPin(NotUsable):
    """The SIM refused the PIN. Three refusals lock it, so it must not be tried again."""


class Session:
    """A modem ready for use. acknowledges: whether it wants each delivery report acknowledged."""

    def __init__(self, talk: Talk, stores: tuple[str, ...], acknowledges: bool) -> None:
        self.talk = talk
        self.acknowledges = acknowledges
        self._stores = stores

    def network(self) -> str:
        """What is wrong with the registration, "" if nothing is (TS 27.007, +CREG, +CEREG)."""
        states = []
        for command in ("AT+CREG?", "AT+CEREG?"):
            found = _value(_asked(self.talk, command), r"\+CE?REG:\s*\d,\s*(\d+)")
            if found in ("1", "5"):
                return ""
            states.append(_STATES.get(found, "") if found else "")
        signal = _value(_asked(self.talk, "AT+CSQ"), r"\+CSQ:\s*(\d+)")
        strength = "" if signal in ("", "99") else f", signal {signal} of 31"
        state = next(filter(None, states), "state not known")
        return f"not registered with the network ({state}{strength})"

    def send(self, message: Submit, by_text: bool, at_body: Callable[[], None]) -> int:
        """Send one text; the reference that its delivery report will bear."""
        if by_text:
            lines = self._send_in_text_mode(message, at_body)
        else:
            pdu, length = encode(message)
            lines = self.talk.hand_over(f"AT+CMGS={length}", pdu, QUICK, SENDING, at_body)
        return int(_value(lines, r"\+CMGS:\s*(\d+)") or -1)

    def _send_in_text_mode(self, message: Submit, at_body: Callable[[], None]) -> list[str]:
        """For a modem whose PDU mode sends nothing; what comes in is read in PDU mode even so."""
        first = SUBMIT | RELATIVE | (REPORT if message.wants_report else 0)
        validity = relative(message.validity) if isinstance(message.validity, float) else 0xFF
        self.talk.ask("AT+CMGF=1", QUICK)
        try:
            _asked(self.talk, 'AT+CSCS="IRA"')
            self.talk.ask(f"AT+CSMP={first},{validity},0,0", QUICK)
            body = message.text.encode("ascii", "replace").decode("ascii")
            command = f'AT+CMGS="{message.number}"'
            lines = self.talk.hand_over(command, body, QUICK, SENDING, at_body)
        except ModemError:
            _asked(self.talk, "AT+CMGF=0")
            raise
        _asked(self.talk, "AT+CMGF=0")
        return lines

    def ring(self, number: str, seconds: float) -> None:
        """Let a phone ring for so long. Whether anybody hears it is not known."""
        until = boottime() + seconds
        try:
            self.talk.ask(f"ATD{number};", seconds)
            self.talk.pick_up(until - boottime())
        except ModemError as error:
            log.info("ring=%r", str(error))  # busy, or switched off
        except Silent:
            log.info("ring=no answer yet")  # some modems answer only once somebody picks up
        if not _accepts(self.talk, "AT+CHUP"):
            self.talk.ask("ATH", QUICK)

    def stored(self) -> list[tuple[Place, str]]:
        """What has come in and lies in the stores, each with its place."""
        found: list[tuple[Place, str]] = []
        for store in self._stores:
            if store:
                self.talk.ask(f'AT+CPMS="{store}"', SLOW)
            lines = self.talk.ask("AT+CMGL=4", SLOW)
            for head, pdu in pairwise(lines):
                place = re.match(r"\+CMGL:\s*(\d+),\s*[01]\b", head, re.A)
                if place and not pdu.startswith("+CMGL:"):
                    found.append(((store, int(place[1])), pdu))
        return found

    def delete(self, place: Place) -> None:
        if place[0]:
            self.talk.ask(f'AT+CPMS="{place[0]}"', SLOW)
        self.talk.ask(f"AT+CMGD={place[1]}", SLOW)

    def acknowledge(self) -> None:
        """Tell that a report or a text that came directly was taken; else no more are routed."""
        if self.acknowledges:
            _accepts(self.talk, "AT+CNMA")


def start_up(talk: Talk, pin: str | None) -> Session:
    """Bring a modem into the state the channel needs. pin: None once the SIM has refused it.

    Raises ModemError, Silent, and NotUsable where only a person can help.
    """
    _wake(talk)
    talk.ask("ATE0", QUICK)
    talk.ask("AT+CMEE=1", QUICK)
    _unlock(talk, pin)
    acknowledges = _accepts(talk, "AT+CSMS=1")
    talk.ask("AT+CMGF=0", QUICK)
    stores = tuple(store for store in STORES if _accepts(talk, f'AT+CPMS="{store}"'))
    news = ("AT+CNMI=2,1,0,1,0", "AT+CNMI=1,1,0,1,0", "AT+CNMI=2,1,0,0,0")
    if not any(_accepts(talk, command) for command in news):
        log.warning("modem tells of no new texts; they are looked for every minute")
    return Session(talk, stores or ("",), acknowledges)


def _wake(talk: Talk) -> None:
    """Get its attention: it may be guessing our speed, or still wait for an earlier text."""
    talk.drop_text()
    for tries_left in (2, 1, 0):
        try:
            talk.ask("AT", 1.0)
            return
        except ModemError as error:
            log.info("modem_refused=%r", str(error))
        except Silent:
            if not tries_left:
                raise


def _unlock(talk: Talk, pin: str | None) -> None:
    try:
        state = _value(talk.ask("AT+CPIN?", SLOW), r"\+CPIN:\s*(.+)")
    except ModemError as error:
        raise NotUsable(str(error)) from error
    if state == "READY":
        return
    if state != "SIM PIN":
        raise NotUsable(f"the SIM wants {state or 'something unknown'}; see to it by hand")
    if pin is None:
        raise NotUsable("the SIM refused the PIN; correct it and start again")
    if not pin:
        raise NotUsable("the SIM wants its PIN, and pin_secret names none")
    left = _value(_asked(talk, 'AT+CPINR="SIM PIN"'), r"\+CPINR:\s*SIM PIN,\s*(\d+)")
    if left and int(left) < 3:
        raise NotUsable(f"the SIM refused a PIN before ({left} tries left); enter it by hand")
    try:
        talk.ask(f'AT+CPIN="{pin}"', SLOW)
    except ModemError as error:
        raise WrongPin(str(error)) from error


def _accepts(talk: Talk, command: str, timeout: float = SLOW) -> bool:
    """Whether the modem takes a command that it may do without."""
    try:
        talk.ask(command, timeout)
    except ModemError as error:
        log.info("modem_refused=%r", str(error))
        return False
    return True


def _asked(talk: Talk, command: str) -> list[str]:
    """The lines of a question that the modem need not know; none if it does not."""
    try:
        return talk.ask(command, SLOW)
    except ModemError as error:
        log.info("modem_refused=%r", str(error))
        return []


def _value(lines: list[str], pattern: str) -> str:
    """What a pattern finds first in the lines, "" for nothing."""
    found = (re.match(pattern, line, re.A) for line in lines)
    return next((match[1] for match in found if match), "")
