"""Plays a story of the simulated rig through the real loop into a real archive."""

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from monitor.archive import SetupVersion, Writer
from monitor.clock import VirtualClock
from monitor.config import load_texts, snapshot
from monitor.control import RECORD
from monitor.effects import Text
from monitor.inputs import Answer, Reading
from monitor.logic.state import fresh
from monitor.logic.step import resume
from monitor.loop import PLAYED, Loop
from monitor.simulator import SimulatedRig, Story

SAMPLES = Path(__file__).parents[2] / "sample_config"


def keep(
    story: Story,
    state: Path,
    sample: str = "ostrel-hill",
    first_event: int = 1,
    every: float = 0.0,
) -> None:
    """The record of a story in `state`, as a watch on the sample leaves it; every text goes out.

    every: no tag is read more often, s.
    """
    files = snapshot(SAMPLES / sample)
    files["rig.toml"] = re.sub(
        r"every_s = (\S+)", lambda m: f"every_s = {max(float(m[1]), every):g}", files["rig.toml"]
    )
    setup = load_texts(files, 1)
    rig = SimulatedRig(setup, story, seed=1)
    clock = VirtualClock(rig.origin)
    writer = Writer(state / RECORD, setup.rig.board, setup.rig.id, _no_trouble)
    writer.start(rig.origin.utc)
    writer.open_boot("story", 0.0)
    version = SetupVersion(1, rig.origin, "watch", "first set-up", files)
    writer.commit(setup=version)

    def deliver(text: Text, channels: tuple[str, ...]) -> None:
        for channel in channels:
            writer.delivery(text.number, channel, "accepted", "", clock.now())

    start = resume(setup, fresh(first_event), rig.origin)
    loop = Loop(replace(setup), start, clock, writer, deliver, lambda *_: None, patience=PLAYED)
    end = rig.origin.elapsed + story.length
    batch: list[Reading | Answer] = []
    for item in rig.until(end):
        if batch and item.moment.elapsed > batch[0].moment.elapsed:
            _turn(loop, clock, batch)
            batch = []
        batch.append(item)
    _turn(loop, clock, batch)
    loop.run_on_to(clock, end)
    assert writer.close(60.0)


def _turn(loop: Loop, clock: VirtualClock, batch: Sequence[Reading | Answer]) -> None:
    loop.run_on_to(clock, batch[0].moment.elapsed)
    loop.keep([item for item in batch if isinstance(item, Reading)])
    loop.turn(batch)


def _no_trouble(wrong: str, over: bool) -> None:
    raise AssertionError(f"the record: {wrong} (over: {over})")
