"""The text gateway channel: any service on the web that sends texts when it gets a request.

What the service wants is written in the set-up: address, headers, a JSON document or a form, and
how success looks. Each attempt runs in a thread of its own, as in `mail.py`: neither the look-up
of a name nor a server that answers letter by letter can be given a time-out.

Before the request is on its way nothing was sent; from there on, without an answer, the service
may have taken the text.
"""

import json
import logging
import re
import socket
import ssl
import threading
from collections.abc import Mapping
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING

from monitor.channels.base import Delivery, Message, Secrets
from monitor.channels.meaning import plain_number
from monitor.channels.templates import at_path, fill
from monitor.channels.text_service import LONGEST_DETAIL, Service, service_of
from monitor.clock import boottime
from monitor.setup import Channel

if TYPE_CHECKING:
    import requests

log = logging.getLogger(__name__)

LONGEST_ANSWER = 65_536
"""Bytes of an answer that are read; what a service says of one text is far shorter."""

LONGEST_WAIT = 7200.0
"""Seconds a service may ask to wait: no text lives longer."""

AGAIN = (408, 425, 429)
"""Refusals of this moment, not of the text (RFC 9110, RFC 8470, RFC 6585)."""


class TextGatewayChannel:
    """One service. Building it checks options and secrets; SetupError names them all."""

    def __init__(self, setup: Channel, secrets: Secrets) -> None:
        self.id = setup.id
        self._service = service_of(setup, secrets)
        self._not_before = 0.0
        self._why = ""

    def send(self, message: Message) -> Delivery:
        person = message.person
        if not plain_number(person.phone):
            return Delivery("refused", f"{person.id} has no usable phone number")
        if boottime() < self._not_before:
            return Delivery("retry", self._why)
        attempt = _Attempt(self._service, message)
        threading.Thread(target=attempt.run, name=f"{self.id} attempt", daemon=True).start()
        delivery, wait = attempt.outcome()
        if delivery.outcome == "retry" and wait:
            self._not_before = boottime() + wait
            self._why = f"{delivery.detail}; asked to wait {wait:.0f} s"[:LONGEST_DETAIL]
            return Delivery("retry", self._why)
        return delivery


class _GivenUp(Exception):
    """The deadline has passed and the sender has gone on: this attempt must not begin a request."""


class _Attempt:
    """One request. `run` is the body of its own thread, `outcome` is called by the sender.

    The lock decides which of the two came first at the deadline and at the request.
    """

    def __init__(self, service: Service, message: Message) -> None:
        self._service = service
        self._values = service.values(message)
        self._lock = threading.Lock()
        self._ended = threading.Event()
        self._delivery: Delivery | None = None
        self._is_given_up = False
        self._is_under_way = False
        self._status = 0
        self._wait = 0.0

    def outcome(self) -> tuple[Delivery, float]:
        """Wait for the end or the deadline; what came of it, and how long the service wants us to
        wait (0 if it does not say)."""
        deadline = self._service.options.deadline
        self._ended.wait(deadline)
        with self._lock:
            if self._delivery is None:
                self._is_given_up = True
                if self._status:
                    self._delivery = self._judged(self._status, b"")
                elif self._is_under_way:
                    self._delivery = Delivery("unknown", f"no answer in {deadline:g} s")
                else:
                    self._delivery = Delivery("retry", f"look-up: no answer in {deadline:g} s")
            return self._delivery, self._wait

    def run(self) -> None:
        try:
            delivery = self._request()
        except _GivenUp:
            log.info("text_attempt=given_up")
            return
        except Exception as error:  # noqa: BLE001 - whatever it was, it is an outcome
            delivery = self._failed(error)
        with self._lock:
            self._delivery = self._delivery or delivery
        self._ended.set()

    def _request(self) -> Delivery:
        import requests

        service, options = self._service, self._service.options
        # A look-up that hangs has surely sent nothing; once it is done the next one is quick.
        socket.getaddrinfo(service.url.parts.hostname, None)
        with requests.Session() as session:
            session.trust_env = False
            session.verify = options.ca_file or True
            if options.user:
                session.auth = (options.user, service.password)
            prepared = session.prepare_request(
                requests.Request(
                    options.method,
                    service.url.filled(self._values),
                    headers={name: fill(line, self._values) for name, line in service.headers},
                    data=service.body.filled(self._values) if service.body is not None else None,
                )
            )
            with self._lock:
                if self._is_given_up:
                    raise _GivenUp
                self._is_under_way = True
            with session.send(
                prepared,
                timeout=(options.deadline / 4.0, options.deadline),
                allow_redirects=False,
                stream=True,
            ) as answer:
                self._wait = _wait_asked(answer.headers)
                self._status = answer.status_code
                return self._judged(answer.status_code, _beginning(answer))

    def _judged(self, status: int, body: bytes) -> Delivery:
        """What an answer of the service means."""
        words = self._service.shown(f"{status} {body.decode('utf-8', 'replace')}")
        if status in AGAIN or status >= 500:
            return Delivery("retry", words)
        if not 200 <= status < 300:
            return Delivery("refused", f"redirected: {words}" if status < 400 else words)
        options = self._service.options
        if not options.ok_path:
            return Delivery("accepted", words)
        try:
            found = at_path(json.loads(body), options.ok_path)
        except (ValueError, RecursionError):
            return Delivery("unknown", f"the answer is not JSON: {words}"[:LONGEST_DETAIL])
        if found is None:
            return Delivery("unknown", f"no {options.ok_path} in {words}"[:LONGEST_DETAIL])
        wanted = options.ok_equals
        said = found if isinstance(found, str) else json.dumps(found)
        if not wanted or said in ((wanted,) if isinstance(wanted, str) else wanted):
            return Delivery("accepted", words)
        return Delivery("refused", words)

    def _failed(self, error: Exception) -> Delivery:
        import requests

        if not isinstance(error, (requests.RequestException, OSError)):
            log.error("text_attempt=failed", exc_info=error)
        if self._status:
            return self._judged(self._status, b"")
        causes = _causes(error)
        untrusted = [item for item in causes if isinstance(item, ssl.SSLCertVerificationError)]
        if untrusted:
            host = self._service.url.parts.hostname
            return Delivery(
                "retry", f"certificate of {host} not trusted: {untrusted[0].verify_message}"
            )
        # Only the innermost reason is shown: the others name the address, and secrets stand in it.
        last = causes[-1]
        reason = (last.strerror if isinstance(last, OSError) else "") or type(last).__name__
        if self._is_under_way and not _is_before_request(causes):
            return Delivery("unknown", f"connection lost or silent: {reason}"[:LONGEST_DETAIL])
        return Delivery("retry", f"no connection: {reason}"[:LONGEST_DETAIL])


def _causes(error: BaseException) -> list[BaseException]:
    """An error, what it came from, and so on, also where the reason is carried as an argument."""
    found: list[BaseException] = []
    item: BaseException | None = error
    while item is not None and item not in found:
        found.append(item)
        inner = getattr(item, "reason", None)
        if not isinstance(inner, BaseException):
            inner = next((arg for arg in item.args if isinstance(arg, BaseException)), None)
        item = inner or item.__cause__ or item.__context__
    return found


def _is_before_request(causes: list[BaseException]) -> bool:
    """Whether the connection never stood."""
    import urllib3.exceptions

    return any(
        isinstance(
            item,
            urllib3.exceptions.NewConnectionError | urllib3.exceptions.ConnectTimeoutError,
        )
        for item in causes
    )


def _beginning(answer: "requests.Response") -> bytes:
    """The body as far as it is looked at."""
    body = b""
    for part in answer.iter_content(1024):
        body += part
        if len(body) >= LONGEST_ANSWER:
            break
    return body


def _wait_asked(headers: Mapping[str, str]) -> float:
    """Seconds of Retry-After: a number, or a date that is taken by the clock of the service."""
    asked = headers.get("Retry-After", "").strip()
    if re.fullmatch(r"[0-9]{1,9}", asked):
        return min(float(asked), LONGEST_WAIT)
    try:
        until = parsedate_to_datetime(asked)
        wait = (until - parsedate_to_datetime(headers.get("Date", ""))).total_seconds()
    except (TypeError, ValueError):
        return 0.0
    return min(max(0.0, wait), LONGEST_WAIT)
