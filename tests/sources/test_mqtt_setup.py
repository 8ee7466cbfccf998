"""The MQTT source before any connection: its set-up, and how it waits between attempts."""

import threading
from dataclasses import fields
from pathlib import Path

import pytest

from monitor.errors import SetupError
from monitor.inputs import Moment, Reading
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import DRIVERS
from monitor.sources.base import Complaints
from monitor.sources.mqtt import MqttOptions, MqttSource, Subscription
from monitor.sources.payload import PROBLEMS, STATE_WORDS
from monitor.units import unit_of

REFERENCE = Path(__file__).parents[2] / "docs" / "reference"


def rig(*addresses: str) -> Rig:
    """A rig with one flow tag for each address, and one of another source."""
    tags = [
        Tag(f"Q{number}", "flow", "LT1", unit_of("flow"), "bus", address)
        for number, address in enumerate(addresses, 1)
    ]
    other = Tag("X", "flow", "LT1", unit_of("flow"), "other", "+")
    return Rig("board-1", "ostrel", "Ostrel", "America/Chicago", tags=(*tags, other))


def build(options: dict[str, object], *addresses: str) -> MqttSource:
    """Build the driver with one secret at hand."""
    setup = SourceSetup("bus", "mqtt", tuple(options.items()))
    return MqttSource(setup, rig(*addresses), {"broker": "secret-word"})


def test_table_builds_it() -> None:
    """The table of drivers gives the MQTT source under its kind."""
    setup = SourceSetup("bus", "mqtt", (("host", "broker.example.org"),))
    assert "bus" == DRIVERS["mqtt"](setup, rig("ostrel/flow"), {}).id


def test_every_problem_is_named_at_once() -> None:
    """Wrong options and wrong addresses come up together, each with place, key and remedy."""
    with pytest.raises(SetupError) as caught:
        build({"host": "", "port": "1883", "pasword": "secret-word"}, "a/#", "ok", "+/b")
    told = str(caught.value)
    assert ["host", "port", "pasword", "address", "address"] == [
        problem.key for problem in caught.value.problems
    ]
    assert "tag Q1: address: 'a/#' is a wildcard" in told
    assert "tag Q3: address: '+/b' is a wildcard" in told
    assert "secret-word" not in told


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({}, "host"),
        ({"host": "b", "port": 0}, "port"),
        ({"host": "b", "port": 65_536}, "port"),
        ({"host": "b", "port": True}, "port"),
        ({"host": "b", "version": "3.1"}, "version"),
        ({"host": "b", "tls": "no"}, "tls"),
        ({"host": "b", "tls_insecure": True}, "tls_insecure"),
        ({"host": "b", "keepalive": 0}, "keepalive"),
        ({"host": "b", "user": "u", "password_secret": "none"}, "password_secret"),
        ({"host": "b", "password_secret": "broker"}, "user"),
        ({"host": "b", "ca_file": "/ca.pem"}, "ca_file"),
        ({"host": "b", "tls": True, "ca_file": "ca.pem"}, "ca_file"),
    ],
)
def test_options_that_are_refused(options: dict[str, object], key: str) -> None:
    """Each wrong option is named by its key."""
    with pytest.raises(SetupError) as caught:
        build(options, "ostrel/flow")
    assert key in {problem.key.split(".")[0] for problem in caught.value.problems}


def test_reference_names_every_option_and_word() -> None:
    """The reference page lists each option, each problem word and each word for a state."""
    page = (REFERENCE / "sources-mqtt.md").read_text("utf-8")
    named = [f"\n| `{word}` |" for word in (*(f.name for f in fields(MqttOptions)), *PROBLEMS)]
    assert [] == [word for word in named if word not in page]
    assert [] == [word for word in STATE_WORDS if f"`{word}`" not in page]


class CountingClock:
    """A clock that jumps over every wait, notes it, and asks for a stop after some of them."""

    def __init__(self, waits: int) -> None:
        self.waits: list[float] = []
        self._left = waits
        self._elapsed = 100.0

    def advance(self, seconds: float) -> None:
        self._elapsed += seconds

    def now(self) -> Moment:
        return Moment(1, self._elapsed, 1_000_000.0 + self._elapsed)

    def wait(self, wake: threading.Event, until: float) -> None:
        self.waits.append(until - self._elapsed)
        self._elapsed = until
        if len(self.waits) == self._left:
            wake.set()


def unexpected(reading: Reading) -> None:
    """No reading can come without a connection."""
    raise AssertionError(reading)


def test_waits_grow_and_are_capped(caplog: pytest.LogCaptureFixture) -> None:
    """Attempts that fail go on for ever, at most half a minute apart, and fill no log."""
    source = build({"host": "b", "tls": True, "ca_file": "/nowhere/ca.pem"}, "ostrel/flow")
    clock = CountingClock(waits=8)
    source.run(unexpected, clock, threading.Event())
    assert [1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0, 30.0] == clock.waits
    first, second = (record.getMessage() for record in caplog.records)
    assert "count=1" in first
    assert "ca_file /nowhere/ca.pem: [Errno 2] No such file" in first
    assert "count=7" in second


def test_steady_connection_ends_a_row_of_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a connection that stood for a minute, the next attempt comes soon again."""
    clock = CountingClock(waits=6)
    lengths = iter([0.0, 0.0, 59.0, 60.0, 0.0, 0.0])
    monkeypatch.setattr(Subscription, "_connection", lambda *_: clock.advance(next(lengths)))
    build({"host": "b"}, "ostrel/flow").run(unexpected, clock, threading.Event())
    assert [1.0, 2.0, 4.0, 1.0, 2.0, 4.0] == clock.waits


def test_complaints_of_different_kinds_do_not_hide_each_other(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Each kind of trouble has its own minute, and all of it is counted."""
    complaints = Complaints("bus", CountingClock(waits=0))
    for kind in ("empty", "empty", "too long", "empty"):
        complaints.note(kind, "detail\nline")
    assert {"empty": 3, "too long": 1} == complaints.counts
    assert 2 == len(caplog.records)
    assert "detail\\nline" in caplog.records[0].getMessage()
