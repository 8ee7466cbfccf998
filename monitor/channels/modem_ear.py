"""What a modem hears: texts of people, delivery reports, and whether it still has a network.

A text stays in the store of the modem until the watch has kept its meaning, and is deleted then;
a crash in between brings it again, never loses it.
"""

import logging
import threading
from collections import deque
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass

from monitor.channels.gsm_decode import decode, status_word
from monitor.channels.gsm_pdu import Deliver, StatusReport, Submit
from monitor.channels.hearing import Heard, Hooks, NotTaken, Trouble
from monitor.channels.modem_credit import Credit
from monitor.channels.modem_session import Busy, NotUsable, Place, Session
from monitor.channels.modem_talk import ModemError, Silent
from monitor.clock import Clock
from monitor.inputs import DeliveryReport

log = logging.getLogger(__name__)

LOOK = 60.0
"""Seconds between two looks at the network and into the stores."""

TURN = 0.25
"""Seconds of one turn at the modem; a text that is to be sent waits as long."""

AGAIN = 5.0
"""Seconds after trouble until the next attempt."""

LASTING = 60.0
"""Seconds that trouble must last to be told: registration comes and goes (common practice)."""

PARTS_WAIT = 600.0
"""Seconds that the parts of a long text wait for those that are missing."""

INCOMPLETE = "(a part of this text did not arrive)"


class SentTexts:
    """Which texts were sent under which reference, for the reports on them."""

    def __init__(self) -> None:
        self.store_is_full = threading.Event()
        self._lock = threading.Lock()
        self._texts: dict[int, tuple[str, int]] = {}

    def note(self, reference: int, number: str, text: int) -> None:
        with self._lock:
            self._texts[reference] = number, text

    def match(self, report: StatusReport) -> int | None:
        """The text that a report is about, None for one that is not ours.

        References are used again after 256 texts, so the number must fit too.
        """
        with self._lock:
            number, text = self._texts.get(report.reference, ("", 0))
        digits = report.recipient.removeprefix("+").lstrip("0")
        return text if number and len(digits) >= 6 and number.endswith(digits) else None


@dataclass(frozen=True, slots=True)
class _Stored:
    """A part of a long text in the store."""

    place: Place
    pdu: str
    text: Deliver


class Ear:
    """Listens at one modem. use: the modem, for as long as the context lasts. prefixes: country
    and trunk prefix of numbers that come without +. credit: None where it is not asked for."""

    def __init__(
        self,
        channel: str,
        use: Callable[[], AbstractContextManager[Session]],
        sent: SentTexts,
        hooks: Hooks,
        clock: Clock,
        prefixes: tuple[str, str],
        credit: Credit | None,
    ) -> None:
        self._channel = channel
        self._use = use
        self._sent = sent
        self._hooks = hooks
        self._clock = clock
        self._country, self._trunk = prefixes
        self._credit = credit
        self._trouble = Trouble(channel, hooks, clock, LASTING)
        self._next_look = 0.0
        self._may_be_old = True
        self._unasked: deque[tuple[str, str]] = deque()
        self._taken: set[str] = set()
        self._parts_since: dict[tuple[str, int, int], float] = {}

    def run(self, stop: threading.Event) -> None:
        """Listen until `stop` is set; every trouble of the modem is outlived."""
        self._next_look = self._clock.now().elapsed
        while not stop.is_set():
            now = self._clock.now().elapsed
            try:
                self._turn(now)
                pause = 0.05  # lets the sender have the modem
            except (ModemError, NotUsable, Silent, Busy, OSError) as error:
                self._trouble.look(str(error))
                self._may_be_old = True
                pause = AGAIN
            except NotTaken as error:
                log.warning("channel=%s not_taken=%r", self._channel, str(error))
                self._next_look = now + AGAIN
                pause = AGAIN
            self._clock.wait(stop, self._clock.now().elapsed + pause)
        self._trouble.look("")

    def _turn(self, now: float) -> None:
        if now >= self._next_look or self._sent.store_is_full.is_set():
            self._sent.store_is_full.clear()
            with self._use() as session:
                wrong = session.network()
            self._collect()
            self._trouble.look(wrong)
            self._next_look = now + LOOK
            if self._credit is not None and not wrong and self._credit.is_due():
                with self._use() as session:
                    self._credit.look(session)
        with self._use() as session:
            session.talk.pick_up(TURN)
            self._unasked.extend(session.talk.unasked)
            session.talk.unasked.clear()
        while self._unasked:
            line, body = self._unasked[0]
            self._hear(line, body)
            self._unasked.popleft()  # only now: what was not taken comes again
            if body:
                with self._use() as session:
                    session.acknowledge()

    def _hear(self, line: str, body: str) -> None:
        if line.startswith(("+CMTI:", "+CDSI:")):
            self._collect()
        elif body:
            message = _read(body)
            if isinstance(message, StatusReport):
                self._report(message)
            elif isinstance(message, Deliver) and message.part is None:
                self._take(message)
        else:
            log.info("channel=%s heard=%r", self._channel, line)

    def _collect(self) -> None:
        """Take everything in the stores and delete what was taken."""
        with self._use() as session:
            stored = session.stored()
        waiting: dict[tuple[str, int, int], list[_Stored]] = {}
        for place, pdu in stored:
            message = _read(pdu)
            if isinstance(message, Deliver) and message.part is not None:
                key = message.sender, message.part.reference, message.part.total
                waiting.setdefault(key, []).append(_Stored(place, pdu, message))
                continue
            if isinstance(message, Deliver):
                self._take_once(pdu, message)
            elif isinstance(message, StatusReport):
                self._report(message)
            self._delete(place, pdu)
        for key, parts in waiting.items():
            self._join(key, parts)
        for key in [key for key in self._parts_since if key not in waiting]:
            del self._parts_since[key]
        self._may_be_old = False

    def _join(self, key: tuple[str, int, int], parts: list[_Stored]) -> None:
        """Take a long text once all its parts are there, or say that one never came."""
        now = self._clock.now().elapsed
        by_number = {item.text.part.number: item for item in parts if item.text.part is not None}
        in_order = [by_number[number] for number in sorted(by_number)]
        is_whole = len(in_order) == key[2]
        if not is_whole and now - self._parts_since.setdefault(key, now) < PARTS_WAIT:
            return
        text = "".join(item.text.text for item in in_order) if is_whole else INCOMPLETE
        first = in_order[0]
        self._take_once(first.pdu, Deliver(first.text.sender, text, first.text.sent))
        for item in parts:
            self._delete(item.place, item.pdu)

    def _take_once(self, pdu: str, message: Deliver) -> None:
        """Take a text, unless it was taken already and only could not be deleted."""
        if pdu not in self._taken:
            self._take(message)
            self._taken.add(pdu)

    def _take(self, message: Deliver) -> None:
        """Hand a text to the watch. Only one that lay here while we were away can be an old one."""
        written = message.sent if self._may_be_old else None
        sender = self._international(message.sender)
        log.info("channel=%s text_from=%r letters=%d", self._channel, sender, len(message.text))
        self._hooks.take(Heard(sender, message.text, "text", self._channel, written=written))

    def _delete(self, place: Place, pdu: str) -> None:
        with self._use() as session:
            session.delete(place)
        self._taken.discard(pdu)

    def _international(self, sender: str) -> str:
        """A number that came without + as a person of the country writes it from abroad."""
        if self._country and sender.isascii() and sender.isdigit():
            return self._country + sender.removeprefix(self._trunk)
        return sender

    def _report(self, report: StatusReport) -> None:
        """A delivery report: it tells of the phone, and never that somebody read the text."""
        text = self._sent.match(report)
        word = status_word(report.status)
        log.info("channel=%s reference=%d text=%s %s", self._channel, report.reference, text, word)
        if text is None or text <= 0 or word not in ("delivered", "failed"):
            return
        outcome, detail = (
            ("accepted", "delivered to the phone")
            if word == "delivered"
            else ("refused", f"not delivered to the phone (status {report.status:#04x})")
        )
        now = self._clock.now()
        self._hooks.report(DeliveryReport(now, text, self._channel, outcome, detail))


def _read(pdu: str) -> Deliver | StatusReport | None:
    """A message that came in; None, and a line in the log, if it is none."""
    try:
        message = decode(pdu)
    except ValueError as error:
        log.warning("pdu=%r unreadable=%r", pdu[:400], str(error))
        return None
    return None if isinstance(message, Submit) else message
