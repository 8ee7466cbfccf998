"""A small rig that loses its mains over a real broker, and the real ways by which it is told."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from monitor.control import SOCKET, ask
from monitor.errors import ControlError
from real.mailboxes import TlsFront
from real.modem_emulator import Modem
from real.servers import HOST, PASSWORD, USER, Broker, MailServer

ROOT = Path(__file__).parents[2]
HANG = 60.0
"""Seconds after which a failing test gives up."""

RIG = """\
[site]
board = "b-1"
rig = "R"
label = "Ostrel"
zone = "America/Chicago"
circuits = ["B1"]
[[source]]
id = "bus"
kind = "mqtt"
host = "{host}"
port = {port}
user = "{user}"
password_secret = "broker"
[[vessel]]
id = "HD1"
kind = "header"
area_m2 = 0.49
lip_cm = 38
rim_cm = 46
[[vessel]]
id = "LT1"
kind = "larval tank"
[[line]]
id = "P1"
kind = "pump"
to_vessel = "HD1"
pump_l_min = 9.0
circuit = "B1"
[[line]]
id = "S1"
kind = "siphon"
from_vessel = "HD1"
to_vessel = "LT1"
bore_mm = 13
head_m = 1.05
break_cm = 12
"""
TAG = """\
[[tag]]
id = "{id}"
measures = "{measures}"
of = "{of}"
source = "bus"
address = "rig/{id}"
every_s = 1
stale_s = 120
"""
FLOW = 'unit = "L/min"\nsensor_range = [0, 30]\n'
TAGS = (
    TAG.format(id="MP", measures="mains", of="B1"),
    TAG.format(id="QS", measures="flow", of="P1") + FLOW,
    TAG.format(id="QL", measures="flow", of="S1") + FLOW,
)
LIMITS = """\
[delays]
mains_off_s = 1
supply_lost_see_s = 1
supply_lost_text_s = 1
[[flow]]
line = "S1"
set_l_min = 6.0
"""
DUTY = """\
standing = ["tavrin", "oskel"]
[[person]]
id = "tavrin"
name = "Tavrin"
mail = "tavrin@example.org"
phone = "+1 940-555-0141"
bed_to_door_min = 30
channels = ["modem", "mail"]
[[person]]
id = "oskel"
name = "Oskel"
mail = "oskel@example.org"
phone = "+1 940-555-0142"
bed_to_door_min = 35
channels = ["mail"]
"""
CHANNELS = """\
[[channel]]
id = "modem"
kind = "modem"
device = "{device}"
[[channel]]
id = "mail"
kind = "mail"
host = "{host}"
port = {smtp}
sender = "watch@example.org"
user = "{user}"
password_secret = "mail"
ca_file = "{ca}"
deadline = 3
[[channel]]
id = "box"
kind = "mailbox"
host = "{host}"
port = {imap}
user = "{user}"
password_secret = "mail"
ca_file = "{ca}"
every = 1
reply_by = "mail"
"""
RUNNING = {"MP": "1", "QS": "9.0", "QL": "6.0"}
OUT = {"MP": "0", "QS": "0.0", "QL": "6.0"}


def write_config(
    folder: Path, broker: Broker, mail: MailServer, imap: TlsFront, modem: Modem
) -> None:
    """The configuration of the rig, of all its ways to reach people, and its secrets."""
    folder.mkdir()
    given = {"host": HOST, "user": USER, "ca": mail.ca, "device": modem.device}
    files = {
        "rig.toml": RIG.format(port=broker.port, **given) + "".join(TAGS),
        "limits.toml": LIMITS,
        "duty.toml": DUTY,
        "channels.toml": CHANNELS.format(smtp=mail.port, imap=imap.port, **given),
        "secrets.toml": f'broker = "{PASSWORD}"\nmail = "{PASSWORD}"\n',
    }
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "secrets.toml").chmod(0o600)


def publish(broker: Broker, values: dict[str, str]) -> None:
    """One reading of each tag."""
    broker.publish(*((f"rig/{tag}", value.encode()) for tag, value in values.items()))


class Watch:
    """A running watch process. Its log is read all the time and kept."""

    def __init__(self, config: Path, state: Path) -> None:
        self._state = state
        words = ["watch", str(config), "--state", str(state), "--trust-clock"]
        self._process = subprocess.Popen(
            [sys.executable, "-c", "from monitor.cli import main; main()", *words],
            cwd=ROOT,
            env={"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT)},
            stderr=subprocess.PIPE,
            text=True,
        )
        self.log: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self._process.stderr is not None
        with self._process.stderr as lines:
            self.log.extend(lines)

    def ask(self, **data: object) -> dict[str, Any]:
        """The response on its control socket; empty while there is none."""
        try:
            return ask(self._state / SOCKET, **data)
        except ControlError as error:
            if "no watch is running" in str(error):
                return {}
            raise

    def events(self) -> str:
        """The open events as `holdwater events` shows them."""
        return "\n".join(self.ask(ask="snapshot", view="events").get("lines", []))

    def send(self, number: signal.Signals) -> None:
        """A signal to the process, if it still runs."""
        self._process.send_signal(number)

    def kill(self) -> None:
        """kill -9. Killing a dead one changes nothing."""
        self._process.kill()
        self._process.wait()
        self._reader.join()

    def end(self) -> None:
        """Ask it to end; it has to end well."""
        self._process.send_signal(signal.SIGTERM)
        assert self._process.wait(HANG) == 0, "".join(self.log)
        self._reader.join()


@contextmanager
def watching(config: Path, state: Path) -> Iterator[Watch]:
    """A running watch, killed at the end if it still runs."""
    running = Watch(config, state)
    try:
        yield running
    finally:
        running.kill()


def until(look: Callable[[], Any], log: list[str], within: float = HANG) -> Any:
    """What `look` gives as soon as it gives something; a failing test ends with the log."""
    deadline = time.monotonic() + within
    while not (found := look()):
        assert time.monotonic() < deadline, "it did not happen\n" + "".join(log)
        time.sleep(0.05)
    return found
