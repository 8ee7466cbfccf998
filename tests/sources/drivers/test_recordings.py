"""Recorded input of every driver, replayed, with the readings that must come of it.

tests/recordings/README.md says what the files hold. To take down the readings of a new one, run
this file with HOLDWATER_TAKE_DOWN=1, and check each of them by hand before they are kept.
"""

import json
import os
import tomllib
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from monitor.rig import Tag
from monitor.setup import SourceSetup
from monitor.sources.base import Source
from monitor.sources.gpio import gpio_on
from sources.drivers.stage import KINDS, Heard, StageClock, build, listen, rig, tag
from sources.drivers.worlds import FrameServer, LineServer, Pins, Tree, WebServer, World

FOLDER = Path(__file__).resolve().parents[2] / "recordings"
RECORDINGS = sorted(path.stem for path in FOLDER.glob("*.toml"))


def world_for(kind: str, folder: Path, clock: StageClock, options: Mapping[str, object]) -> World:
    """What a driver of this kind reads from."""
    if kind == "gpio":
        return Pins(clock)
    if kind == "ups":
        return LineServer(options)
    if kind == "modbus":
        return FrameServer()
    if kind == "http":
        return WebServer()
    return Tree(folder, "folder" if kind == "skeleton" else "root")


def source_for(kind: str, options: dict[str, object], tags: list[Tag], world: World) -> Source:
    """The source of a recording, set up like any other."""
    if isinstance(world, Pins):
        setup = SourceSetup("bus", kind, tuple(options.items()))
        return gpio_on(lambda _chip: world, setup, rig(*tags), {})
    return build(kind, options, *tags)


def play(recording: dict[str, Any], folder: Path) -> list[Heard]:
    """Every reading that comes of a recording."""
    kind, options = recording["kind"], recording.get("options", {})
    clock = StageClock(recording["seconds"])
    world = world_for(kind, folder, clock, options)
    tags = [
        tag(row["id"], row["measures"], row["address"], row["every_s"], row.get("unit"))
        for row in recording["tag"]
    ]
    for what in recording["at"]:
        clock.plan(what["s"], partial(world.happen, what))
    try:
        return listen(source_for(kind, {**options, **world.options}, tags, world), clock)
    finally:
        world.close()


@pytest.mark.parametrize("name", RECORDINGS)
def test_recording_gives_what_is_written_beside_it(name: str, tmp_path: Path) -> None:
    """Each recording gives exactly the readings that are written beside it."""
    recording = tomllib.loads((FOLDER / f"{name}.toml").read_text("utf-8"))
    heard = [list(item) for item in play(recording, tmp_path)]
    written = FOLDER / f"{name}.expected.json"
    if os.environ.get("HOLDWATER_TAKE_DOWN") == "1":
        rows = ",\n ".join(json.dumps(item) for item in heard)
        written.write_text(f"[{rows}]\n", "utf-8")
    assert json.loads(written.read_text("utf-8")) == heard


def test_every_driver_has_a_recording() -> None:
    """No driver is without recorded input, and no recording is of an unknown driver."""
    texts = [(FOLDER / f"{name}.toml").read_text("utf-8") for name in RECORDINGS]
    assert set(KINDS) == {tomllib.loads(text)["kind"] for text in texts}


def test_every_expectation_belongs_to_a_recording() -> None:
    """No file of expected readings is left over."""
    assert RECORDINGS == sorted(
        path.name.removesuffix(".expected.json") for path in FOLDER.glob("*.json")
    )
