"""Readings that come by MQTT (3.1.1 or 5.0): connect, subscribe, and come back for ever.

The network loop of paho runs in the thread of the source itself, one short turn at a time, and a
new client is made for every connection. So whatever goes wrong inside (a broker that is not
there, a name that does not resolve, a refused password, a bad certificate, a malformed packet)
comes up here as an error, is logged, and is followed by the next attempt. Loss is not reported
to the watch: the readings stop, and silence is what the watch calls on.

Where each rule comes from, and what was measured: docs/reference/sources-mqtt.md.
"""

import logging
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.clock import Clock
from monitor.errors import Problem, SetupError
from monitor.inputs import Reading
from monitor.rig import Rig
from monitor.setup import SourceSetup
from monitor.sources.base import Complaints, Secrets, read_options
from monitor.sources.payload import LONGEST_PAYLOAD, parse, parse_address
from monitor.units import STATES

log = logging.getLogger(__name__)

FIRST_WAIT = 1.0
LONGEST_WAIT = 30.0
"""Seconds before the next attempt: doubled from the first to the longest. A broker that comes up
late after a power failure is then found within half a minute. Common practice, no source."""

STEADY = 60.0
"""A connection that stood so long (s) ends a row of failures: the next wait is the first again.
Two clients of one name throw each other out at once; they do not pass this and slow down."""

TURN = 0.5
"""Seconds of one turn of the network loop; a stop is heard after it."""

CONNECT_TIMEOUT = 10.0
"""Seconds for the connection and for the TLS handshake, each."""

LARGEST_PACKET = LONGEST_PAYLOAD + 65_536 + 1024
"""Bytes of payload, topic and the rest that an MQTT 5 broker may send us in one packet."""

Put = Callable[[Reading], None]


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class MqttOptions:
    """How to reach one broker. keepalive in s; port None is 1883, with TLS 8883."""

    host: Annotated[str, Field(min_length=1)]
    port: Annotated[int, Field(ge=1, le=65_535)] | None = None
    version: Literal["3.1.1", "5", 5] = "3.1.1"
    user: str = ""
    password_secret: str = ""
    tls: bool = False
    ca_file: str = ""
    client_id: str = ""
    keepalive: Annotated[int, Field(ge=5, le=65_535)] = 30
    take_retained: bool = False


@dataclass(frozen=True, slots=True)
class Route:
    """One tag fed by a topic: the way to its field, and whether it is a state."""

    tag: str
    path: tuple[str, ...]
    state: bool


class MqttSource:
    """One broker. Building it checks options, secret and addresses; SetupError names them all."""

    def __init__(self, setup: SourceSetup, rig: Rig, secrets: Secrets) -> None:
        self.id = setup.id
        place = f"source {setup.id}"
        options, problems = read_options(MqttOptions, setup.options, place)
        if options is not None:
            problems += _clashes(options, secrets, place)
        self._routes, wrong = _routes(setup.id, rig)
        problems += wrong
        if options is None or problems:
            raise SetupError(problems)
        self._options = options
        self._password = secrets.get(options.password_secret)

    def run(self, put: Put, clock: Clock, stop: threading.Event) -> None:
        """Deliver readings until `stop` is set; every failure is followed by the next attempt."""
        complaints = Complaints(self.id, clock)
        routing = _Routing(self._routes, put, clock, complaints)
        Subscription(
            self._options,
            self._password,
            tuple(self._routes),
            complaints,
            routing.take,
            routing.refused,
        ).run(clock, stop)


class Subscription:
    """A connection to one broker that comes back for ever, and what its topics bring.

    take: called with topic and payload of each message; what it raises is noted. refused: called
    with a topic that the broker does not let us have.
    """

    def __init__(
        self,
        options: MqttOptions,
        password: str | None,
        topics: tuple[str, ...],
        complaints: Complaints,
        take: Callable[[str, bytes], None],
        refused: Callable[[str], None],
    ) -> None:
        self._options = options
        self._password = password
        self._topics = topics
        self._complaints = complaints
        self._take = take
        self._refused = refused
        self._asked: dict[int | None, str] = {}

    def run(self, clock: Clock, stop: threading.Event) -> None:
        """Stay connected until `stop` is set."""
        wait = FIRST_WAIT
        while not stop.is_set():
            began = clock.now().elapsed
            try:
                self._connection(stop)
            except Exception as error:  # noqa: BLE001 - whatever it was, the next attempt follows
                self._complaints.note("no connection", f"{type(error).__name__}: {error}")
            now = clock.now().elapsed
            if now - began >= STEADY:
                wait = FIRST_WAIT
            clock.wait(stop, now + wait)
            wait = min(2 * wait, LONGEST_WAIT)

    def _connection(self, stop: threading.Event) -> None:
        """One connection, from the attempt to its end."""
        options = self._options
        client = self._client()
        properties = None
        if options.version != "3.1.1":
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.MaximumPacketSize = LARGEST_PACKET
        state = MQTTErrorCode.MQTT_ERR_SUCCESS
        try:
            port = options.port or (8883 if options.tls else 1883)
            client.connect(options.host, port, options.keepalive, properties=properties)
            while state == MQTTErrorCode.MQTT_ERR_SUCCESS and not stop.is_set():
                state = client.loop(TURN)
        finally:
            client.disconnect()
        if state != MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._complaints.note("connection ended", paho.error_string(state))

    def _client(self) -> paho.Client:
        """A client that starts clean: nothing of an earlier connection comes late."""
        options = self._options
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=options.client_id,
            protocol=paho.MQTTv311 if options.version == "3.1.1" else paho.MQTTv5,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECT_TIMEOUT
        if options.user:
            client.username_pw_set(options.user, self._password)
        if options.tls:
            client.tls_set_context(_tls_context(options.ca_file))
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def _on_connect(
        self, client: paho.Client, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._complaints.note("refused by the broker", reason)
            return
        log.info(
            "source=%s connected=%s topics=%d",
            self._complaints.source,
            client.host,
            len(self._topics),
        )
        self._asked = {client.subscribe(topic, qos=1)[1]: topic for topic in self._topics}

    def _on_subscribe(
        self,
        _client: paho.Client,
        _data: Any,
        mid: int,
        reasons: list[ReasonCode],
        _properties: Any,
    ) -> None:
        topic = self._asked.get(mid, "")
        if any(reason.is_failure for reason in reasons):
            self._complaints.note("topic refused by the broker", topic)
            self._refused(topic)

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        """Hand over, nothing else: an error here would end the connection."""
        try:
            if message.retain and not self._options.take_retained:
                self._complaints.note("retained message not taken", message.topic)
            else:
                self._take(message.topic, bytes(message.payload))
        except Exception as error:  # noqa: BLE001 - one message must not cost the others
            self._complaints.note("message lost", f"{type(error).__name__}: {error}")


class _Routing:
    """What becomes of the messages of a broker: readings of the tags of their topics."""

    def __init__(
        self,
        routes: dict[str, tuple[Route, ...]],
        put: Put,
        clock: Clock,
        complaints: Complaints,
    ) -> None:
        self._routes = routes
        self._put = put
        self._clock = clock
        self._complaints = complaints

    def take(self, topic: str, payload: bytes) -> None:
        for route in self._routes.get(topic, ()):
            value, problem = parse(payload, route.path, route.state)
            if problem:
                self._complaints.note(problem, f"tag {route.tag}, payload {payload[:40]!r}")
            self._deliver(route.tag, value, problem)

    def refused(self, topic: str) -> None:
        for route in self._routes.get(topic, ()):
            self._deliver(route.tag, None, "topic refused by the broker")

    def _deliver(self, tag: str, value: float | None, problem: str) -> None:
        self._put(Reading(tag, self._clock.now(), value, problem))


def _tls_context(ca_file: str) -> ssl.SSLContext:
    """Certificates and names are always verified; by the authorities of the system if no file."""
    try:
        return ssl.create_default_context(cafile=ca_file or None)
    except OSError as error:
        raise OSError(f"ca_file {ca_file}: {error}") from error


def _routes(source: str, rig: Rig) -> tuple[dict[str, tuple[Route, ...]], list[Problem]]:
    """The tags of this source by topic; one topic may feed several."""
    routes: dict[str, tuple[Route, ...]] = {}
    problems: list[Problem] = []
    remedy = "Write topic, or topic#key.key for a field of JSON"
    for tag in rig.tags:
        if tag.source != source:
            continue
        try:
            address = parse_address(tag.address)
        except ValueError as error:
            wrong = f"{tag.address!r} {error}"
            problems.append(Problem(f"tag {tag.id}", None, "address", wrong, remedy))
            continue
        route = Route(tag.id, address.path, tag.measures in STATES)
        routes[address.topic] = (*routes.get(address.topic, ()), route)
    return routes, problems


def _clashes(options: MqttOptions, secrets: Secrets, place: str) -> list[Problem]:
    """What no single option shows: secrets that are missing, options that need another."""
    secret, ca_file = options.password_secret, options.ca_file
    checks = (
        (
            bool(secret) and secret not in secrets,
            "password_secret",
            f"there is no secret named {secret!r}",
            "Add it to the secrets, or correct the name",
        ),
        (bool(secret) and not options.user, "user", "is missing", "Give it with password_secret"),
        (bool(ca_file) and not options.tls, "ca_file", "is of no use", "Set tls = true"),
        (
            bool(ca_file) and not Path(ca_file).is_absolute(),
            "ca_file",
            f"{ca_file!r} is not a full path",
            "Begin it with /",
        ),
    )
    return [
        Problem(place, None, key, wrong, remedy) for is_so, key, wrong, remedy in checks if is_so
    ]
