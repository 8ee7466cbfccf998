"""The modem channel: texts, and a ringing phone, over a serial modem with a SIM of its own.

It needs neither internet nor mains of the house, so it is the path that is left in a storm. The
modem is opened when it is first needed and again after it was unplugged. Sender and listener
share it by a lock; nobody holds that longer than one command.

+CMGS says that the network took a text. A delivery report says that the phone has it. Neither
says that somebody read it: the calling goes on until a person answers.
"""

import importlib.util
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Literal

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.channels.base import (
    Delivery,
    Message,
    Outcome,
    Secrets,
    checked_options,
    no_secret,
    one_line,
    wrong_in,
)
from monitor.channels.gsm_alphabet import septets
from monitor.channels.gsm_pdu import Submit
from monitor.channels.hearing import Hooks
from monitor.channels.meaning import plain_number
from monitor.channels.modem_codes import STORE_FULL, outcome_of
from monitor.channels.modem_credit import Credit
from monitor.channels.modem_ear import Ear, SentTexts
from monitor.channels.modem_session import Busy, NotUsable, Session, WrongPin, start_up
from monitor.channels.modem_talk import ModemError, Port, Silent, Talk
from monitor.clock import Clock, boottime
from monitor.errors import Problem
from monitor.logic.gsm import LIMIT, fold
from monitor.setup import Channel

PATIENCE = 45.0
"""Seconds to wait for the modem while the listener has it: longer than it ever does if all is well,
and short enough that a whole `send` stays below 300 s."""

FORGOTTEN = (None, 11, 311)
"""Errors of a modem that was reset by itself: it gives no numbers any more, or wants its PIN."""

LONGEST_DETAIL = 200


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class ModemOptions:
    """One modem. validity_h: hours after which the network drops a text that cannot be delivered.

    country, trunk: complete the numbers of senders that come without +, such as "+1" and "1".
    credit_code, credit_low: a short code that the network answers with what is left on the SIM, and
    the amount below which that is told.
    ring_s: seconds the phone rings after an urgent text between ring_from and ring_to, 0 for not.
    """

    device: Annotated[str, Field(pattern="^/")]
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 115_200
    pin_secret: str = ""
    mode: Literal["pdu", "text"] = "pdu"
    validity_h: Annotated[int, Field(ge=1, le=6)] = 2
    reports: bool = True
    country: Annotated[str, Field(pattern=r"^(\+[1-9][0-9]{0,2})?$")] = ""
    trunk: Annotated[str, Field(pattern="^[0-9]{0,2}$")] = ""
    credit_code: Annotated[str, Field(pattern=r"^([*#0-9]{2,20})?$")] = ""
    credit_low: Annotated[int | float, Field(ge=0, le=100_000)] = 1.0
    ring_s: Annotated[int, Field(ge=0, le=45)] = 0
    ring_from: Annotated[str, Field(pattern="^([01][0-9]|2[0-3]):[0-5][0-9]$")] = "21:00"
    ring_to: Annotated[str, Field(pattern="^([01][0-9]|2[0-3]):[0-5][0-9]$")] = "07:00"


class ModemChannel:
    """One modem. Building it checks options and secret and opens nothing; SetupError names all."""

    def __init__(self, setup: Channel, secrets: Secrets) -> None:
        self.id = setup.id
        self._options = options = checked_options(ModemOptions, setup, secrets, _clashes)
        self._pin: str | None = secrets.get(options.pin_secret, "")
        self._lock = threading.Lock()
        self._session: Session | None = None
        self._sent = SentTexts()

    def send(self, message: Message) -> Delivery:
        number = plain_number(message.person.phone)
        if not number:
            return Delivery("refused", f"{message.person.id} has no usable phone number")
        options = self._options
        text = _fitting(message.text.body)
        submit = Submit(number, text, options.validity_h * 3600.0, options.reports)
        under_way = threading.Event()
        try:
            with self.use() as session:
                reference = session.send(submit, options.mode == "text", under_way.set)
        except ModemError as error:
            if error.code == STORE_FULL:
                self._sent.store_is_full.set()
            return _delivery(outcome_of(error.code, error.is_equipment), error)
        except NotUsable as error:
            return _delivery("refused", error)
        except (Silent, Busy, OSError) as error:
            return _delivery("unknown" if under_way.is_set() else "retry", error)
        self._sent.note(reference, number, message.text.number)
        rang = self._ring(message, number)
        return Delivery("accepted", f"the network took it, reference {reference}{rang}")

    def listen(self, hooks: Hooks, clock: Clock, stop: threading.Event) -> None:
        """Hear texts and delivery reports, and watch over the network, until `stop` is set."""
        options = self._options
        prefixes = options.country, options.trunk
        credit = None
        if options.credit_code:
            code, low = options.credit_code, float(options.credit_low)
            credit = Credit(self.id, code, low, hooks, clock)
        ear = Ear(self.id, self.use, self._sent, hooks, clock, prefixes, credit)
        try:
            ear.run(stop)
        finally:
            with self._lock:
                self._hang_up()

    @contextmanager
    def use(self) -> Iterator[Session]:
        """The modem for one thread, started up. What broke off is begun anew the next time.

        Raises what `start_up` raises, Busy, and OSError where the device cannot be opened.
        """
        if not self._lock.acquire(timeout=PATIENCE):
            raise Busy("the modem is busy")
        try:
            if self._session is None:
                self._session = self._open()
            yield self._session
        except (Silent, OSError):
            self._hang_up()
            raise
        except ModemError as error:
            if error.code in FORGOTTEN:
                self._hang_up()
            raise
        finally:
            self._lock.release()

    def _open(self) -> Session:
        talk = Talk(_open_port(self._options), boottime)
        try:
            return start_up(talk, self._pin)
        except BaseException as error:
            talk.close()
            if isinstance(error, WrongPin):
                self._pin = None
            raise

    def _hang_up(self) -> None:
        if self._session is not None:
            self._session.talk.close()
            self._session = None

    def _ring(self, message: Message, number: str) -> str:
        """Let the phone ring where that is wanted; the text is with the network in any case."""
        options = self._options
        begin, end = options.ring_from, options.ring_to
        clock = f"{message.local_time:%H:%M}"
        is_night = begin <= clock or clock < end if begin > end else begin <= clock < end
        if not options.ring_s or message.text.grade != "urgent" or not is_night:
            return ""
        try:
            with self.use() as session:
                session.ring(number, options.ring_s)
        except (ModemError, NotUsable, Silent, Busy, OSError) as error:
            return f"; no call: {one_line(str(error))}"[:LONGEST_DETAIL]
        return f"; rang up to {options.ring_s} s"


def _delivery(outcome: Outcome, error: Exception) -> Delivery:
    return Delivery(outcome, one_line(str(error))[:LONGEST_DETAIL])


def _fitting(body: str) -> str:
    """The text in letters of the alphabet, cut to one message: a part alone helps nobody."""
    text = one_line(body)
    if septets(text) is None:
        text = fold(text)
    while len(septets(text) or ()) > LIMIT:
        text = text[:-1]
    return text


def _clashes(options: ModemOptions, secrets: Secrets, place: str) -> list[Problem]:
    """What no single option shows: a secret that is missing or no PIN, a package that is."""
    name = options.pin_secret
    pin = secrets.get(name, "")
    checks = (
        no_secret("pin_secret", name, secrets),
        (
            bool(pin) and not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8),
            "pin_secret",
            "the secret is not a PIN",
            "A PIN has 4 to 8 digits",
        ),
        (bool(options.trunk) and not options.country, "trunk", "is of no use alone", "Add country"),
        (
            importlib.util.find_spec("serial") is None,
            "kind",
            "needs the package pyserial, which is not installed",
            "Install it: pip install 'holdwater[serial]'",
        ),
    )
    return wrong_in(place, checks)


class _SerialPort:
    """A serial line whose `read` gives what is there, and waits a tenth of a second for more."""

    def __init__(self, options: ModemOptions) -> None:
        import serial

        self._serial = serial.Serial(
            options.device, options.baud, timeout=0.1, write_timeout=5.0, exclusive=True
        )

    def read(self, size: int = 1, /) -> bytes:
        first = self._serial.read(1)
        return bytes(first + self._serial.read(min(size - 1, self._serial.in_waiting)))

    def write(self, data: bytes, /) -> object:
        return self._serial.write(data)

    def close(self) -> None:
        self._serial.close()


def _open_port(options: ModemOptions) -> Port:
    if not Path(options.device).exists():
        raise FileNotFoundError(f"{options.device} is not there; is the modem plugged in?")
    return _SerialPort(options)
