"""A recording of a real water loop by others, through a real broker to a running watch."""

import csv
import json
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from monitor.config import load
from monitor.replay import play_files
from real.servers import Broker, MailServer

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_config" / "loop-recording"
FILE = "skab/other/12.csv"
"""Tank drained until the pump cavitates; water loop of the Skoltech Anomaly Benchmark v0.9
(Katser & Kozitsin 2020, DOI 10.34740/KAGGLE/DSV/1693952)."""


@dataclass(frozen=True, slots=True)
class LoopRow:
    """One second of the recording: time, flow in L/min, water temperature in C."""

    at: datetime
    flow: str
    temperature: str


def read(recordings: Path) -> list[LoopRow]:
    """The recording; it names no zone, so its times are taken as UTC."""
    with (recordings / FILE).open(newline="", encoding="utf-8") as file:
        return [
            LoopRow(
                datetime.fromisoformat(row["datetime"] + "+00:00"),
                row["Volume Flow RateRMS"],
                row["Thermocouple"],
            )
            for row in csv.DictReader(file, delimiter=";")
        ]


def replayed(rows: list[LoopRow], folder: Path) -> list[dict[str, object]]:
    """What a replay of these rows prints as JSON, each line with its second in `at`."""
    recording = folder / "loop.csv"
    with recording.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["time", "LF", "TL"])
        writer.writerows((row.at.isoformat(), row.flow, row.temperature) for row in rows)
    lines: list[dict[str, object]] = []
    play_files(load(SAMPLE), recording, None, None, 0.0, lines.append)
    for line in lines:
        at = datetime.fromisoformat(str(line["time"]))
        line["at"] = (at - rows[0].at).total_seconds()
    return json.loads(json.dumps(lines))  # type: ignore[no-any-return]


def test_replay_raises_one_true_alarm(recordings: Path, tmp_path: Path) -> None:
    """The drained loop raises low flow once, between second 683 and 698, and ends it in time."""
    lines = replayed(read(recordings), tmp_path)
    alarms = [line for line in lines if line["what"] == "alarm"]
    assert ["flow low/L1", "flow low/L1"] == [line["name"] for line in alarms]
    raised, ended = alarms
    assert ("UNACK", "RTNUN") == (raised["state"], ended["state"])
    assert 683 <= raised["at"] <= 698  # type: ignore[operator]
    assert 1015 <= ended["at"] <= 1040  # type: ignore[operator]
    assert not [line for line in lines if "temperature" in str(line["name"])]


@contextmanager
def watching(config: Path, state: Path) -> Iterator["subprocess.Popen[str]"]:
    """A real watch process, ended by SIGTERM; it must end well."""
    command = [sys.executable, "-c", "from monitor.cli import main; main()", "watch", str(config)]
    command += ["--state", str(state), "--trust-clock"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            yield process
        finally:
            process.terminate()
        assert process.wait(30) == 0


def _configure(folder: Path, broker: Broker, mail: MailServer) -> None:
    """The sample of the loop, with its readings by MQTT and its texts by mail."""
    for path in SAMPLE.glob("*.toml"):
        (folder / path.name).write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    rig = (folder / "rig.toml").read_text(encoding="utf-8")
    rig = rig.replace(
        'kind = "recording"',
        f'kind = "mqtt"\nhost = "{broker.host}"\nport = {broker.port}\nuser = "{broker.user}"\n'
        'password_secret = "broker"\n#',
    )
    rig = re.sub(r'id = "(LF|TL)"', r'id = "\1"\naddress = "loop/\1"', rig)
    (folder / "rig.toml").write_text(rig, encoding="utf-8")
    (folder / "channels.toml").write_text(
        f'[[channel]]\nid = "mail"\nkind = "mail"\nhost = "{mail.host}"\nport = {mail.port}\n'
        f'sender = "watch@example.org"\nuser = "{mail.user}"\npassword_secret = "mail"\n'
        f'ca_file = "{mail.ca}"\n',
        encoding="utf-8",
    )
    secrets = folder / "secrets.toml"
    secrets.write_text(
        f'broker = "{broker.password}"\nmail = "{mail.password}"\n', encoding="utf-8"
    )
    secrets.chmod(0o600)


def test_one_mail_through_broker_and_server(
    recordings: Path, tmp_path: Path, broker: Broker, mail_server: MailServer
) -> None:
    """Rows 620 to 760 in real time through mosquitto end in one mail that the server accepted."""
    rows = read(recordings)[620:761]
    config = tmp_path / "config"
    config.mkdir()
    _configure(config, broker, mail_server)
    with watching(config, tmp_path / "state") as process:
        log: list[str] = []
        assert process.stderr is not None
        lines = process.stderr
        reader = threading.Thread(target=lambda: log.extend(lines), daemon=True)
        reader.start()
        broker.wait_for("SUBSCRIBE", 30)
        began = time.monotonic()
        for row in rows:
            ahead = (row.at - rows[0].at).total_seconds() - (time.monotonic() - began)
            time.sleep(max(0.0, ahead))
            broker.publish(("loop/LF", row.flow.encode()), ("loop/TL", row.temperature.encode()))
        time.sleep(5.0)
    reader.join(10)
    assert 1 == len(mail_server.messages), "".join(log)
    (mail,) = mail_server.messages
    assert "Korrin <korrin@example.org>" == mail["To"]
    assert "auto-generated" == mail["Auto-Submitted"]
    body = mail.get_content()
    assert body.startswith("HIGH Loop "), body
    assert "FLOW LOW" in body and "Take 1 on the board." in body
    assert "A reply to this mail is not read." in body
