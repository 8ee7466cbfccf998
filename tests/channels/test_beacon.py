"""Signs of life on their way out: only what the loop renewed is sent, and trouble is told."""

import threading

import pytest

from monitor.channels import CHANNELS, beacon
from monitor.channels.base import Delivery
from monitor.channels.beacon import Beacon, shine
from monitor.channels.hearing import Heard, Hooks, Listener
from monitor.clock import VirtualClock
from monitor.errors import SetupError
from monitor.inputs import DeliveryReport, Fault, Moment
from monitor.setup import Channel
from monitor.sign import Sign

NOW = Moment(1, 1_000.0, 1_792_304_400.0)


class Lamp:
    """A beacon that notes when it shone, and fails as it is told."""

    id = "lamp"
    every = 60.0

    def __init__(self, clock: VirtualClock) -> None:
        self.sent: list[tuple[float, Sign]] = []
        self.wrong = ""
        self._clock = clock

    def send_sign(self, sign: Sign) -> str:
        self.sent.append((self._clock.now().elapsed, sign))
        return self.wrong


class House:
    """A loop whose sign is renewed until it hangs, and what is told of the lamp."""

    def __init__(self, hangs_at: float, end: float) -> None:
        self.clock = VirtualClock(NOW)
        self.lamp = Lamp(self.clock)
        self.faults: list[tuple[float, str, bool]] = []
        self._hangs_at, self._end = hangs_at, end
        self._stop = threading.Event()

    def latest(self) -> Sign:
        now = self.clock.now()
        if now.elapsed >= self._end:
            self._stop.set()
        passed = min(now.elapsed, self._hangs_at)
        return Sign("b", "R", 1, passed, now.utc, True, 0.0, 0, 0, 0, False)

    def _tell(self, fault: Fault) -> None:
        self.faults.append((fault.moment.elapsed, fault.part, fault.over))

    def run(self) -> None:
        hooks = Hooks(_unheard, _unreported, self._tell)
        shine(self.lamp, self.latest, hooks, self.clock, self._stop)


def _unheard(_heard: Heard) -> None:
    raise AssertionError


def _unreported(_report: DeliveryReport) -> None:
    raise AssertionError


def test_sign_goes_out_once_a_minute() -> None:
    """While the loop goes on there is a sign every 60 s, and each says so."""
    house = House(hangs_at=9_999.0, end=1_180.0)
    house.run()
    assert [1000.0, 1060.0, 1120.0, 1180.0] == [at for at, _ in house.lamp.sent]
    assert {60.0} == {sign.every for _, sign in house.lamp.sent}


def test_loop_that_hangs_sends_no_sign() -> None:
    """What the loop has not renewed is not sent again: silence is what is heard elsewhere."""
    house = House(hangs_at=1_070.0, end=1_400.0)
    house.run()
    assert [1000.0, 1060.0, 1120.0] == [at for at, _ in house.lamp.sent]
    assert [1000.0, 1060.0, 1070.0] == [sign.elapsed for _, sign in house.lamp.sent]


def test_beacon_that_fails_is_told() -> None:
    """A sign that does not go out for five minutes is a fault of the channel, once."""
    house = House(hangs_at=9_999.0, end=1_700.0)
    house.lamp.wrong = "no route"
    house.run()
    assert [(1000.0 + beacon.LASTING, "channel lamp", False)] == house.faults[:1]
    assert [True] == [over for _, _, over in house.faults[1:]]


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("sign_mqtt", {"host": "mqtt.example.org"}),
        ("sign_http", {"url": "https://far.example.org/life", "token_secret": "word"}),
    ],
)
def test_channels_for_signs_carry_no_text(kind: str, options: dict[str, object]) -> None:
    """They are beacons, hear nothing, and refuse a text for good."""
    made = CHANNELS[kind](Channel("life", kind, tuple(options.items())), {"word": "long"})
    assert isinstance(made, Beacon)
    assert not isinstance(made, Listener)
    message: object = None
    refused = Delivery("refused", "carries signs of life only; name another channel")
    assert refused == made.send(message)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "options", "key"),
    [
        ("sign_mqtt", {}, "host"),
        ("sign_mqtt", {"host": "b", "topic": "a/+"}, "topic"),
        ("sign_mqtt", {"host": "b", "user": "u"}, "user"),
        ("sign_mqtt", {"host": "b", "ca_file": "/ca.pem"}, "ca_file"),
        ("sign_mqtt", {"host": "b", "every": 0}, "every"),
        ("sign_http", {"url": "https://x.example.org", "token_secret": "no"}, "token_secret"),
        ("sign_http", {"url": "http://x.example.org", "token_secret": "word"}, "url"),
        ("sign_http", {"url": "far.example.org", "token_secret": "word"}, "url"),
        ("sign_http", {"url": "https://x:99999/", "token_secret": "word"}, "url"),
    ],
)
def test_set_ups_that_are_refused(kind: str, options: dict[str, object], key: str) -> None:
    """Each wrong key is named."""
    with pytest.raises(SetupError) as caught:
        CHANNELS[kind](Channel("life", kind, tuple(options.items())), {"word": "long"})
    assert key in {problem.key for problem in caught.value.problems}
