"""The mail channel: hands one mail at a time to a submission server (RFC 6409), by SMTP over TLS.

Each attempt runs in a thread of its own, because not every step can be given a time-out (the look
up of a name cannot). When the deadline has passed the sender goes on without it: the attempt may
not begin another step, its connection is cut, and what is known tells the outcome.

"Sent" hangs on the line with the dot that ends a mail (RFC 5321, section 4.1.1.4). Before it,
nothing was sent; after it, without an answer, the server may have taken the mail. RFC 5321 lets
a client wait 10 minutes there and repeat after 30: too slow for an alarm. This is a submitting
client with a deadline over all steps and its own schedule (`sender.py`); a mail that comes twice
carries the same Message-ID.
"""

import logging
import re
import smtplib
import socket
import ssl
import threading
from typing import Annotated, Literal

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.channels.base import (
    Delivery,
    Message,
    Outcome,
    Secrets,
    checked_options,
    no_full_path,
    no_secret,
    one_line,
    wrong_in,
)
from monitor.channels.letter import compose, is_address
from monitor.errors import Problem
from monitor.setup import Channel

log = logging.getLogger(__name__)

HELLO = "[127.0.0.1]"
"""How we name ourselves: an address literal (RFC 5321, section 4.1.3), as a board has no name."""

QUIT_TIMEOUT = 2.0
"""Seconds for a farewell that changes nothing any more."""

GRACE = 1.0
"""Seconds by which the sockets outlast the deadline: the sender is the first to give up, and an
attempt that is left alone ends soon after."""

LONGEST_DETAIL = 200

HEARD = (
    "Reply to this mail with one line: OK {event} (you go), OK {event} 40 (there in 40 minutes),\n"
    "HERE {event} (on site), NO {event} (you cannot)."
)
UNHEARD = (
    "A reply to this mail is not read. On the board of the watch:\n"
    "holdwater take {event} --as YOUR-NAME"
)
"""The line below a text where the set-up gives none: what is true of this way."""


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class MailOptions:
    """One submission server. deadline: s over all steps. port None is 587, with "tls" 465.

    answer: the line below each text on how to answer; {event} stands for the number. None: HEARD
    where a mailbox hears the replies, else UNHEARD.
    """

    host: Annotated[str, Field(min_length=1)]
    sender: str
    port: Annotated[int, Field(ge=1, le=65_535)] | None = None
    security: Literal["starttls", "tls"] = "starttls"
    user: str = ""
    password_secret: str = ""
    ca_file: str = ""
    deadline: Annotated[int | float, Field(gt=0, le=300)] = 30.0
    answer: str | None = None


class MailChannel:
    """One submission server. Building it checks options and secret; SetupError names them all."""

    def __init__(self, setup: Channel, secrets: Secrets) -> None:
        self.id = setup.id
        self._options = options = checked_options(MailOptions, setup, secrets, _clashes)
        self._password = secrets.get(options.password_secret, "")

    def send(self, message: Message) -> Delivery:
        person = message.person
        if not is_address(person.mail):
            return Delivery("refused", f"{person.id} has no usable mail address")
        answer = self._options.answer
        if answer is None:
            answer = HEARD if message.is_heard else UNHEARD
        letter = compose(message, self._options.sender, answer)
        attempt = _Attempt(self._options, self._password, person.mail, letter.as_bytes())
        threading.Thread(target=attempt.run, name=f"{self.id} attempt", daemon=True).start()
        return attempt.outcome()


class _GivenUp(Exception):
    """The deadline has passed and the sender has gone on: this attempt must not act any more."""


class _Attempt:
    """One attempt to hand over one mail.

    `run` is the body of its own thread, `outcome` is called by the sender; the lock decides which
    of the two came first at the deadline and at the final dot.
    """

    def __init__(self, options: MailOptions, password: str, recipient: str, mail: bytes) -> None:
        self._options = options
        self._password = password
        self._recipient = recipient
        self._mail = mail
        self._lock = threading.Lock()
        self._ended = threading.Event()
        self._delivery: Delivery | None = None
        self._smtp: smtplib.SMTP | None = None
        self._step = "begin"
        self._is_given_up = False
        self._is_dot_sent = False

    def outcome(self) -> Delivery:
        """Wait for the end or the deadline, whichever comes first."""
        deadline = self._options.deadline
        self._ended.wait(deadline)
        with self._lock:
            if self._delivery is not None:
                return self._delivery
            self._is_given_up = True
            self._cut()
            return Delivery(self._unanswered(), f"{self._step}: no answer in {deadline:g} s")

    def _cut(self) -> None:
        """End the connection under the attempt that still waits on it."""
        if self._smtp is None or self._smtp.sock is None:
            return
        try:
            # Not SSLSocket.shutdown, which would first turn a secured socket into a plain one
            # under the other thread.
            socket.socket.shutdown(self._smtp.sock, socket.SHUT_RDWR)
        except OSError as error:  # the attempt has closed it in the meantime, or the peer has
            log.info("mail_cut=%r step=%r", str(error), self._step)

    def run(self) -> None:
        try:
            self._conclude(Delivery("accepted", self._hand_over()))
            self._say_farewell()
        except _GivenUp:
            log.info("mail_attempt=given_up step=%r", self._step)
        except Exception as error:  # noqa: BLE001 - whatever it was, it is an outcome
            self._conclude(self._failed(error))
        finally:
            if self._smtp is not None:
                self._smtp.close()

    def _conclude(self, delivery: Delivery) -> None:
        with self._lock:
            self._delivery = delivery
        self._ended.set()

    def _enter(self, step: str, is_dot: bool = False) -> None:
        with self._lock:
            if self._is_given_up:
                raise _GivenUp
            self._step = step
            self._is_dot_sent = self._is_dot_sent or is_dot

    def _hand_over(self) -> str:
        """All steps up to the answer of the server to the whole mail, which is returned."""
        options = self._options
        self._enter(f"ca_file {options.ca_file}" if options.ca_file else "system certificates")
        context = ssl.create_default_context(cafile=options.ca_file or None)
        self._enter("connection")
        smtp = self._smtp = self._connect(context)
        self._enter("greeting")
        _expect(smtp.ehlo())
        if options.security == "starttls":
            self._enter("STARTTLS")
            smtp.starttls(context=context)
            _expect(smtp.ehlo())
        if options.user:
            self._enter("log-in")
            self._log_in(smtp)
        self._enter("sender")
        _expect(smtp.mail(options.sender))
        self._enter("recipient")
        _expect(smtp.rcpt(self._recipient))
        self._enter("mail")
        _expect(smtp.docmd("DATA"), 354)
        smtp.send(re.sub(rb"(?m)^\.", b"..", self._mail))
        self._enter("final dot", is_dot=True)
        smtp.send(b".\r\n")
        return _expect(smtp.getreply())

    def _connect(self, context: ssl.SSLContext) -> smtplib.SMTP:
        options = self._options
        timeout = options.deadline + GRACE
        if options.security == "tls":
            return smtplib.SMTP_SSL(
                options.host, options.port or 465, HELLO, timeout=timeout, context=context
            )
        return smtplib.SMTP(options.host, options.port or 587, HELLO, timeout=timeout)

    def _log_in(self, smtp: smtplib.SMTP) -> None:
        """One mechanism and no second one: a wrong password must not count several times."""
        smtp.user, smtp.password = self._options.user, self._password
        offered = smtp.esmtp_features.get("auth", "").upper().split()
        if "PLAIN" in offered:
            smtp.auth("PLAIN", smtp.auth_plain)
        elif "LOGIN" in offered:
            smtp.auth("LOGIN", smtp.auth_login)
        else:
            raise smtplib.SMTPNotSupportedError("the server offers neither PLAIN nor LOGIN")

    def _say_farewell(self) -> None:
        """The mail is taken, and told; a server that does not say goodbye changes nothing."""
        smtp = self._smtp
        try:
            if smtp is not None and smtp.sock is not None:
                smtp.sock.settimeout(QUIT_TIMEOUT)
                smtp.quit()
        except (OSError, smtplib.SMTPException) as error:
            log.info("mail_quit=%r", str(error))

    def _failed(self, error: Exception) -> Delivery:
        if not isinstance(error, (OSError, smtplib.SMTPException)):
            log.error("mail_step=%r", self._step, exc_info=error)
        outcome = self._unanswered()
        # An answer of the server is bytes; smtplib makes up a 500 of its own, as str, for a line
        # that is too long.
        if isinstance(error, smtplib.SMTPResponseException) and isinstance(error.smtp_error, bytes):
            words = error.smtp_error.decode("utf-8", "replace")
            if 400 <= error.smtp_code < 500:
                outcome = "retry"
            elif 500 <= error.smtp_code < 600:
                outcome = "refused"
            detail = f"{self._step}: {error.smtp_code} {words}"
            if error.smtp_code == 535:
                detail = f"wrong user or password. {detail}"
        elif isinstance(error, ssl.SSLCertVerificationError):
            detail = f"certificate of {self._options.host} not trusted: {error.verify_message}"
        else:
            detail = f"{self._step}: {error or type(error).__name__}"
        return Delivery(outcome, one_line(detail)[:LONGEST_DETAIL])

    def _unanswered(self) -> Outcome:
        return "unknown" if self._is_dot_sent else "retry"


def _expect(reply: tuple[int, bytes], code: int | None = None) -> str:
    """The words of a reply with this code (any 2yz when None); SMTPResponseException otherwise."""
    if reply[0] != code if code is not None else not 200 <= reply[0] < 300:
        raise smtplib.SMTPResponseException(*reply)
    return one_line(reply[1].decode("utf-8", "replace"))[:LONGEST_DETAIL]


def _clashes(options: MailOptions, secrets: Secrets, place: str) -> list[Problem]:
    """What no single option shows: an unusable sender, secrets that are missing."""
    secret = options.password_secret
    checks = (
        (
            not is_address(options.sender),
            "sender",
            f"{options.sender!r} is not a mail address",
            "Write it as watch@example.org",
        ),
        no_secret("password_secret", secret, secrets),
        (
            bool(secret) != bool(options.user),
            "user" if secret else "password_secret",
            "is missing",
            "Give both user and password_secret, or neither",
        ),
        (
            not (options.user + secrets.get(secret, "")).isascii(),
            "user",
            "or its password holds letters that a log-in by SMTP cannot carry",
            "Use ASCII only",
        ),
        no_full_path("ca_file", options.ca_file),
    )
    return wrong_in(place, checks)
