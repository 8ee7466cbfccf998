"""Readings from a small board that shows them as JSON at an address of the web (HTTP).

One source is one address; each of its tags is a way into the document, such as
`sensors.flow.value`, by the same rules as a field of an MQTT message. Only asked, never told:
GET, no redirections, and certificates are verified.
"""

import math
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field
from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import payload
from monitor.sources.addresses import OPTIONS, FullPath, Sheet
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value
from monitor.units import STATES

if TYPE_CHECKING:
    import requests

PROBLEMS = (
    *payload.PROBLEMS,
    "no connection",
    "no answer",
    "access denied",
    "no such page",
    "server error",
    "unexpected status",
)
"""Every problem word of this driver."""

FRESH = 0.5
"""Seconds for which one document serves the tags that are due together."""

PART = 64
"""Bytes between two looks at the time. A server that sends single bytes, each just in time, can
hold this source, and nothing else, for so many time-outs."""


def _web(text: str) -> str:
    try:
        parts = urlsplit(text)
        sound = parts.scheme in ("http", "https") and parts.hostname and parts.port != 0
    except ValueError:
        sound = False
    if not sound or not text.isprintable() or " " in text:
        raise ValueError("is not an address such as http://board.example.org/status")
    if parts.username is not None or parts.password is not None:
        raise ValueError("holds a user or password; give user and password_secret")
    return text


@checked(frozen=True, slots=True, config=OPTIONS)
class HttpOptions:
    """timeout in s: for the connection, and for the whole document after it."""

    url: Annotated[str, AfterValidator(_web)]
    user: str = ""
    password_secret: str = ""
    ca_file: FullPath | None = None
    timeout: Annotated[float, Field(ge=0.05, le=15.0)] = 3.0


def http(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    """One address of the web. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(HttpOptions)
    paths = sheet.points(_path)
    if read is not None:
        _check_access(sheet, read, secrets)
    options = sheet.sound(read)
    password = secrets.get(options.password_secret, "")
    fresh = min(FRESH, min(tag.every for tag in sheet.tags) / 2.0)
    return PolledSource(
        setup.id, sheet.tags, lambda clock, _tell: _Page(options, password, paths, fresh, clock)
    )


def _path(tag: Tag) -> tuple[str, ...]:
    if not tag.address:
        raise ValueError("names no field of the document, such as sensors.flow")
    return payload.parse_address(f"document#{tag.address}").path


def _check_access(sheet: Sheet, options: HttpOptions, secrets: Secrets) -> None:
    secret = options.password_secret
    if secret and secret not in secrets:
        sheet.problem("password_secret", f"there is no secret named {secret!r}", "Add it")
    if bool(secret) != bool(options.user):
        sheet.problem("user", "is wanted together with password_secret", "Give both, or neither")
    if options.ca_file is not None and not options.url.startswith("https:"):
        sheet.problem("ca_file", "is of no use", "Begin url with https:")


class _Page:
    """The document as it was last fetched; also a failure serves all tags that are due with it."""

    def __init__(
        self,
        options: HttpOptions,
        password: str,
        paths: dict[str, tuple[str, ...]],
        fresh: float,
        clock: Clock,
    ) -> None:
        self._options = options
        self._password = password
        self._paths = paths
        self._fresh = fresh
        self._clock = clock
        self._session: requests.Session | None = None
        self._fetched = -math.inf
        self._document: bytes | NoReading = b""

    def read(self, tag: Tag) -> Value:
        if self._clock.now().elapsed - self._fetched > self._fresh:
            try:
                self._document = self._fetch()
            except NoReading as trouble:
                self._document = trouble
            self._fetched = self._clock.now().elapsed
        if isinstance(self._document, NoReading):
            raise NoReading(self._document.problem, self._document.detail)
        value, problem = payload.parse(
            self._document, self._paths[tag.id], state=tag.measures in STATES
        )
        if value is None:
            raise NoReading(problem, self._document[:80])
        return value, ""

    def close(self) -> None:
        if self._session is not None:
            self._session.close()

    def _fetch(self) -> bytes:
        import requests

        try:
            with self._opened().get(
                self._options.url,
                stream=True,
                timeout=self._options.timeout,
                allow_redirects=False,
                headers={"Accept": "application/json", "Accept-Encoding": "identity"},
            ) as answer:
                _check_status(answer.status_code)
                return self._body(answer)
        except requests.ConnectionError as error:
            raise NoReading("no connection", error) from error
        except (requests.RequestException, OSError, ValueError) as error:
            raise NoReading("no answer", error) from error

    def _body(self, answer: "requests.Response") -> bytes:
        """The document, within its length and time."""
        until = self._clock.now().elapsed + self._options.timeout
        body = bytearray()
        for part in answer.iter_content(PART):
            body += part
            if len(body) > payload.LONGEST_PAYLOAD:
                raise NoReading("too long", f"over {payload.LONGEST_PAYLOAD} bytes")
            if self._clock.now().elapsed > until:
                raise NoReading("no answer", "the document did not end in time")
        return bytes(body)

    def _opened(self) -> "requests.Session":
        """A session that takes nothing from the surroundings: no proxy, no password file."""
        import requests

        if self._session is None:
            self._session = requests.Session()
            self._session.trust_env = False
            self._session.verify = self._options.ca_file or True
            if self._options.user:
                self._session.auth = (self._options.user, self._password)
        return self._session


def _check_status(status: int) -> None:
    if status == 200:
        return
    if status in (401, 403):
        raise NoReading("access denied", status)
    if status in (404, 410):
        raise NoReading("no such page", status)
    raise NoReading("server error" if status >= 500 else "unexpected status", status)
