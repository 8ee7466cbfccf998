"""A real IMAP server with one mailbox in memory, and a front that speaks TLS and can cut lines."""

import imaplib
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress

from real.servers import HOST, PASSWORD, PATIENCE, USER, Certificates, free_port

START = "from pymap.main import main; main()"


class MailServer:
    """An IMAP server of its own process. It offers STARTTLS if it gets certificates."""

    def __init__(self, certificates: Certificates | None) -> None:
        self.port = free_port()
        self._certificates = certificates
        self._client: imaplib.IMAP4 | None = None
        account = ("dict", "--demo-user", USER, "--demo-password", PASSWORD)
        keys = (
            ("--cert", str(certificates.chain), "--key", str(certificates.key))
            if certificates is not None
            else ("--no-tls",)
        )
        listen = ("--host", HOST, "--port", str(self.port))
        self._process = subprocess.Popen(
            [sys.executable, "-c", START, *listen, *keys, *account], stderr=subprocess.DEVNULL
        )
        self._wait_until_it_listens()

    def _wait_until_it_listens(self) -> None:
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            with suppress(OSError), socket.create_connection((HOST, self.port), PATIENCE):
                return
            assert self._process.poll() is None, "the IMAP server did not start"
            time.sleep(0.02)
        raise AssertionError("the IMAP server does not listen")

    def _open(self) -> imaplib.IMAP4:
        """The client of the test itself, in the inbox; a log-in is slow, so there is one."""
        if self._client is None:
            self._client = client = imaplib.IMAP4(HOST, self.port, timeout=PATIENCE)
            if self._certificates is not None:
                client.starttls(ssl.create_default_context(cafile=str(self._certificates.ca)))
            client.login(USER, PASSWORD)
            client.select("INBOX")
        return self._client

    def empty(self) -> None:
        """Delete all mails."""
        self._open().store("1:*", "+FLAGS", r"(\Deleted)")
        self._open().expunge()

    def deliver(self, *mails: bytes, date: str = "") -> None:
        """Put mails into the inbox. date: when they came, now if left out."""
        for mail in mails:
            self._open().append("INBOX", "", f'"{date}"' if date else "", mail)

    def unseen(self) -> int:
        """How many mails of the inbox are not marked."""
        self._open().noop()
        return len(self._open().uid("SEARCH", "UNSEEN")[1][0].split())

    def stop(self) -> None:
        """End it, as a crash would. Stopping twice changes nothing."""
        if self._client is not None:
            self._client.shutdown()
            self._client = None
        self._process.kill()
        self._process.wait()


class TlsFront:
    """Takes TLS connections and passes them on in clear, as many mail servers are set up.

    `cut` closes every connection, as a network that fails does.
    """

    def __init__(self, certificates: Certificates, behind: int) -> None:
        self._behind = behind
        self._pairs: list[socket.socket] = []
        self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self._context.load_cert_chain(certificates.chain, certificates.key)
        self._listener = socket.create_server((HOST, 0))
        self.port: int = self._listener.getsockname()[1]
        self.connections = 0
        self._threads: list[threading.Thread] = []
        self._begin(self._accept)

    def _begin(self, body: Callable[..., None], *given: socket.socket) -> None:
        thread = threading.Thread(target=body, args=given, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            try:
                plain, _ = self._listener.accept()
            except OSError:
                return
            self._begin(self._serve, plain)

    def _serve(self, plain: socket.socket) -> None:
        try:
            outer = self._context.wrap_socket(plain, server_side=True)
        except OSError:
            plain.close()  # a client that does not trust us
            return
        self.connections += 1
        with outer, socket.create_connection((HOST, self._behind)) as inner:
            self._pairs += [outer, inner]
            back = threading.Thread(target=_pass, args=(inner, outer), daemon=True)
            back.start()
            _pass(outer, inner)
            back.join()

    def cut(self) -> None:
        for end in self._pairs:
            with suppress(OSError):
                socket.socket.shutdown(end, socket.SHUT_RDWR)
        self._pairs.clear()

    def stop(self) -> None:
        """Take no more connections, and cut those that stand."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.cut()
        for thread in self._threads:
            thread.join(PATIENCE)


def _pass(source: socket.socket, target: socket.socket) -> None:
    """Everything from one end to the other, until one of them is gone."""
    with suppress(OSError):
        while data := source.recv(65_536):
            target.sendall(data)
    for end in (source, target):
        with suppress(OSError):
            socket.socket.shutdown(end, socket.SHUT_RDWR)
