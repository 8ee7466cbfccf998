"""Signs of life by MQTT 3.1.1: one short connection a sign, so that nothing stands half open."""

import logging
import ssl
from typing import Annotated, Any

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode
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
from monitor.channels.beacon import NO_TEXTS
from monitor.clock import boottime
from monitor.errors import Problem
from monitor.setup import Channel
from monitor.sign import Sign, to_json

log = logging.getLogger(__name__)

DEADLINE = 15.0
"""Seconds for connection, sign and receipt together."""

TURN = 0.2
"""Seconds of one turn of the network loop."""


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class SignMqttOptions:
    """One broker. port None is 1883, with TLS 8883. The sign goes to TOPIC/BOARD, never retained.

    every: s between two signs.
    """

    host: Annotated[str, Field(min_length=1)]
    port: Annotated[int, Field(ge=1, le=65_535)] | None = None
    topic: Annotated[str, Field(pattern=r"^[^+#]{1,100}$")] = "holdwater/life"
    user: str = ""
    password_secret: str = ""
    tls: bool = False
    ca_file: str = ""
    every: Annotated[int | float, Field(ge=1, le=300)] = 60.0


class SignMqttChannel:
    """One broker. Building it checks options and secret; SetupError names all."""

    def __init__(self, setup: Channel, secrets: Secrets) -> None:
        self.id = setup.id
        self._options = options = checked_options(SignMqttOptions, setup, secrets, _clashes)
        self.every = float(options.every)
        self._password = secrets.get(options.password_secret)

    def send(self, _message: Message) -> Delivery:
        return Delivery("refused", NO_TEXTS)

    def send_sign(self, sign: Sign) -> str:
        try:
            _Attempt(self._options, self._password, sign).run()
        except (OSError, ValueError) as error:
            return one_line(f"{type(error).__name__}: {error}")[:150]
        return ""


class _Attempt:
    """One connection that publishes one sign and waits for its receipt (QoS 1)."""

    def __init__(self, options: SignMqttOptions, password: str | None, sign: Sign) -> None:
        self._options = options
        self._topic = f"{options.topic}/{sign.board}"
        self._payload = to_json(sign)
        self._is_received = False
        self._refusal = ""
        self._client = client = paho.Client(
            CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311, reconnect_on_failure=False
        )
        client.connect_timeout = DEADLINE
        if options.user:
            client.username_pw_set(options.user, password)
        if options.tls:
            client.tls_set_context(ssl.create_default_context(cafile=options.ca_file or None))
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish

    def run(self) -> None:
        """Raises OSError where no receipt came."""
        options, client = self._options, self._client
        until = boottime() + DEADLINE
        try:
            client.connect(options.host, options.port or (8883 if options.tls else 1883))
            while not self._is_received and not self._refusal:
                state = client.loop(TURN)
                if state != MQTTErrorCode.MQTT_ERR_SUCCESS and not self._refusal:
                    raise ConnectionError(paho.error_string(state))
                if boottime() >= until:
                    raise TimeoutError(f"no receipt in {DEADLINE:.0f} s")
        finally:
            client.disconnect()
        if self._refusal:
            raise ConnectionRefusedError(self._refusal)

    def _on_connect(
        self, client: paho.Client, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._refusal = f"refused by the broker: {reason}"
        else:
            client.publish(self._topic, self._payload, qos=1)

    def _on_publish(
        self, _client: paho.Client, _data: Any, _mid: int, _reason: ReasonCode, _properties: Any
    ) -> None:
        self._is_received = True


def _clashes(options: SignMqttOptions, secrets: Secrets, place: str) -> list[Problem]:
    """What no single option shows."""
    secret = options.password_secret
    checks = (
        no_secret("password_secret", secret, secrets),
        (bool(secret) != bool(options.user), "user", "is wanted together with password_secret",
         "Give both, or neither"),
        no_full_path("ca_file", options.ca_file),
        (bool(options.ca_file) and not options.tls, "ca_file", "is of no use without tls",
         "Write tls = true"),
    )  # fmt: skip
    return wrong_in(place, checks)
