"""The mailbox channel: hears people's answers by mail, by IMAP over TLS. It sends nothing.

A mail is marked as seen only after the watch has kept its meaning; a crash in between brings it
again, never loses it. One that comes twice, or could not be marked, is known by its Message-ID.
Rules: RFC 3501 (IMAP4rev1), RFC 8314 (TLS from the first byte, port 993).
"""

import hashlib
import imaplib
import logging
import re
import ssl
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.channels.base import (
    Delivery,
    Message,
    Secrets,
    checked_options,
    no_full_path,
    no_secret,
    one_line,
    wrong_in,
)
from monitor.channels.hearing import Heard, Hooks, NotTaken, Trouble
from monitor.channels.incoming_mail import Bounce, Mail, understand
from monitor.clock import Clock
from monitor.errors import Problem
from monitor.inputs import DeliveryReport
from monitor.setup import Channel

log = logging.getLogger(__name__)

LARGEST = 131_072
"""Octets of a mail that are fetched: the text stands in front of any photo."""

AT_ONCE = 50
"""Mails that are looked at in one turn; the others wait for the next."""

AGAIN = 30.0
"""Seconds after trouble until the next attempt."""

AFTER_REFUSAL = 300.0
"""Seconds after a refused log-in: servers shut out who tries too often."""

LASTING = 120.0
"""Seconds that trouble must last to be told."""

_PLAIN = re.compile(r"[!#-\[\]-~][ !#-\[\]-~]*")
_KEY = re.compile(r"<[!#-;=?-\[\]-~]{1,250}>")
_DATE = re.compile(rb'INTERNALDATE "([^"]{1,40})"')


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class MailboxOptions:
    """One folder of one account. port None is 993, with "starttls" 143. every: s between looks.

    reply_by: id of the channel of kind "mail" by which answers go back; without it none do.
    authority: the name our mail server gives itself; then only mails count for whose sender it
    vouches (dmarc=pass). deadline: s for each step.
    """

    host: Annotated[str, Field(min_length=1)]
    user: Annotated[str, Field(min_length=1)]
    password_secret: Annotated[str, Field(min_length=1)]
    port: Annotated[int, Field(ge=1, le=65_535)] | None = None
    security: Literal["tls", "starttls"] = "tls"
    folder: Annotated[str, Field(min_length=1)] = "INBOX"
    every: Annotated[int | float, Field(ge=1, le=600)] = 15.0
    reply_by: str = ""
    authority: str = ""
    ca_file: str = ""
    deadline: Annotated[int | float, Field(gt=0, le=120)] = 30.0


class LogInRefused(Exception):
    """The server does not take this user and password."""


class MailboxChannel:
    """One mailbox. Building it checks options and secret; SetupError names them all."""

    def __init__(self, setup: Channel, secrets: Secrets) -> None:
        self.id = setup.id
        self._options = options = checked_options(MailboxOptions, setup, secrets, _clashes)
        self._password = secrets[options.password_secret]

    def send(self, _message: Message) -> Delivery:
        return Delivery("refused", "a mailbox only hears; name a channel of kind mail")

    def listen(self, hooks: Hooks, clock: Clock, stop: threading.Event) -> None:
        """Hear mails until `stop` is set."""
        reader = _Reader(self._options, self.id, hooks, clock)
        trouble = Trouble(self.id, hooks, clock, LASTING)
        while not stop.is_set():
            wait = AGAIN
            try:
                with self._opened() as imap:
                    while not stop.is_set():
                        reader.look(imap)
                        trouble.look("")
                        clock.wait(stop, clock.now().elapsed + self._options.every)
            except LogInRefused as error:
                trouble.look(f"wrong user or password: {one_line(str(error))[:100]}")
                wait = AFTER_REFUSAL
            except ssl.SSLCertVerificationError as error:
                trouble.look(f"certificate of {self._options.host}: {error.verify_message}")
            except (OSError, imaplib.IMAP4.error) as error:
                trouble.look(one_line(f"{type(error).__name__}: {error}")[:150])
            clock.wait(stop, clock.now().elapsed + wait)
        trouble.look("")

    @contextmanager
    def _opened(self) -> Iterator[imaplib.IMAP4]:
        """A connection with the folder open; it is shut in any case."""
        options = self._options
        context = ssl.create_default_context(cafile=options.ca_file or None)
        imap: imaplib.IMAP4
        if options.security == "tls":
            imap = imaplib.IMAP4_SSL(
                options.host, options.port or 993, ssl_context=context, timeout=options.deadline
            )
        else:
            imap = imaplib.IMAP4(options.host, options.port or 143, timeout=options.deadline)
        try:
            if options.security == "starttls":
                imap.starttls(context)
            self._log_in(imap)
            _check(imap.select(f'"{options.folder}"'))
            yield imap
        finally:
            imap.shutdown()

    def _log_in(self, imap: imaplib.IMAP4) -> None:
        try:
            imap.login(f'"{self._options.user}"', self._password)
        except imaplib.IMAP4.abort:
            raise  # the connection broke, which says nothing of the password
        except imaplib.IMAP4.error as error:
            raise LogInRefused(str(error)) from error


class _Reader:
    """Reads what is new, hands it over, and marks it."""

    def __init__(self, options: MailboxOptions, channel: str, hooks: Hooks, clock: Clock) -> None:
        self._options = options
        self._channel = channel
        self._hooks = hooks
        self._clock = clock
        self._taken: deque[str] = deque(maxlen=500)

    def look(self, imap: imaplib.IMAP4) -> None:
        """Take everything that is new. What the watch does not get to stays new."""
        found = _check(imap.uid("SEARCH", "UNSEEN"))
        new = found[0].split() if found and isinstance(found[0], bytes) else []
        for uid in new[:AT_ONCE]:
            try:
                self._take(imap, uid.decode("ascii"))
            except NotTaken as error:
                log.warning("channel=%s not_taken=%r", self._channel, str(error))
                return

    def _take(self, imap: imaplib.IMAP4, uid: str) -> None:
        parts = _check(imap.uid("FETCH", uid, f"(INTERNALDATE BODY.PEEK[]<0.{LARGEST}>)"))
        data = next((part[1] for part in parts if isinstance(part, tuple)), None)
        if not isinstance(data, bytes):
            return  # somebody deleted it in the meantime
        about = b" ".join(part[0] if isinstance(part, tuple) else part or b"" for part in parts)
        try:
            found = understand(data, self._options.authority)
        except Exception as error:  # noqa: BLE001 - no mail, however made, may block the others
            log.warning("channel=%s mail=%s unreadable=%r", self._channel, uid, str(error))
        else:
            self._act_on(imap, found, data, _written(about))
        _check(imap.uid("STORE", uid, "+FLAGS.SILENT", r"(\Seen)"))

    def _act_on(
        self, imap: imaplib.IMAP4, found: Mail | Bounce, data: bytes, written: float | None
    ) -> None:
        if isinstance(found, Bounce):
            log.warning("channel=%s text=%d %s", self._channel, found.text, found.detail)
            if self._options.reply_by:
                now = self._clock.now()
                report = DeliveryReport(
                    now, found.text, self._options.reply_by, "refused", found.detail
                )
                self._hooks.report(report)
            return
        if found.automatic:
            said = found.sender, found.automatic
            log.info("channel=%s mail_from=%r not_a_person=%r", self._channel, *said)
            return
        key = found.key or hashlib.sha256(data).hexdigest()
        if key in self._taken or self._was_seen(imap, key):
            log.info("channel=%s mail_from=%r came_twice=%r", self._channel, found.sender, key)
            return
        event, mark = found.thread or (None, "")
        self._hooks.take(
            Heard(found.sender, found.text, "mail", self._options.reply_by, event, mark, written)
        )
        self._taken.append(key)

    def _was_seen(self, imap: imaplib.IMAP4, key: str) -> bool:
        """Whether another copy of this mail was taken before, perhaps by an earlier process."""
        if not _KEY.fullmatch(key):
            return False
        found = _check(imap.uid("SEARCH", "SEEN", "HEADER", "Message-ID", f'"{key}"'))
        return bool(found and found[0])


def _check(answer: tuple[str, list[Any]]) -> list[Any]:
    """The data of an answer; IMAP4.error if it is not OK."""
    kind, data = answer
    if kind != "OK":
        raise imaplib.IMAP4.error(f"{kind} {data!r}"[:200])
    return data


def _written(about: bytes) -> float | None:
    """When the server got a mail, in UTC seconds: its own clock, not that of the sender."""
    found = _DATE.search(about)
    if found is None:
        return None
    try:
        stamp = found[1].decode("ascii").strip()
        return datetime.strptime(stamp, "%d-%b-%Y %H:%M:%S %z").timestamp()
    except ValueError:
        return None


def _clashes(options: MailboxOptions, secrets: Secrets, place: str) -> list[Problem]:
    """What no single option shows."""
    secret = options.password_secret
    checks = (
        no_secret("password_secret", secret, secrets),
        (
            not secrets.get(secret, "").isascii(),
            "password_secret",
            "the password holds letters that a log-in cannot carry",
            "Use ASCII only",
        ),
        *(
            (not _PLAIN.fullmatch(value), key, "holds letters that no log-in carries", "Correct it")
            for key, value in (("user", options.user), ("folder", options.folder))
        ),
        no_full_path("ca_file", options.ca_file),
    )
    return wrong_in(place, checks)
