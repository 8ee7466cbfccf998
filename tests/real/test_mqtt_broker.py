"""The MQTT source against a real broker: readings come, and come again after every failure."""

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from monitor.clock import Clock
from monitor.inputs import Reading
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import DRIVERS
from monitor.sources.base import Source
from monitor.sources.payload import LONGEST_PAYLOAD
from monitor.units import unit_of
from real.conftest import LogLines
from real.servers import PATIENCE, Broker

TAGS = (
    ("QL", "flow", "tavrin/flow"),
    ("LH", "level", "tavrin/header#level.cm"),
    ("FS", "float", "tavrin/header#float"),
    ("MS", "mains", "tavrin/mains"),
)

HOSTILE = (
    b"",
    b"nan",
    b"-Infinity",
    b"1e400",
    b"true",
    b"\x00\xff\xfe\x80",
    b"[" * 60_000,
    b'{"a":' * 10_000,
    b"9" * 60_000,
    b"x" * (LONGEST_PAYLOAD + 1),
    b"{" + b"9" * 10_000_000,
)


def rig() -> Rig:
    """A rig whose tags all come by MQTT; two of them out of one JSON payload."""
    tags = tuple(
        Tag(id, measures, "LT1", unit_of(measures), "bus", address)
        for id, measures, address in TAGS
    )
    return Rig("board-1", "tavrin", "Tavrin", "America/Chicago", tags=tags)


def source(broker: Broker, **options: object) -> Source:
    """The driver under test, with a log-in that the broker knows unless told otherwise."""
    all_options: dict[str, object] = {
        "host": broker.host,
        "port": broker.port,
        "user": broker.user,
        "password_secret": "broker",
        **options,
    }
    secrets = {"broker": broker.password, "wrong": "not-the-password"}
    return DRIVERS["mqtt"](SourceSetup("bus", "mqtt", tuple(all_options.items())), rig(), secrets)


Readings = queue.Queue[Reading]


@contextmanager
def listening(
    source: Source, clock: Clock, put: Callable[[Reading], None] | None = None
) -> Iterator[Readings]:
    """Run a source in its own thread; on leaving, it must end when told to."""
    readings: Readings = queue.Queue()
    stop = threading.Event()
    thread = threading.Thread(target=source.run, args=(put or readings.put, clock, stop))
    thread.start()
    try:
        yield readings
    finally:
        stop.set()
        thread.join(PATIENCE)
        assert not thread.is_alive()


def wait_until_subscribed(broker: Broker) -> None:
    """Wait until the broker has answered the subscription of every topic."""
    for _ in range(3):
        broker.wait_for("Sending SUBACK")


def next_value(readings: Readings) -> tuple[str, float | None, str]:
    """The next reading without its moment."""
    reading = readings.get(timeout=PATIENCE)
    return reading.tag, reading.value, reading.problem


@pytest.mark.parametrize("version", ["3.1.1", "5", 5])
def test_readings_arrive(broker: Broker, clock: Clock, version: object) -> None:
    """A published number becomes a reading of its tag, stamped on arrival."""
    before = clock.now()
    with listening(source(broker, version=version), clock) as readings:
        wait_until_subscribed(broker)
        broker.publish(("tavrin/flow", b"6.0"))
        reading = readings.get(timeout=PATIENCE)
    assert ("QL", 6.0, "") == (reading.tag, reading.value, reading.problem)
    assert before.elapsed <= reading.moment.elapsed <= clock.now().elapsed


def test_one_topic_feeds_several_tags(broker: Broker, clock: Clock) -> None:
    """Two tags take their fields out of one JSON payload."""
    with listening(source(broker), clock) as readings:
        wait_until_subscribed(broker)
        broker.publish(("tavrin/header", b'{"level": {"cm": 37.5}, "float": "closed"}'))
        assert ("LH", 37.5, "") == next_value(readings)
        assert ("FS", 1.0, "") == next_value(readings)


@pytest.mark.parametrize("version", ["3.1.1", "5"])
def test_tls_with_the_right_authority(broker: Broker, clock: Clock, version: str) -> None:
    """Readings come over TLS when the certificate is signed by the authority in ca_file."""
    options = {"port": broker.tls_port, "tls": True, "ca_file": str(broker.ca), "version": version}
    with listening(source(broker, **options), clock) as readings:
        wait_until_subscribed(broker)
        broker.publish(("tavrin/mains", b"off"))
        assert ("MS", 0.0, "") == next_value(readings)


# paho leaves the socket of a failed handshake to the garbage collector, which closes it.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
@pytest.mark.parametrize("ca", ["other", "system"])
def test_tls_with_the_wrong_authority(
    broker: Broker, clock: Clock, log_lines: LogLines, ca: str
) -> None:
    """A certificate of an unknown authority is not accepted: no user name is ever sent."""
    ca_file = str(broker.other_ca) if ca == "other" else ""
    options = {"port": broker.tls_port, "tls": True, "ca_file": ca_file}
    with listening(source(broker, **options), clock):
        line = log_lines.wait_for("trouble='no connection'")
        assert "certificate verify failed" in line
        assert "alert unknown ca" in broker.wait_for("OpenSSL Error")


def test_wrong_password_is_logged_once_a_minute(
    broker: Broker, clock: Clock, log_lines: LogLines
) -> None:
    """Attempts go on with a refused password, but the log tells it only once in a minute."""
    with listening(source(broker, password_secret="wrong"), clock):
        broker.wait_for("not authorised")
        broker.wait_for("not authorised")
    told = [line for line in log_lines.so_far if "refused by the broker" in line]
    assert 1 == len(told)
    assert "Not authorized" in told[0]
    assert not any("not-the-password" in line for line in log_lines.so_far)


def test_readings_resume_after_the_broker_was_killed(broker: Broker, clock: Clock) -> None:
    """A broker that died and came back is found again without help."""
    with listening(source(broker), clock) as readings:
        wait_until_subscribed(broker)
        broker.publish(("tavrin/flow", b"6.0"))
        assert ("QL", 6.0, "") == next_value(readings)
        broker.restart()
        wait_until_subscribed(broker)
        broker.publish(("tavrin/flow", b"5.9"))
        assert ("QL", 5.9, "") == next_value(readings)


def test_broker_started_after_the_source(
    stopped_broker: Broker, clock: Clock, log_lines: LogLines
) -> None:
    """A source that starts first waits for its broker."""
    with listening(source(stopped_broker), clock) as readings:
        assert "ConnectionRefusedError" in log_lines.wait_for("trouble='no connection'")
        stopped_broker.start()
        wait_until_subscribed(stopped_broker)
        stopped_broker.publish(("tavrin/flow", b"6.1"))
        assert ("QL", 6.1, "") == next_value(readings)


def test_name_that_does_not_resolve(broker: Broker, clock: Clock, log_lines: LogLines) -> None:
    """A host name nobody knows is trouble to log, not the end of the source."""
    with listening(source(broker, host="broker.invalid"), clock):
        assert "gaierror" in log_lines.wait_for("trouble='no connection'")


def test_host_name_that_cannot_be_one(broker: Broker, clock: Clock, log_lines: LogLines) -> None:
    """A host name that no resolver takes is trouble to log, too."""
    with listening(source(broker, host="b" * 300), clock):
        assert "UnicodeError" in log_lines.wait_for("trouble='no connection'")


def test_payload_storm_then_a_good_value(broker: Broker, clock: Clock, log_lines: LogLines) -> None:
    """Hostile payloads each give a reading without value; the good one after them arrives."""
    storm = [("tavrin/flow", payload) for payload in HOSTILE * 10]
    with listening(source(broker), clock) as readings:
        wait_until_subscribed(broker)
        broker.publish(*storm, ("tavrin/flow", b"6.0"))
        bad = [readings.get(timeout=PATIENCE) for _ in storm]
        assert ("QL", 6.0, "") == next_value(readings)
    assert {None} == {reading.value for reading in bad}
    assert all(reading.problem for reading in bad)
    assert 1 == sum("trouble='too long'" in line for line in log_lines.so_far)


def test_too_large_for_version_5(broker: Broker, clock: Clock) -> None:
    """With MQTT 5 the broker itself holds back what is far too large; the connection stands."""
    with listening(source(broker, version="5"), clock) as readings:
        wait_until_subscribed(broker)
        broker.publish(("tavrin/flow", b"9" * 1_000_000), ("tavrin/flow", b"6.0"))
        assert ("QL", 6.0, "") == next_value(readings)


@pytest.mark.parametrize("version", ["3.1.1", "5"])
def test_retained_message_is_no_fresh_reading(broker: Broker, clock: Clock, version: str) -> None:
    """What the broker kept from before is left out; the same message, sent now, is taken."""
    broker.publish(("tavrin/flow", b"9.9"), retain=True)
    with listening(source(broker, version=version), clock) as readings:
        wait_until_subscribed(broker)
        broker.publish(("tavrin/flow", b"6.0"), retain=True)
        assert ("QL", 6.0, "") == next_value(readings)


def test_retained_message_is_taken_on_request(broker: Broker, clock: Clock) -> None:
    """With take_retained, what the broker kept counts as a reading of now."""
    broker.publish(("tavrin/mains", b"on"), retain=True)
    with listening(source(broker, take_retained=True), clock) as readings:
        assert ("MS", 1.0, "") == next_value(readings)


def test_fault_of_the_inbox_does_not_end_the_connection(
    broker: Broker, clock: Clock, log_lines: LogLines
) -> None:
    """An error raised while a reading is put costs that reading only."""
    taken: Readings = queue.Queue()

    def put(reading: Reading) -> None:
        if reading.value == 1.0:
            raise RuntimeError("inbox broken")
        taken.put(reading)

    with listening(source(broker), clock, put):
        wait_until_subscribed(broker)
        broker.publish(("tavrin/flow", b"1.0"), ("tavrin/flow", b"2.0"))
        assert ("QL", 2.0, "") == next_value(taken)
    assert "inbox broken" in log_lines.wait_for("trouble='message lost'")
    assert 1 == sum("connected=" in line for line in log_lines.so_far)
