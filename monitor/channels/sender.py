"""The thread of one channel: takes the texts that wait, sends them, repeats what must be repeated.

Only the sender thread sends; `offer` may be called by any thread. Nothing is kept here over a
restart: the outbox in the archive is, and the loop offers its open texts again.
"""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass

from monitor.channels.base import Delivery, Message, Sender
from monitor.clock import Clock
from monitor.inputs import DeliveryReport
from monitor.setup import GRADES

log = logging.getLogger(__name__)

RETRY_WAITS = (5.0, 15.0, 30.0, 60.0)
"""Seconds after each attempt that surely sent nothing; the last is repeated until the text
expires. RFC 5321, section 4.5.4.1, wants 30 minutes between attempts of a relay; this is a
submitting client with minutes at hand. Figures: common practice, no source."""

UNKNOWN_WAIT = 60.0
"""Seconds before a text that may have been sent is sent once more, under the same number."""

IDLE = 10.0
"""Seconds between signs of life while nothing is due."""


@dataclass(slots=True)
class _Waiting:
    """A text that is not settled: when it is due (elapsed), and what became of it so far."""

    message: Message
    due: float
    failures: int = 0
    is_sent_again: bool = False
    last: Delivery | None = None


class SenderThread:
    """One thread for one channel. `fresh` is the elapsed second of its last sign of life.

    `wrong` is why the last attempt did not reach the next station, "" where it did.

    `fresh` is never older than IDLE and the longest `send` of the channel together, unless the
    thread is stuck or dead. report is called in this thread with each outcome that is news.
    """

    def __init__(
        self, sender: Sender, clock: Clock, report: Callable[[DeliveryReport], None]
    ) -> None:
        self.id = sender.id
        self.fresh = clock.now().elapsed
        self.wrong = ""
        self._sender = sender
        self._clock = clock
        self._report = report
        self._lock = threading.Lock()
        self._texts: dict[int, _Waiting] = {}
        self._wake = threading.Event()
        self._is_stopping = False
        self._thread = threading.Thread(target=self._run, name=f"sender {self.id}", daemon=True)

    @property
    def waiting(self) -> int:
        """How many texts are not settled."""
        return len(self._texts)

    def start(self) -> None:
        self._thread.start()

    def stop(self, timeout: float) -> bool:
        """Ask the thread to end and wait for it; False if it is still busy after `timeout` s."""
        self._is_stopping = True
        self._wake.set()
        self._thread.join(timeout)
        return not self._thread.is_alive()

    def offer(self, message: Message) -> None:
        """Have a text sent. One that waits already, by its number, is not taken twice."""
        self._add(_Waiting(message, self._clock.now().elapsed))

    def offer_again(self, message: Message, due: float) -> None:
        """Have a text sent once more at elapsed `due` that an earlier process may have sent."""
        self._add(_Waiting(message, due, is_sent_again=True))

    def _add(self, text: _Waiting) -> None:
        with self._lock:
            self._texts.setdefault(text.message.text.number, text)
        self._wake.set()

    def work(self) -> float:
        """Send everything that is due; returns the elapsed second at which to look again."""
        while not self._is_stopping:
            now = self.fresh = self._clock.now().elapsed
            self._drop_expired(now)
            text = self._most_urgent(now)
            if text is None:
                break
            self._settle(text, self._send(text.message))
        with self._lock:
            dues = [min(text.due, text.message.text.expires) for text in self._texts.values()]
        return min([self.fresh + IDLE, *dues])

    def _run(self) -> None:
        while not self._is_stopping:
            self._wake.clear()
            self._clock.wait(self._wake, self.work())

    def _drop_expired(self, now: float) -> None:
        with self._lock:
            late = [text for text in self._texts.values() if now >= text.message.text.expires]
        for text in late:
            last = f"last: {text.last.outcome}, {text.last.detail}" if text.last else "never tried"
            self._end(text)
            self._tell(text, "expired", last, None)

    def _most_urgent(self, now: float) -> _Waiting | None:
        with self._lock:
            due = [text for text in self._texts.values() if text.due <= now]
        return min(due, key=_turn, default=None)

    def _send(self, message: Message) -> Delivery:
        try:
            return self._sender.send(message)
        except Exception as error:  # a fault of the channel must not cost the text or the thread
            log.exception("channel=%s text=%d", self.id, message.text.number)
            return Delivery("retry", f"fault in the channel: {type(error).__name__}: {error}")

    def _settle(self, text: _Waiting, delivery: Delivery) -> None:
        now = self.fresh = self._clock.now().elapsed
        self.wrong = "" if delivery.outcome == "accepted" else delivery.detail
        is_news = delivery != text.last
        text.last = delivery
        if delivery.outcome == "retry":
            text.due = now + RETRY_WAITS[min(text.failures, len(RETRY_WAITS) - 1)]
            text.failures += 1
        elif delivery.outcome == "unknown" and not text.is_sent_again:
            text.due = now + UNKNOWN_WAIT
            text.is_sent_again = True
        else:
            self._end(text)
            self._tell(text, delivery.outcome, delivery.detail, None)
            return
        if is_news:
            self._tell(text, delivery.outcome, delivery.detail, text.due)

    def _end(self, text: _Waiting) -> None:
        with self._lock:
            del self._texts[text.message.text.number]

    def _tell(self, text: _Waiting, outcome: str, detail: str, next_try: float | None) -> None:
        number = text.message.text.number
        log.info("channel=%s text=%d outcome=%s detail=%r", self.id, number, outcome, detail)
        try:
            now = self._clock.now()
            self._report(DeliveryReport(now, number, self.id, outcome, detail, next_try))
        except Exception:  # the text is settled all the same
            log.exception("channel=%s text=%d report_lost=%s", self.id, number, outcome)


def _turn(text: _Waiting) -> tuple[int, int]:
    """Most urgent grade first (one we do not know counts as that), then as they were written."""
    grade = text.message.text.grade
    rank = GRADES.index(grade) if grade in GRADES else len(GRADES)
    return -rank, text.message.text.number
