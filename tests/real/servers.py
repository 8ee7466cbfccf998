"""A real broker and a real mail server for the tests, on free loopback ports, both with TLS."""

# ruff: noqa: N802 - aiosmtpd finds its methods by these names

import asyncio
import itertools
import os
import queue
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword
from paho.mqtt import publish

HOST = "127.0.0.1"
USER = "watch"
PASSWORD = "larvae-need-water"
PATIENCE = 10.0
"""Seconds after which a real process is taken for stuck; a test that works never waits so long."""


def _worker() -> int:
    """Number of this test process among those that run side by side."""
    return int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))


_ports = itertools.count(21_000 + 1_000 * _worker())
"""Each process has a thousand ports of its own, below those that the system hands out, so that no
other takes one between the look and the server's start."""


def free_port() -> int:
    """A port nobody listens on, and that this run gives out once."""
    for port in _ports:
        with socket.socket() as probe:
            try:
                probe.bind((HOST, port))
            except OSError:
                continue
            return port
    raise AssertionError("no port is left")


@dataclass(frozen=True, slots=True)
class Certificates:
    """A certificate of 127.0.0.1, the authority that signed it, and one that did not."""

    ca: Path
    other_ca: Path
    chain: Path
    key: Path


def make_certificates(folder: Path) -> Certificates:
    """Issue and write a set of certificates."""
    files = Certificates(*(folder / f"{name}.pem" for name in ("ca", "other-ca", "chain", "key")))
    authority = trustme.CA()
    authority.cert_pem.write_to_path(files.ca)
    trustme.CA().cert_pem.write_to_path(files.other_ca)
    server = authority.issue_cert(HOST)
    server.private_key_pem.write_to_path(files.key)
    for part in server.cert_chain_pems:
        part.write_to_path(files.chain, append=True)
    return files


class Broker:
    """A mosquitto with a plain and a TLS listener that both ask for user and password.

    It is not running until `start`. What it logs can be waited for, so no test needs to guess
    how long something takes.
    """

    host = HOST
    user = USER
    password = PASSWORD

    def __init__(self, folder: Path, certificates: Certificates) -> None:
        self.ca = certificates.ca
        self.other_ca = certificates.other_ca
        self.port = free_port()
        self.tls_port = free_port()
        self._config = folder / "mosquitto.conf"
        self._log: queue.Queue[str] = queue.Queue()
        self._process: subprocess.Popen[str] | None = None
        self._reader: threading.Thread | None = None
        self._write_config(folder / "passwords", certificates)

    def _write_config(self, passwords: Path, certificates: Certificates) -> None:
        subprocess.run(
            ["mosquitto_passwd", "-b", "-c", str(passwords), self.user, self.password], check=True
        )
        lines = [
            "allow_anonymous false",
            f"password_file {passwords}",
            "persistence false",
            "log_dest stderr",
            "log_type all",
            f"listener {self.port} {HOST}",
            f"listener {self.tls_port} {HOST}",
            f"cafile {certificates.ca}",
            f"certfile {certificates.chain}",
            f"keyfile {certificates.key}",
        ]
        if os.geteuid() == 0:
            lines.append("user root")  # else it drops to a user that cannot read these files
        self._config.write_text("\n".join(lines) + "\n")

    def start(self) -> None:
        self._process = subprocess.Popen(
            ["mosquitto", "-c", str(self._config)], stderr=subprocess.PIPE, text=True
        )
        self._reader = threading.Thread(target=self._read, args=(self._process,), daemon=True)
        self._reader.start()
        self.wait_for("running")

    def _read(self, process: "subprocess.Popen[str]") -> None:
        assert process.stderr is not None
        with process.stderr as lines:
            for line in lines:
                self._log.put(line.rstrip())

    def stop(self) -> None:
        """Kill it, as a power failure would. Stopping a stopped one changes nothing."""
        if self._process is not None and self._reader is not None:
            self._process.kill()
            self._process.wait(PATIENCE)
            self._reader.join(PATIENCE)
            self._process = None

    def restart(self) -> None:
        self.stop()
        self.start()

    def wait_for(self, words: str, within: float = PATIENCE) -> str:
        """The next line of its log that holds these words; lines before it are used up."""
        end = time.monotonic() + within
        seen: list[str] = []
        while True:
            try:
                seen.append(self._log.get(timeout=max(0.0, end - time.monotonic())))
            except queue.Empty:
                raise AssertionError(f"no {words!r} in the log of the broker: {seen}") from None
            if words in seen[-1]:
                return seen[-1]

    def publish(self, *messages: tuple[str, bytes], retain: bool = False) -> None:
        """Publish (topic, payload) pairs in this order, over one connection."""
        publish.multiple(
            [(topic, payload, 1, retain) for topic, payload in messages],
            hostname=self.host,
            port=self.port,
            auth={"username": self.user, "password": self.password},
        )


class MailServer:
    """An aiosmtpd server that asks for TLS and a log-in, and misbehaves where it is told to.

    messages: the mails it took, as parsed; envelopes: the same as they came.
    """

    host = HOST
    user = USER
    password = PASSWORD

    def __init__(self, certificates: Certificates, implicit_tls: bool = False) -> None:
        self.ca = certificates.ca
        self.other_ca = certificates.other_ca
        self.port = free_port()
        self.messages: list[EmailMessage] = []
        self.envelopes: list[Envelope] = []
        self.connections: set[_Server] = set()
        self._tricks: dict[str, tuple[str, int]] = {}
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(certificates.chain, certificates.key)
        self._controller = _Controller(self, context, implicit_tls)

    def start(self) -> None:
        self._controller.start()

    def stop(self) -> None:
        """Drop whoever is still connected, and end."""
        asyncio.run_coroutine_threadsafe(self._drop_all(), self._controller.loop).result(PATIENCE)
        self._controller.stop()

    async def _drop_all(self) -> None:
        for connection in self.connections:
            connection.abort()
        while self.connections:
            await asyncio.sleep(0)

    def misbehave(self, step: str, how: str, times: int = 1_000_000) -> None:
        """At a step ("connect", "EHLO", "STARTTLS", "AUTH", "MAIL", "RCPT", "DATA", "dot", "QUIT")
        "hang", "drop" the connection, or give this reply; so many times, then behave again.
        """
        self._tricks[step] = (how, times)

    def trick(self, step: str) -> str:
        """What to do at this step now: "" for what is right."""
        how, times = self._tricks.get(step, ("", 0))
        if times > 0:
            self._tricks[step] = (how, times - 1)
        return how if times > 0 else ""

    def is_login(
        self, _server: Any, _session: Any, _envelope: Any, _mechanism: str, data: Any
    ) -> AuthResult:
        right = LoginPassword(self.user.encode(), self.password.encode())
        # Not "handled": only then does aiosmtpd answer with 535.
        return AuthResult(success=data == right, handled=False, auth_data=data)

    async def handle_DATA(self, server: "_Server", _session: Any, envelope: Envelope) -> str:
        server.step = "dot"
        reply = await server.play()
        if reply:
            return reply
        assert isinstance(envelope.content, bytes)
        parsed = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(parsed, EmailMessage)
        self.envelopes.append(envelope)
        self.messages.append(parsed)
        return "250 2.0.0 taken"


class _Controller(Controller):
    def __init__(self, owner: MailServer, context: ssl.SSLContext, implicit_tls: bool) -> None:
        super().__init__(
            owner, hostname=HOST, port=owner.port, ssl_context=context if implicit_tls else None
        )
        self._owner = owner
        self._implicit_tls = implicit_tls
        self._context = context

    def factory(self) -> SMTP:
        security: dict[str, Any] = (
            {"auth_require_tls": False}
            if self._implicit_tls
            else {"tls_context": self._context, "require_starttls": True, "auth_require_tls": True}
        )
        return _Server(
            self._owner,
            hostname="mail.example.org",
            auth_required=True,
            authenticator=self._owner.is_login,
            loop=self.loop,
            **security,
        )


class _Server(SMTP):
    """Notes the step it is at, and plays the trick its owner has for it."""

    step = "connect"

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.event_handler.connections.add(self)
        super().connection_made(transport)

    def connection_lost(self, error: Exception | None) -> None:
        self.event_handler.connections.discard(self)
        super().connection_lost(error)

    def abort(self) -> None:
        """Cut the connection without a word."""
        if isinstance(self.transport, asyncio.WriteTransport):
            self.transport.abort()

    async def play(self) -> str:
        """Hang, drop, or return the reply to give instead of the right one ("" for none)."""
        how = self.event_handler.trick(self.step)
        if how == "drop":
            self.abort()
        if how in ("hang", "drop"):
            await asyncio.Event().wait()  # until the connection is lost or the server stops
        return str(how)

    async def _at(self, step: str, method: Callable[[str], Awaitable[None]], arg: str) -> None:
        self.step = step
        reply = await self.play()
        await (self.push(reply) if reply else method(arg))

    async def _handle_client(self) -> None:
        reply = await self.play()
        if reply:
            await self.push(reply)
            return
        await super()._handle_client()

    async def smtp_EHLO(self, hostname: str) -> None:
        await self._at("EHLO", super().smtp_EHLO, hostname)

    async def smtp_STARTTLS(self, arg: str) -> None:
        await self._at("STARTTLS", super().smtp_STARTTLS, arg)

    async def smtp_AUTH(self, arg: str) -> None:
        await self._at("AUTH", super().smtp_AUTH, arg)

    async def smtp_MAIL(self, arg: str | None) -> None:
        await self._at("MAIL", super().smtp_MAIL, arg or "")

    async def smtp_RCPT(self, arg: str | None) -> None:
        await self._at("RCPT", super().smtp_RCPT, arg or "")

    async def smtp_DATA(self, arg: str) -> None:
        await self._at("DATA", super().smtp_DATA, arg)

    async def smtp_QUIT(self, arg: str) -> None:
        await self._at("QUIT", super().smtp_QUIT, arg)
