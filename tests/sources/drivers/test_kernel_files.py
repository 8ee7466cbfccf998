"""Files of the kernel's tree, sound and hostile: what is in them, missing, or not to be read."""

import errno
import importlib
import os
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.sources import sysfs
from monitor.sources.polled import NoReading
from sources.drivers.stage import StageClock, build, first, listen, tag
from sources.drivers.test_recordings import FOLDER
from sources.drivers.worlds import Tree

RECORDED = (
    "counter-turbine",
    "hwmon-renumbered",
    "iio-loop-levels",
    "iio-two-barometers",
    "onewire-tank-and-room",
    "onewire-temperature-file",
    "power_supply-outage",
    "skeleton-file",
)
HOSTILE: dict[str, bytes] = {
    "empty": b"",
    "blank": b" \n\n",
    "binary": bytes(range(256)),
    "zeros": bytes(64),
    "ten megabytes": b"1" * 5000,
    "nan": b"nan\n",
    "infinity": b"-inf\n",
    "exponent": b"1e999\n",
    "huge": b"9" * 400 + b"\n",
    "minus huge": b"-" + b"9" * 19 + b"\n",
    "words": b"Input/output error\n",
    "comma": b"28,5\n",
    "hex": b"0x1F\n",
    "two": b"1 2\n",
    "JSON": b'{"value": 1}\n',
    "other digits": "\N{ARABIC-INDIC DIGIT SIX}\n".encode(),
    "latin": b"\xb0C\n",
}


@cache
def recorded(name: str) -> dict[str, Any]:
    """A recording."""
    return tomllib.loads((FOLDER / f"{name}.toml").read_text("utf-8"))


def words_of(kind: str) -> set[str]:
    """Problem words of a driver, and of the frame."""
    return {"", "not a number", *importlib.import_module(f"monitor.sources.{kind}").PROBLEMS}


def check_outlived(recording: dict[str, Any], tree: Tree) -> None:
    """Each reading has a value or a word that the driver knows, and the source runs to the end."""
    tags = [
        tag(row["id"], row["measures"], row["address"], row["every_s"], row.get("unit"))
        for row in recording["tag"]
    ]
    kind = recording["kind"]
    source = build(kind, {**recording.get("options", {}), **tree.options}, *tags)
    heard = listen(source, StageClock(15.0))
    assert 10.0 == max((s for s, *_ in heard), default=None)
    assert {problem for *_, problem in heard} <= words_of(kind)
    assert [] == [item for item in heard if item[2] is None and not item[3]]


@pytest.fixture(scope="module")
def trees(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Tree]:
    """The sound tree of each recording. Whoever spoils a file puts it back."""
    found = {}
    for name in RECORDED:
        option = "folder" if name.startswith("skeleton") else "root"
        found[name] = Tree(tmp_path_factory.mktemp(name), option)
        found[name].happen(recorded(name)["at"][0])
    return found


@contextmanager
def put_aside(tree: Tree, path: Path) -> Iterator[None]:
    """Something of a tree is away for a while, and what took its place goes when it comes back."""
    aside = tree.root / "aside"
    path.rename(aside)
    try:
        yield
    finally:
        if path.is_dir():
            path.rmdir()
        else:
            path.unlink(missing_ok=True)
        aside.rename(path)


@pytest.mark.parametrize("name", RECORDED)
@pytest.mark.parametrize("content", HOSTILE)
def test_hostile_contents(name: str, content: str, trees: dict[str, Tree]) -> None:
    """Whatever stands in any one file of a driver, the driver outlives it with a word for it."""
    recording, tree = recorded(name), trees[name]
    for path in recording["at"][0]["files"]:
        file = tree.root / path
        with put_aside(tree, file):
            file.write_bytes(HOSTILE[content])
            if content == "ten megabytes":
                os.truncate(file, 10_000_000)
            check_outlived(recording, tree)


@pytest.mark.parametrize("name", RECORDED)
@pytest.mark.parametrize("instead", ["nothing", "folder", "loop", "empty folder above"])
def test_files_that_are_none(name: str, instead: str, trees: dict[str, Tree]) -> None:
    """A file that is gone, a folder, a link to itself, or without its device is outlived."""
    recording, tree = recorded(name), trees[name]
    for path in recording["at"][0]["files"]:
        file = tree.root / path
        away = file.parent if instead == "empty folder above" and file.parent != tree.root else file
        with put_aside(tree, away):
            if instead in ("folder", "empty folder above"):
                away.mkdir()
            if instead == "loop":
                away.symlink_to(away)
            check_outlived(recording, tree)


@given(st.sampled_from(RECORDED), st.binary(max_size=80), st.integers(0, 100))
@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_content_is_outlived(
    trees: dict[str, Tree], name: str, content: bytes, which: int
) -> None:
    """Random bytes in any file give a value or a known word."""
    recording, tree = recorded(name), trees[name]
    paths = list(recording["at"][0]["files"])
    file = tree.root / paths[which % len(paths)]
    with put_aside(tree, file):
        file.write_bytes(content)
        check_outlived(recording, tree)


@pytest.mark.parametrize(
    ("code", "problem"),
    [
        (errno.ENOENT, "no answer"),
        (errno.ENODEV, "no answer"),
        (errno.ENXIO, "no answer"),
        (errno.ENOTDIR, "no answer"),
        (errno.EACCES, "no permission"),
        (errno.EPERM, "no permission"),
        (errno.ENODATA, "no data"),
        (errno.EIO, "read error"),
        (errno.ETIMEDOUT, "read error"),
        (errno.EREMOTEIO, "read error"),
        (errno.EISDIR, "read error"),
    ],
)
@pytest.mark.parametrize("call", ["open", "read"])
def test_errors_of_the_kernel(
    code: int, problem: str, call: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each error of the kernel, at opening or at reading, has its word; the others are read on."""
    tree = Tree(tmp_path)
    for name in ("bad", "good"):
        tree.happen({"files": {f"class/power_supply/{name}/voltage_now": "12000000\n"}})
    real = Path.open

    class Failing:
        """A file that fails when it is read, as those of the kernel do."""

        def __enter__(self) -> "Failing":
            return self

        def __exit__(self, *_: object) -> None:
            """Nothing to give back."""

        def read(self, _length: int) -> bytes:
            raise OSError(code, "played")

    def opening(self: Path, *args: Any, **more: Any) -> Any:
        if self.parent.name != "bad":
            return real(self, *args, **more)
        if call == "open":
            raise OSError(code, "played")
        return Failing()

    monkeypatch.setattr(Path, "open", opening)
    source = build(
        "power_supply",
        tree.options,
        tag("A", "voltage", "bad/voltage_now"),
        tag("B", "voltage", "good/voltage_now"),
    )
    assert {"A": (None, problem), "B": (12.0, "")} == first(source)


def test_a_folder_that_may_not_be_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the devices may not be listed, the word says so."""

    def refused(_folder: object) -> list[str]:
        raise PermissionError(errno.EACCES, "played")

    monkeypatch.setattr("monitor.sources.sysfs.os.listdir", refused)
    source = build("hwmon", {"root": str(tmp_path)}, tag("T", "temperature", "board/temp1"))
    assert {"T": (None, "no permission")} == first(source)


def test_a_device_that_is_gone_in_the_middle(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A device that vanishes between being found and being read gives no answer."""
    tree = Tree(tmp_path)
    tree.happen(
        {"files": {"class/hwmon/hwmon0/name": "board", "class/hwmon/hwmon0/temp1_input": "1"}}
    )
    found = sysfs.find

    def find(folder: Path, prefix: str, place: sysfs.Place) -> Path:
        device = found(folder, prefix, place)
        tree.happen({"gone": ["class/hwmon/hwmon0"]})
        return device

    monkeypatch.setattr(sysfs, "find", find)
    source = build("hwmon", tree.options, tag("T", "temperature", "board/temp1"))
    assert {"T": (None, "no answer")} == first(source)


@pytest.mark.parametrize("content", [b"1" * 5000, b"1" + b" " * 5000])
def test_what_is_cut_off_is_not_read(content: bytes, tmp_path: Path) -> None:
    """A file longer than the kernel gives is no value, not even its first bytes."""
    (tmp_path / "long").write_bytes(content)
    with pytest.raises(NoReading, match="too long"):
        sysfs.number(tmp_path / "long")


def test_a_count_of_64_bits(tmp_path: Path) -> None:
    """A count near 2^63 keeps its last digit, which a float would lose."""
    (tmp_path / "count").write_text("9223372036854775807\n")
    assert 9223372036854775807 == sysfs.whole(tmp_path / "count")


def test_names_that_are_there_are_told(tmp_path: Path) -> None:
    """Where a device is not found, the log names those that are, and how to tell twins apart."""
    tree = Tree(tmp_path)
    tree.happen(
        {"files": {"hwmon0/name": "board\n", "hwmon1/name": "clamp\n", "hwmon2/name": "clamp\n"}}
    )
    with pytest.raises(NoReading) as caught:
        sysfs.find(tmp_path, "hwmon", sysfs.Place("bord", "", "temp1"))
    assert "there are: board, clamp, clamp" in str(caught.value.detail)
    with pytest.raises(NoReading) as caught:
        sysfs.find(tmp_path, "hwmon", sysfs.Place("clamp", "", "in1"))
    assert "clamp@PLACE" in str(caught.value.detail)
    assert "hwmon2" in str(caught.value.detail)


@pytest.mark.parametrize(
    ("status", "value", "problem"),
    [
        ("Charging", 1.0, ""),
        ("Full", 1.0, ""),
        ("Not charging", 1.0, ""),
        ("Discharging", 0.0, ""),
        ("Unknown", None, "status unknown"),
        ("discharging", None, "status unknown"),
        ("", None, "empty"),
    ],
)
def test_status_of_a_battery(
    status: str, value: float | None, problem: str, tmp_path: Path
) -> None:
    """A battery that discharges means mains off; one that says nothing means nothing."""
    tree = Tree(tmp_path)
    tree.happen({"files": {"class/power_supply/battery/status": f"{status}\n"}})
    source = build("power_supply", tree.options, tag("M", "mains", "battery/status"))
    assert {"M": (value, problem)} == first(source)


@pytest.mark.parametrize(
    ("online", "value", "problem"),
    [("0", 0.0, ""), ("1", 1.0, ""), ("2", 1.0, ""), ("3", None, "out of range")],
)
def test_adapter_online(online: str, value: float | None, problem: str, tmp_path: Path) -> None:
    """An adapter is there with 1, and with 2, which means that its charge can be set."""
    tree = Tree(tmp_path)
    tree.happen({"files": {"class/power_supply/adapter/online": online}})
    source = build("power_supply", tree.options, tag("M", "mains", "adapter/online"))
    assert {"M": (value, problem)} == first(source)


def test_units_of_the_kernel(tmp_path: Path) -> None:
    """Microvolts, microamperes and tenths of a degree come out in the tag's unit."""
    tree = Tree(tmp_path)
    folder = "class/power_supply/battery"
    tree.happen(
        {
            "files": {
                f"{folder}/voltage_now": "12480000",
                f"{folder}/current_now": "-830000",
                f"{folder}/temp": "315",
                f"{folder}/capacity": "29",
            }
        }
    )
    source = build(
        "power_supply",
        tree.options,
        tag("V", "voltage", "battery/voltage_now"),
        tag("A", "current", "battery/current_now"),
        tag("T", "temperature", "battery/temp", unit="F"),
        tag("C", "share", "battery/capacity"),
        tag("N", "number", "battery/capacity"),
    )
    found = {name: value for name, (value, _) in first(source).items()}
    assert {"V": 12.48, "A": -0.83, "T": 88.7, "C": 29.0, "N": 0.29} == found


def test_a_label_that_measures_something_else(tmp_path: Path) -> None:
    """A label can only be checked against the chip: a voltage is not taken for a temperature."""
    tree = Tree(tmp_path)
    folder = "class/hwmon/hwmon0"
    tree.happen({"files": {f"{folder}/name": "board", f"{folder}/in3_label": "Strip"}})
    source = build("hwmon", tree.options, tag("T", "temperature", "board/Strip"))
    assert {"T": (None, "other quantity")} == first(source)
