"""A watch and a listener as two processes, a broker between them: whatever dies is told outside.

Everything runs at one sixtieth of the true figures: a sign each second, told after 15 s of silence
and 5 s on storm footing. The true figures are played in tests/shell/test_silence.py.
"""

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from real.outage import FLOW, RIG, TAG, Watch, until, watching
from real.relay import Relay
from real.servers import HOST, PASSWORD, USER, Broker, Certificates, free_port

pytestmark = pytest.mark.long

CLASS = 15.0
"""Seconds after which silence is told: 15 min at one sixtieth."""
SLACK = 4.0
"""Seconds for one sign, one look at the age, a scan and a file on a slow machine."""

LIMITS = """\
[[flow]]
line = "S1"
set_l_min = 6.0
no_flow_after_min = 1000
"""
DUTY = """\
standing = ["tavrin"]
[[person]]
id = "tavrin"
name = "Tavrin"
bed_to_door_min = 30
channels = ["outbox"]
"""
OUTBOX = """\
[[channel]]
id = "outbox"
kind = "folder"
folder = "{folder}"
"""
BEACONS = """\
[[channel]]
id = "life"
kind = "sign_mqtt"
host = "{host}"
port = {mqtt}
user = "{user}"
password_secret = "word"
every = 1
[[channel]]
id = "lifeweb"
kind = "sign_http"
url = "https://{host}:{door}/life"
token_secret = "word"
ca_file = "{ca}"
every = 1
"""
FAR = """\
[site]
board = "far-1"
rig = "FAR"
label = "Ostrel"
zone = "UTC"
circuits = ["WATCH"]
[[source]]
id = "signs"
kind = "signs"
host = "{host}"
port = {mqtt}
user = "{user}"
password_secret = "word"
listen = "{host}:{door}"
cert_file = "{chain}"
key_file = "{key}"
token_secret = "word"
"""
AGE = """\
[[tag]]
id = "{id}"
measures = "age"
of = "WATCH"
source = "signs"
address = "{address}"
unit = "s"
every_s = 0.5
"""
HEAR = """\
[[source]]
id = "far"
kind = "signs"
host = "{host}"
port = {mqtt}
user = "{user}"
password_secret = "word"
[[tag]]
id = "FAR"
measures = "age"
of = "B1"
source = "far"
address = "far-1"
unit = "s"
every_s = 0.5
"""
SPEAK = """\
[[channel]]
id = "life"
kind = "sign_mqtt"
host = "{host}"
port = {mqtt}
user = "{user}"
password_secret = "word"
every = 1
"""
AGES = {"SOL": "b-1", "SOLM": "b-1 by=mqtt", "SOLH": "b-1 by=http"}
LIMIT = """\
[[limit]]
condition = "{condition}"
tag = "{tag}"
side = "high"
value = 15
grade = "{grade}"
on_delay_s = 0
first_action = "Go, or call the site."
"""
CONDITIONS = {"SOL": "watch silent", "SOLM": "broker path", "SOLH": "web path"}


@dataclass(frozen=True, slots=True)
class Site:
    """Both processes, the lines between them, and where the texts of the listener appear."""

    watch: Watch
    listener: Watch
    broker: Broker
    lines: tuple[Relay, Relay]
    texts: Path

    def told(self, words: str, by: str = "far") -> bool:
        """Whether a text of the listener ("far") or of the watch ("near") has these words."""
        folder = self.texts.parents[1] / by / "texts"
        return any(words in path.read_text() for path in folder.glob("*.txt"))

    def ages(self) -> list[str]:
        """The ages as the listener shows them."""
        lines = self.listener.ask(ask="snapshot", view="now").get("lines", [])
        return [line for line in lines if "age of WATCH" in line]


@pytest.fixture
def site(tmp_path: Path, broker: Broker, certificates: Certificates) -> Iterator[Site]:
    """A watch that is heard by both ways."""
    door = free_port()
    lines = Relay(broker.port), Relay(door)
    texts = tmp_path / "far" / "texts"
    words = {"host": HOST, "user": USER, "ca": certificates.ca}
    near = {
        "rig.toml": RIG.format(port=broker.port, **words)
        + HEAR.format(mqtt=broker.port, **words)
        + TAG.format(id="QL", measures="flow", of="S1")
        + FLOW,
        "limits.toml": LIMITS + LIMIT.format(condition="listener path", tag="FAR", grade="high"),
        "duty.toml": DUTY,
        "channels.toml": OUTBOX.format(folder=tmp_path / "near" / "texts")
        + BEACONS.format(mqtt=lines[0].port, door=lines[1].port, **words),
    }
    keys = {"chain": certificates.chain, "key": certificates.key}
    far = {
        "rig.toml": FAR.format(mqtt=broker.port, door=door, **words, **keys)
        + "".join(AGE.format(id=tag, address=address) for tag, address in AGES.items()),
        "limits.toml": "".join(
            LIMIT.format(condition=name, tag=tag, grade="urgent" if tag == "SOL" else "high")
            for tag, name in CONDITIONS.items()
        ),
        "duty.toml": DUTY,
        "channels.toml": OUTBOX.format(folder=texts) + SPEAK.format(mqtt=broker.port, **words),
    }
    with (
        _running(tmp_path / "far", far) as listener,
        _running(tmp_path / "near", near) as watch,
    ):
        made = Site(watch, listener, broker, lines, texts)
        until(lambda: len(made.ages()) == 3 and all(map(_is_young, made.ages())), watch.log)
        time.sleep(2.0)  # signs come for a while
        assert all(map(_is_young, made.ages())), made.ages()
        yield made
    for line in lines:
        line.stop()


def _is_young(line: str) -> bool:
    return float(line.split(":")[1].split(maxsplit=1)[0]) <= 2.0


@contextmanager
def _running(folder: Path, files: dict[str, str]) -> Iterator[Watch]:
    config = folder / "config"
    config.mkdir(parents=True)
    secrets = {"secrets.toml": f'word = "{PASSWORD}"\nbroker = "{PASSWORD}"\n'}
    for name, text in (files | secrets).items():
        (config / name).write_text(text, encoding="utf-8")
    (config / "secrets.toml").chmod(0o600)
    with watching(config, folder / "state") as watch:
        yield watch


def kill(site: Site) -> None:
    """kill -9: nothing of the watch is left."""
    site.watch.kill()


def freeze(site: Site) -> None:
    """SIGSTOP: the loop stands still, its connections stay open."""
    site.watch.send(signal.SIGSTOP)


def pull(site: Site) -> None:
    """The plug of the network: nothing passes any more, and nobody is told."""
    for line in site.lines:
        line.pull()


def cut_broker(site: Site) -> None:
    """The broker dies; the other way still speaks."""
    site.broker.stop()


def cut_web(site: Site) -> None:
    """The straight way is dead; the broker still speaks."""
    site.lines[1].pull()


@pytest.mark.parametrize(
    ("trouble", "words", "silent"),
    [
        (kill, "WATCH SILENT since", True),
        (freeze, "WATCH SILENT since", True),
        (pull, "WATCH SILENT since", True),
        (cut_broker, "BROKER PATH", False),
        (cut_web, "WEB PATH", False),
    ],
    ids=lambda value: getattr(value, "__name__", None),
)
def test_death_is_told_from_outside(site: Site, trouble: object, words: str, silent: bool) -> None:
    """Each is told within its class by the listener; a way that still speaks keeps it calm."""
    assert not site.texts.exists() or not list(site.texts.iterdir())
    assert callable(trouble)
    began = time.monotonic()
    trouble(site)
    until(lambda: site.told(words), site.listener.log)
    took = time.monotonic() - began

    assert CLASS - 2.0 <= took <= CLASS + SLACK
    assert silent == site.told("WATCH SILENT")
    site.watch.send(signal.SIGCONT)


def test_dead_listener_is_told_by_the_watch(site: Site) -> None:
    """The watch hears the listener too: a listener that dies is told from the site."""
    assert not site.told("LISTENER PATH", by="near")
    began = time.monotonic()
    site.listener.kill()
    until(lambda: site.told("LISTENER PATH", by="near"), site.watch.log)
    assert CLASS - 2.0 <= time.monotonic() - began <= CLASS + SLACK
