"""The drivers on the kernel's own paths below /sys, faked from below by umockdev."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = """
import json, sys, threading
from monitor.clock import SystemClock, always_trusted
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import DRIVERS
from monitor.units import unit_of

TAGS = {
    "onewire": [
        ("TW1", "temperature", "28-0000075565ab"),
        ("TW2", "temperature", "28-00000000dead"),
    ],
    "power_supply": [("MA", "mains", "adapter/online"), ("BAT", "voltage", "battery/voltage_now")],
    "hwmon": [("TB", "temperature", '"board/Inlet"')],
    "iio": [("V", "voltage", "adc/voltage0")],
}
heard = {}
for kind, rows in TAGS.items():
    tags = tuple(Tag(i, m, "LT1", unit_of(m), kind, a) for i, m, a in rows)
    rig = Rig("ostrel-1", "OH", "Ostrel", "America/Chicago", tags=tags)
    stop = threading.Event()

    def put(reading):
        heard[reading.tag] = [reading.value, reading.problem]
        if len([tag for tag in tags if tag.id in heard]) == len(tags):
            stop.set()

    source = DRIVERS[kind](SourceSetup(kind, kind), rig, {})
    source.run(put, SystemClock(1, 0.0, always_trusted), stop)
print(json.dumps(heard))
"""

DEVICES = """\
P: /devices/w1_bus_master1/28-0000075565ab
E: SUBSYSTEM=w1
A: w1_slave=c3 01 4b 46 7f ff 0d 10 2f : crc=2f YES\\nc3 01 4b 46 7f ff 0d 10 2f t=28187\\n

P: /devices/platform/charger/power_supply/adapter
E: SUBSYSTEM=power_supply
A: type=Mains\\n
A: online=0\\n

P: /devices/platform/charger/power_supply/battery
E: SUBSYSTEM=power_supply
A: type=Battery\\n
A: voltage_now=12480000\\n

P: /devices/virtual/thermal/hwmon/hwmon7
E: SUBSYSTEM=hwmon
A: name=board\\n
A: temp2_label=Inlet\\n
A: temp2_input=31500\\n

P: /devices/platform/i2c-1/1-0048/iio:device3
E: SUBSYSTEM=iio
A: name=adc\\n
A: in_voltage0_raw=9600\\n
A: in_voltage_scale=0.125000000\\n
"""


@pytest.mark.skipif(shutil.which("umockdev-run") is None, reason="umockdev is not installed")
def test_on_the_paths_of_the_kernel(tmp_path: Path) -> None:
    """With their own root the drivers find devices by name below /sys, and miss the absent one."""
    devices = tmp_path / "board.umockdev"
    devices.write_text(DEVICES, "utf-8")
    command = ["umockdev-run", "--device", str(devices), "--", sys.executable, "-c", PROGRAM]
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        cwd=Path(__file__).resolve().parents[3],
    )
    assert 0 == done.returncode, done.stderr
    assert {
        "TW1": [28.1875, ""],
        "TW2": [None, "no answer"],
        "MA": [0.0, ""],
        "BAT": [12.48, ""],
        "TB": [31.5, ""],
        "V": [1.2, ""],
    } == json.loads(done.stdout)
