"""What is left on a prepaid SIM: asked of the network once a day by a short code (USSD).

A SIM without credit sends nothing, and shows it only at the next text. Rules: 3GPP TS 27.007,
+CUSD; TS 23.038 for the coding of the answer.
"""

import logging
import re

from monitor.channels.base import one_line
from monitor.channels.hearing import Hooks, Trouble
from monitor.channels.modem_session import SLOW, Session
from monitor.clock import Clock

log = logging.getLogger(__name__)

EVERY = 86_400.0
"""Seconds between two questions: once a day (common practice, no source)."""

NETWORK = 30.0
"""Seconds that the network is given for its answer (common practice, no source)."""

UCS2 = 72
"""The data coding of an answer in hexadecimal UCS-2 (TS 23.038, section 5)."""

_ANSWER = re.compile(r'\+CUSD:\s*\d(?:\s*,\s*"([^"]*)"(?:\s*,\s*(\d+))?)?', re.A)
_AMOUNT = re.compile(r"(?<![\d.,])\d{1,6}(?:[.,]\d{1,2})?(?![\d.,]*\d)", re.A)


class Credit:
    """Asks by `code`; an amount below `low` is trouble, and so is no answer."""

    def __init__(self, channel: str, code: str, low: float, hooks: Hooks, clock: Clock) -> None:
        self._channel = channel
        self._code = code
        self._low = low
        self._clock = clock
        self._trouble = Trouble(f"{channel} credit", hooks, clock, 0.0)
        self._next = 0.0

    def is_due(self) -> bool:
        return self._clock.now().elapsed >= self._next

    def look(self, session: Session) -> None:
        """Ask once. Raises what a command to the modem raises."""
        self._next = self._clock.now().elapsed + EVERY
        said = asked(session, self._code)
        log.info("channel=%s credit=%r", self._channel, said)
        self._trouble.look(wrong(said, self._low))


def asked(session: Session, code: str) -> str:
    """The words of the network's answer, "" if none came. Other news of the modem stays."""
    talk = session.talk
    talk.ask(f'AT+CUSD=1,"{code}",15', SLOW)
    talk.pick_up_until("+CUSD:", NETWORK)
    for item in list(talk.unasked):
        if found := _ANSWER.match(item[0]):
            talk.unasked.remove(item)
            return one_line(_decoded(found[1] or "", found[2] or ""))
    return ""


def _decoded(words: str, coding: str) -> str:
    if coding == str(UCS2) and re.fullmatch(r"(?:[0-9A-Fa-f]{4})+", words):
        return bytes.fromhex(words).decode("utf-16-be", "replace")
    return words


def wrong(said: str, low: float) -> str:
    """What is wrong with the credit, "" if nothing is: the first amount in the answer counts."""
    if not said:
        return "the network does not tell what is left on the SIM"
    found = _AMOUNT.search(said)
    if found is None:
        return f"no amount in what the network says: {said[:60]}"
    amount = float(found[0].replace(",", "."))
    return f"only {amount:g} left on the SIM" if amount < low else ""
