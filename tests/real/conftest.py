"""Fixtures with real servers: `broker`, `mail_server`, `tls_mail_server`, and the real clock."""

import logging
import queue
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.clock import Clock, SystemClock, always_trusted
from real.servers import PATIENCE, Broker, Certificates, MailServer, make_certificates


def pytest_configure(config: pytest.Config) -> None:
    """Let one library off: aiosmtpd 1.4.6."""
    # It sets, at each log-in, a session attribute that it has deprecated itself.
    config.addinivalue_line(
        "filterwarnings", "ignore:Session.login_data is deprecated:DeprecationWarning"
    )
    # With TLS from the first byte there is no STARTTLS to require, which it takes for careless.
    config.addinivalue_line("filterwarnings", "ignore:Requiring AUTH while not:UserWarning")


@pytest.fixture(scope="session")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    """One set of certificates for all servers."""
    return make_certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture
def stopped_broker(tmp_path: Path, certificates: Certificates) -> Iterator[Broker]:
    """A mosquitto that is not running yet."""
    broker = Broker(tmp_path, certificates)
    yield broker
    broker.stop()


@pytest.fixture
def broker(stopped_broker: Broker) -> Broker:
    """A running mosquitto: see real.servers.Broker."""
    stopped_broker.start()
    return stopped_broker


@pytest.fixture
def mail_server(certificates: Certificates) -> Iterator[MailServer]:
    """A running mail server with STARTTLS and log-in: see real.servers.MailServer."""
    server = MailServer(certificates)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def tls_mail_server(certificates: Certificates) -> Iterator[MailServer]:
    """A running mail server that speaks TLS from the first byte."""
    server = MailServer(certificates, implicit_tls=True)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def clock() -> Clock:
    """The clock of this machine."""
    return SystemClock(boot=1, base=0.0, trusted=always_trusted)


class LogLines:
    """What the program logs, to be waited for; `so_far` holds every line that came."""

    def __init__(self) -> None:
        self.so_far: list[str] = []
        self._lines: queue.Queue[str] = queue.Queue()

    def take(self, record: logging.LogRecord) -> bool:
        self.so_far.append(record.getMessage())
        self._lines.put(record.getMessage())
        return True

    def wait_for(self, words: str) -> str:
        """The next line that holds these words; queue.Empty when none comes in time."""
        while words not in (line := self._lines.get(timeout=PATIENCE)):
            continue
        return line


@pytest.fixture
def log_lines(caplog: pytest.LogCaptureFixture) -> LogLines:
    """The log lines of holdwater from here on."""
    lines = LogLines()
    caplog.set_level(logging.INFO, logger="monitor")
    caplog.handler.addFilter(lines.take)
    return lines
