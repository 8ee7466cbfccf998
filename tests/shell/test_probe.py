"""What somebody sees who wires a sensor."""

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.clock import Clock, VirtualClock
from monitor.inputs import Moment, Reading
from monitor.probe import Ear, found_lines, listen, strip, table, to_be_read
from monitor.rig import Rig, Tag
from monitor.setup import Setup, SourceSetup
from monitor.sources.devices import devices, unused
from monitor.units import unit_of

START = Moment(1, 1000.0, 1_790_000_000.0)
CELSIUS = unit_of("temperature")
WATER = Tag(
    "TW1", "temperature", "LT1", CELSIUS, "wire", "28-0000075565ab", zero=-0.2,
    sensor_range=(-55.0, 125.0), start_up_values=(85.0,),
)  # fmt: skip
FLOAT = Tag("FH", "float", "HD1", unit_of("float"), "pins", "17")
SALT = Tag("SAL", "salinity", "LT1", unit_of("salinity"), "hand")
SETUP = Setup(
    1,
    Rig("b-1", "OH", "Ostrel", "America/Chicago", tags=(SALT, WATER, FLOAT)),
    sources=(
        SourceSetup("hand", "manual"),
        SourceSetup("wire", "onewire"),
        SourceSetup("pins", "gpio"),
        SourceSetup("net", "mqtt", (("host", "localhost"), ("client_id", "watch"))),
    ),
)


DUTY = """
standing = ["tavrin"]
[[person]]
id = "tavrin"
name = "Tavrin"
bed_to_door_min = 30
channels = ["outbox"]
"""


def said(tag: str, after: float, value: float | None, problem: str = "") -> Reading:
    """A reading so many seconds after the start."""
    return Reading(tag, Moment(1, 1000.0 + after, 1_790_000_000.0 + after), value, problem)


def test_table_shows_delivered_converted_age_flag_and_strip() -> None:
    """Raw and calibrated value, age, flag and last values of a tag; cheap sources first."""
    ear = Ear((WATER, FLOAT))
    for turn, value in enumerate((26.0, 26.5, 27.0)):
        ear.put(said("TW1", turn, value))
    ear.put(said("TW1", 3, None, "no answer"))
    ear.put(said("TW1", 4, 85.0))
    ear.put(said("FH", 4, 0.0, "chatters"))

    head, *lines = (line.split(maxsplit=2) for line in table(SETUP, ear, 1005.0))
    assert ["tag", "source"] == head[:2]
    assert ["FH", "TW1", "SAL"] == [line[0] for line in lines]
    assert ["0", "open", "1.0", "s", "3", "chatters", "0"] == lines[0][2].split()
    wanted = "85 84.8 C 1.0 s 4 power-on value 000x9"
    assert wanted.split() == lines[1][2].split()
    assert "people enter it" == lines[2][2]


def test_what_is_never_heard_says_where_to_look() -> None:
    """A tag without any reading has no value, and a hint."""
    line = table(SETUP, Ear((WATER, FLOAT)), 1005.0)[1]
    assert "nothing" in line
    assert "9 not heard: look at wire, power and address" in line


@pytest.mark.parametrize(
    ("values", "wanted"),
    [((), ""), ((1.0,), "0"), ((1.0, 2.0, None, 1.5), "09x5"), ((None,), "x")],
)
def test_strip(values: tuple[float | None, ...], wanted: str) -> None:
    """Values are digits between the least and the most of them."""
    assert wanted == strip([said("TW1", turn, value) for turn, value in enumerate(values)])


def test_probe_throws_nobody_off_a_broker() -> None:
    """A probe has no client name of the watch, no channel, and no source that it cannot read."""
    wanted = to_be_read(SETUP)
    assert ["wire", "pins", "net"] == [source.id for source in wanted.sources]
    assert (("host", "localhost"),) == wanted.sources[-1].options


class Scripted:
    """A source that says its readings and waits, or breaks."""

    def __init__(self, name: str, *readings: Reading) -> None:
        self.id = name
        self._readings = readings

    def run(self, put: Callable[[Reading], None], _clock: Clock, stop: threading.Event) -> None:
        for reading in self._readings:
            put(reading)
        if not self._readings:
            raise RuntimeError("out of order")
        stop.wait(5.0)


def test_each_heard_once_is_enough(caplog: pytest.LogCaptureFixture) -> None:
    """Asking once ends when every tag was heard, and a source that breaks costs only itself."""
    ear, stop, clock = Ear((WATER,)), threading.Event(), VirtualClock(START)
    ear.put(said("TW1", 0.0, 26.0))
    listen((Scripted("bad"), Scripted("wire", said("TW1", 1.0, 26.1))), ear, clock, 0.0, stop)
    assert stop.is_set()
    assert START.elapsed == clock.now().elapsed
    assert [26.0, 26.1] == [item.value for item in ear.heard["TW1"].last]
    assert "out of order" in caplog.text


def test_listening_lasts_as_long_as_was_asked() -> None:
    """With seconds given it listens to the end of them."""
    clock = VirtualClock(START)
    listen(
        (Scripted("wire", said("TW1", 0.0, 26.0)),), Ear((WATER,)), clock, 30.0, threading.Event()
    )
    assert START.elapsed + 30.0 == clock.now().elapsed


def tree(root: Path) -> None:
    """A board with a device of every kind."""
    for path, text in {
        "sys/bus/w1/devices/28-0000075565ab/w1_slave": "",
        "sys/bus/w1/devices/28-00000aaaaaaa/w1_slave": "",
        "sys/bus/w1/devices/w1_bus_master1/name": "",
        "sys/bus/iio/devices/iio:device0/name": "adc\n",
        "sys/bus/iio/devices/iio:device1/uevent": "",
        "sys/bus/counter/devices/counter0/name": "pulses\n",
        "sys/class/hwmon/hwmon3/name": "clamp\n",
        "sys/class/power_supply/adapter/online": "1",
        "dev/gpiochip0": "",
        "dev/gpiochip1": "",
        "dev/serial/by-id/usb-adapter-if00": "",
    }.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(text)


def test_devices_that_nobody_reads(tmp_path: Path) -> None:
    """Every device of the board is found, and what the set-up names is left out."""
    tree(tmp_path)
    found = devices(tmp_path)
    kinds = ["gpio"] * 2 + ["onewire"] * 2 + ["counter"] + ["iio"] * 2
    assert [*kinds, "power_supply", "hwmon", "modbus"] == [device.kind for device in found]
    left = [device.name for device in unused(found, SETUP.rig, SETUP.sources)]
    assert "28-0000075565ab" not in left
    assert {"28-00000aaaaaaa", "adc", "(no name) iio:device1", "pulses", "clamp"} <= set(left)
    assert any("28-00000aaaaaaa" in line for line in found_lines(found))


def test_board_without_any_bus(tmp_path: Path) -> None:
    """Where no folder is there, nothing is found, and it is said."""
    assert ["Nothing was found on this board that the set-up does not name."] == found_lines(
        devices(tmp_path)
    )


def test_command_reads_a_real_folder(tmp_path: Path) -> None:
    """The command runs its sources and prints a line for each tag."""
    tree(tmp_path)
    (tmp_path / "sys/bus/w1/devices/28-0000075565ab/temperature").write_text("22187\n")
    (tmp_path / "limits.toml").write_text("")
    (tmp_path / "duty.toml").write_text(DUTY)
    outbox = f'[[channel]]\nid = "outbox"\nkind = "folder"\nfolder = "{tmp_path}/outbox"\n'
    (tmp_path / "channels.toml").write_text(outbox)
    (tmp_path / "rig.toml").write_text(f"""
[site]
board = "b-1"
rig = "R"
label = "Ostrel"
zone = "America/Chicago"
[[source]]
id = "wire"
kind = "onewire"
form = "temperature"
root = "{tmp_path}/sys"
[[vessel]]
id = "LT1"
kind = "larval tank"
[[tag]]
id = "TW1"
measures = "temperature"
of = "LT1"
source = "wire"
address = "28-0000075565ab"
unit = "C"
""")
    result = CliRunner().invoke(commands, ["probe", str(tmp_path)])
    assert "" == result.stderr
    assert 0 == result.exit_code
    line = result.stdout.splitlines()[1].split()
    assert ["TW1", "onewire", "22.1875", "22.2", "C"] == line[:5]
    assert ["1", "good", "0"] == line[-3:]
