"""One-wire thermometers: the answer of a sensor byte by byte, and the values that are none."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.sources import sysfs
from monitor.sources.onewire import PROBLEMS, crc8, parse_answer
from monitor.sources.polled import NoReading
from sources.drivers.stage import StageClock, build, first, listen, tag
from sources.drivers.worlds import Tree

NUMBER = "28-0000075565ab"
FOLDER = f"bus/w1/devices/{NUMBER}"


def answer(scratchpad: str, milli: int, yes: str = "YES") -> str:
    """The two lines of w1_slave for eight bytes in hex, with the right checksum."""
    data = bytes.fromhex(scratchpad)
    line = " ".join(f"{byte:02x}" for byte in data + bytes([crc8(data)]))
    return f"{line} : crc={crc8(data):02x} {yes}\n{line} t={milli}\n"


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (b"123456789".hex(), 0xA1),
        ("02 1C B8 01 00 00 00", 0xA2),
        ("02 1C B8 01 00 00 00 A2", 0x00),
        ("50 05 4B 46 7F FF 0C 10", 0x1C),
        ("C0 01 4B 46 7F FF 0C 10", 0x2E),
        ("C3 01 4B 46 7F FF 0D 10", 0x2F),
        ("FF FF FF FF FF FF FF FF", 0xC9),
        ("00 00 00 00 00 00 00 00", 0x00),
        ("", 0x00),
    ],
)
def test_checksum(data: str, crc: int) -> None:
    """CRC-8/MAXIM-DOW over published and reckoned rows of bytes."""
    assert crc == crc8(bytes.fromhex(data))


@given(st.binary(min_size=1, max_size=8), st.integers(0, 63))
def test_checksum_finds_any_flipped_bit(data: bytes, bit: int) -> None:
    """One flipped bit anywhere never passes."""
    whole = bytearray(data + bytes([crc8(data)]))
    assert 0 == crc8(bytes(whole))
    whole[bit // 8 % len(whole)] ^= 1 << bit % 8
    assert 0 != crc8(bytes(whole))


@pytest.mark.parametrize(
    ("raw", "celsius"),
    [
        ("D0 07", 125.0),
        ("91 01", 25.0625),
        ("A2 00", 10.125),
        ("08 00", 0.5),
        ("00 00", 0.0),
        ("F8 FF", -0.5),
        ("5E FF", -10.125),
        ("6F FE", -25.0625),
        ("90 FC", -55.0),
        ("C0 01", 28.0),
        ("C3 01", 28.1875),
    ],
)
def test_temperatures(raw: str, celsius: float, tmp_path: Path) -> None:
    """Raw steps come out as the data sheet has them, though the kernel cuts to thousandths."""
    tree = Tree(tmp_path)
    text = answer(f"{raw} 4B 46 7F FF 0C 10", int(celsius * 1000))
    tree.happen({"files": {f"{FOLDER}/w1_slave": text}})
    assert {"T": (celsius, "")} == first(
        build("onewire", tree.options, tag("T", "temperature", NUMBER))
    )


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (answer("C0 01 4B 46 7F FF 0C 10", 28000, "NO"), "wrong checksum"),
        (answer("C0 01 4B 46 7F FF 0C 10", 28000).replace("c0 01", "c0 05"), "wrong checksum"),
        (answer("FF FF FF FF FF FF FF FF", 28000, "NO").replace("c9 :", "ff :"), "no answer"),
        (answer("00 00 00 00 00 00 00 00", 0), "bus shorted"),
        (answer("50 05 4B 46 7F FF 0C 10", 85000), "power-on value"),
        (answer("FF 07 4B 46 7F FF 0C 10", 127937), "out of range"),
        (answer("C0 01 4B 46 7F FF 0C 10", -55100), "out of range"),
        (answer("C0 01 4B 46 7F FF 0C 10", 28000)[:40], "not a sensor's answer"),
        (answer("C0 01 4B 46 7F FF 0C 10", 28000) * 2, "not a sensor's answer"),
        (answer("C0 01 4B 46 7F FF 0C 10", 10**9), "not a sensor's answer"),
        ("28000\n", "not a sensor's answer"),
        ("", "empty"),
    ],
)
def test_answers_that_are_no_temperature(text: str, problem: str, tmp_path: Path) -> None:
    """Each way in which a sensor fails has its word, and no value."""
    tree = Tree(tmp_path)
    tree.happen({"files": {f"{FOLDER}/w1_slave": text}})
    source = build("onewire", tree.options, tag("T", "temperature", NUMBER))
    assert {"T": (None, problem)} == first(source)


def test_a_retained_value_is_never_shown(tmp_path: Path) -> None:
    """With a broken checksum the kernel shows its last good value again; we do not."""
    text = (
        "c3 09 4b 46 7f ff 0d 10 2f : crc=2f NO\n"
        "c0 01 4b 46 7f ff 0c 10 2e t=28000\n"
    )  # fmt: skip
    with pytest.raises(NoReading, match="wrong checksum"):
        parse_answer(text.encode())


@pytest.mark.parametrize("milli", [83_000, 87_000])
def test_85_degrees_are_believed_beside_their_like(milli: int, tmp_path: Path) -> None:
    """85.0 within 2 C of the last good reading is a temperature; from further off it is none."""
    tree = Tree(tmp_path)
    clock = StageClock(40.0)
    for s, text in (
        (0.0, str(milli)),
        (5.0, "85000"),
        (15.0, str(milli + 10_000)),
        (25.0, "85000"),
    ):
        clock.plan(s, lambda text=text: tree.happen({"files": {f"{FOLDER}/temperature": text}}))  # type: ignore[misc]
    options = {**tree.options, "form": "temperature"}
    heard = listen(build("onewire", options, tag("T", "temperature", NUMBER)), clock)
    assert (85.0, "") == heard[1][2:]
    assert (None, "power-on value") == heard[3][2:]


@given(st.binary(max_size=120))
def test_any_answer_is_parsed_or_refused(data: bytes) -> None:
    """Whatever a file holds, the parser gives a number or a known word."""
    try:
        assert -1000.0 < parse_answer(data) < 1000.0
    except NoReading as trouble:
        assert trouble.problem in PROBLEMS


@given(st.binary(min_size=9, max_size=9), st.integers(-999_999, 999_999), st.booleans())
def test_no_answer_with_a_wrong_checksum_passes(data: bytes, milli: int, yes: bool) -> None:
    """Nine bytes pass only if their own checksum fits, whatever the kernel says about them."""
    line = " ".join(f"{byte:02x}" for byte in data)
    text = f"{line} : crc=00 {'YES' if yes else 'NO'}\n{line} t={milli}\n".encode()
    if yes and crc8(data) == 0 and any(data):
        assert milli / 1000.0 == parse_answer(text)
    else:
        with pytest.raises(NoReading):
            parse_answer(text)


def test_resolution_is_set_once_and_again_after_a_loss(tmp_path: Path) -> None:
    """The resolution is lost with the power of a sensor, so it is set again when it comes back."""
    tree = Tree(tmp_path)
    sound = {f"{FOLDER}/resolution": "12", f"{FOLDER}/temperature": "28000"}
    seen: list[str] = []
    clock = StageClock(60.0)
    clock.plan(0.0, lambda: tree.happen({"files": sound}))
    clock.plan(5.0, lambda: seen.append((tmp_path / FOLDER / "resolution").read_text()))
    clock.plan(6.0, lambda: tree.happen({"files": {f"{FOLDER}/resolution": "12"}}))
    clock.plan(15.0, lambda: seen.append((tmp_path / FOLDER / "resolution").read_text()))
    clock.plan(16.0, lambda: tree.happen({"gone": [FOLDER]}))
    clock.plan(25.0, lambda: tree.happen({"files": sound}))
    clock.plan(35.0, lambda: seen.append((tmp_path / FOLDER / "resolution").read_text()))
    options = {**tree.options, "form": "temperature", "resolution": 11}
    listen(build("onewire", options, tag("T", "temperature", NUMBER)), clock)
    assert ["11", "12", "11"] == seen


def test_a_resolution_that_cannot_be_set_is_told(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A sensor whose resolution is fixed is read all the same, and the log says so once."""
    tree = Tree(tmp_path)
    tree.happen({"files": {f"{FOLDER}/temperature": "28000"}})
    options = {**tree.options, "form": "temperature", "resolution": 9}
    heard = listen(build("onewire", options, tag("T", "temperature", NUMBER)), StageClock(25.0))
    assert [(28.0, "")] * 3 == [item[2:] for item in heard]
    assert 1 == len(caplog.records)
    assert "resolution not set" in caplog.records[0].getMessage()
    assert not (tmp_path / FOLDER / "resolution").exists()


class BulkBus:
    """A bus that converts all sensors when told to, and is busy for some looks at it."""

    def __init__(self, tree: Tree, busy: int, monkeypatch: pytest.MonkeyPatch) -> None:
        self.triggers = 0
        self._busy = busy
        self._left = 0
        self._whole = sysfs.whole
        tree.happen({"files": {"bus/w1/devices/w1_bus_master1/therm_bulk_read": "0"}})
        monkeypatch.setattr(sysfs, "write", self.write)
        monkeypatch.setattr(sysfs, "whole", self.whole)

    def write(self, _path: Path, word: str) -> None:
        assert "trigger" == word
        self.triggers += 1
        self._left = self._busy

    def whole(self, path: Path) -> int:
        if path.name != "therm_bulk_read":
            return self._whole(path)
        self._left -= 1
        return -1 if self._left >= 0 else 1


def test_one_conversion_serves_the_whole_bus(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three sensors due together share a conversion; nobody is served an old one."""
    tree = Tree(tmp_path)
    bus = BulkBus(tree, 3, monkeypatch)
    numbers = [f"28-00000000000{digit}" for digit in "123"]
    for number in numbers:
        tree.happen({"files": {f"bus/w1/devices/{number}/temperature": "28000"}})
    tags = [tag(f"T{place}", "temperature", number) for place, number in enumerate(numbers)]
    options = {**tree.options, "form": "temperature", "bulk": True}
    heard = listen(build("onewire", options, *tags), StageClock(25.0))
    assert 9 == len(heard)
    assert {(28.0, "")} == {item[2:] for item in heard}
    assert 3 == bus.triggers
    assert [0.1875, 0.1875, 0.1875, 10.1875] == [item[0] for item in heard[:4]]


def test_no_sensor_is_served_a_conversion_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sensor read each second gets a conversion of its own each second."""
    tree = Tree(tmp_path)
    bus = BulkBus(tree, 0, monkeypatch)
    tree.happen({"files": {f"{FOLDER}/temperature": "28000"}})
    options = {**tree.options, "form": "temperature", "bulk": True}
    quick = tag("T", "temperature", NUMBER, every=1.0)
    assert 5 == len(listen(build("onewire", options, quick), StageClock(4.5)))
    assert 5 == bus.triggers


def test_a_bus_that_stays_busy_has_failed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A conversion that does not end in two seconds gives a word, not an old value."""
    tree = Tree(tmp_path)
    BulkBus(tree, 10_000, monkeypatch)
    tree.happen({"files": {f"{FOLDER}/temperature": "28000"}})
    options = {**tree.options, "form": "temperature", "bulk": True}
    heard = listen(build("onewire", options, tag("T", "temperature", NUMBER)), StageClock(9.0))
    assert [(2.0, "T", None, "bulk read failed")] == heard
