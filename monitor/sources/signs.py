"""Ages of signs of life: how long ago a watch elsewhere was last heard, by MQTT and by HTTPS.

This is what makes the listener at another site out of the same program: its rig has no sensors
but these ages, and a limit on an age calls people when a watch has gone silent. What is heard
only resets an age; whatever goes wrong here or there, the age goes on growing, and calls.

An address names a board: `ostrel-1`, then `by=mqtt` or `by=http` for one way alone, or `what=storm`
(the age while the last sign said storm footing, else 0) or `what=clock` (how far its wall clock is
from ours).
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.inputs import Moment
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sign import Sign, from_json, is_newer
from monitor.sources import polled
from monitor.sources.addresses import KEYS, OPTIONS, FullPath, Sheet, fit, read_keys, split
from monitor.sources.base import Complaints, Secrets, Source
from monitor.sources.mqtt import MqttOptions, Subscription
from monitor.sources.polled import PolledSource, Value
from monitor.sources.sign_door import Door, DoorSetup

PROBLEMS = polled.PROBLEMS
"""Every problem word of this driver: an age is never missing."""

END_WITHIN = 2.0
"""Seconds that each listening thread is given to end."""


@checked(frozen=True, slots=True, config=OPTIONS)
class SignsOptions:
    """host, port ... topic: a broker to listen at. listen: an address and port of our own, such as
    "0.0.0.0:8443", for signs by HTTPS, with certificate, key and the name of the shared token."""

    host: str = ""
    port: Annotated[int, Field(ge=1, le=65_535)] | None = None
    user: str = ""
    password_secret: str = ""
    tls: bool = False
    ca_file: str = ""
    topic: Annotated[str, Field(pattern=r"^[^+#]{1,100}$")] = "holdwater/life"
    listen: Annotated[str, Field(pattern=r"^$|^[0-9A-Za-z.:\[\]-]+:[0-9]{1,5}$")] = ""
    cert_file: FullPath | None = None
    key_file: FullPath | None = None
    token_secret: str = ""
    plain_http: bool = False


@checked(frozen=True, slots=True, config=KEYS)
class PointKeys:
    """What of a board, and heard by which way."""

    what: Literal["age", "storm", "clock"] = "age"
    by: Literal["any", "mqtt", "http"] = "any"


@dataclass(frozen=True, slots=True)
class Point:
    """One tag: a board, what of it, and by which way."""

    board: str
    keys: PointKeys


def signs(setup: SourceSetup, rig: Rig, secrets: Secrets) -> Source:
    """Listens for signs of life. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(SignsOptions)
    points = sheet.points(_point)
    if read is not None:
        _check(sheet, read, secrets)
    options = sheet.sound(read)

    def connect(clock: Clock, complaints: Complaints) -> "_Room":
        return _Room(options, points, secrets, clock, complaints)

    return PolledSource(setup.id, sheet.tags, connect)


def _point(tag: Tag) -> Point:
    fit(tag, "age")
    board, keys = split(tag.address)
    return Point(board, read_keys(PointKeys, keys))


def _check(sheet: Sheet, options: SignsOptions, secrets: Secrets) -> None:
    if not options.host and not options.listen:
        sheet.problem("host", "is missing, and listen too: nothing would be heard", "Give one")
    for key in ("password_secret", "token_secret"):
        name = getattr(options, key)
        if name and name not in secrets:
            sheet.problem(key, f"there is no secret named {name!r}", "Add it")
    if bool(options.user) != bool(options.password_secret):
        sheet.problem("user", "is wanted together with password_secret", "Give both, or neither")
    if not options.listen:
        return
    if not options.token_secret:
        sheet.problem("token_secret", "is missing", "Without it anybody could feign a sign")
    if not options.plain_http and not (options.cert_file and options.key_file):
        wrong = "is missing: a token must not cross the net in clear"
        remedy = "Give cert_file and key_file, or say plain_http = true in your own net"
        sheet.problem("cert_file", wrong, remedy)


class Ages:
    """When each board was last heard by each way. May be told from any thread."""

    def __init__(self, start: float) -> None:
        self._start = start
        self._lock = threading.Lock()
        self._heard: dict[tuple[str, str], tuple[Sign, Moment]] = {}

    def hear(self, way: str, sign: Sign, now: Moment) -> bool:
        """Take a sign; False for one that shows no progress."""
        with self._lock:
            last = self._heard.get((sign.board, way))
            if not is_newer(sign, last[0] if last is not None else None):
                return False
            self._heard[sign.board, way] = sign, now
        return True

    def value(self, point: Point, now: Moment) -> float | None:
        """Seconds for one tag; None while there is nothing to say."""
        latest = self._latest(point)
        age = now.elapsed - (latest[1].elapsed if latest is not None else self._start)
        if point.keys.what == "age":
            return age
        if point.keys.what == "storm":
            return age if latest is not None and latest[0].storm else 0.0
        if latest is None or not (latest[0].trusted and latest[1].trusted):
            return None
        return abs(latest[0].utc - latest[1].utc)

    def _latest(self, point: Point) -> tuple[Sign, Moment] | None:
        ways = ("mqtt", "http") if point.keys.by == "any" else (point.keys.by,)
        with self._lock:
            found = [self._heard[key] for way in ways if (key := (point.board, way)) in self._heard]
        return max(found, key=lambda item: item[1].elapsed, default=None)


class _Room:
    """Where signs come in: a subscription, a door, or both, each in a thread of its own."""

    def __init__(
        self,
        options: SignsOptions,
        points: dict[str, Point],
        secrets: Secrets,
        clock: Clock,
        complaints: Complaints,
    ) -> None:
        self._options = options
        self._points = points
        self._secrets = secrets
        self._clock = clock
        self._complaints = complaints
        self._ages = Ages(clock.now().elapsed)
        self._boards = {point.board for point in points.values()}
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []

    def read(self, tag: Tag) -> Value | None:
        if not self._threads:
            self._begin()
        seconds = self._ages.value(self._points[tag.id], self._clock.now())
        return None if seconds is None else (tag.unit.from_si(seconds), "")

    def close(self) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(END_WITHIN)

    def _begin(self) -> None:
        if self._options.host:
            self._start(self._subscription().run)
        if self._options.listen:
            self._start(self._door().run)

    def _start(self, run: Callable[[Clock, threading.Event], None]) -> None:
        thread = threading.Thread(target=run, args=(self._clock, self._stop), daemon=True)
        self._threads.append(thread)
        thread.start()

    def _subscription(self) -> Subscription:
        options = self._options
        broker = MqttOptions(
            host=options.host,
            port=options.port,
            user=options.user,
            password_secret=options.password_secret,
            tls=options.tls,
            ca_file=options.ca_file,
        )
        topics = tuple(f"{options.topic}/{board}" for board in sorted(self._boards))
        password = self._secrets.get(options.password_secret)
        return Subscription(
            broker, password, topics, self._complaints, self._by_mqtt, lambda _topic: None
        )

    def _door(self) -> Door:
        options = self._options
        token = self._secrets[options.token_secret]
        setup = DoorSetup(options.listen, token, options.cert_file, options.key_file)
        return Door(setup, lambda data: self._take("http", data), self._complaints)

    def _by_mqtt(self, topic: str, payload: bytes) -> None:
        try:
            sign = self._take("mqtt", payload)
        except ValueError as error:
            self._complaints.note("no sign of life", error)
            return
        if not topic.endswith(f"/{sign.board}"):
            self._complaints.note("sign of another board", topic)

    def _take(self, way: str, data: bytes) -> Sign:
        """Take one document. ValueError with words fit for a log."""
        sign = from_json(data)
        if sign.board not in self._boards:
            raise ValueError(f"board {sign.board[:20]!r} is not listened for")
        if not self._ages.hear(way, sign, self._clock.now()):
            self._complaints.note("sign without progress", f"{way} {sign.board}")
        return sign
