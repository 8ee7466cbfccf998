"""A process that watches a recorded night at many times its speed, to be killed at any moment.

Real are the loop, the writer and its file, the texts (as files in a folder), and the way a watch
finds its memory again. Only the clock is virtual. Usage:
    python night_process.py CONFIG STATE NIGHT.csv ANSWERS.jsonl FROM_SECOND UNHEARD_SECONDS
It prints the second of the night it has reached, and "ended" after the last.
"""

import sys
from dataclasses import replace
from pathlib import Path

from monitor.archive import Writer
from monitor.channels import CHANNELS
from monitor.channels.base import Message
from monitor.clock import VirtualClock
from monitor.config import load
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.logic.state import fresh
from monitor.logic.step import resume
from monitor.loop import PLAYED, Loop
from monitor.recording import read_answers, read_rows
from monitor.setup import Channel
from monitor.watch import durable_from, last_readings, remember

FIRST_EVENT = 41


def main(
    config: Path, state: Path, night: Path, answers: Path, begin: float, unheard: float
) -> None:
    """Go on from what was kept, at `begin` seconds of the night, to its end.

    unheard: answers of so many seconds before wait to be heard, as texts wait in a modem.
    """
    setup = load(config, 1)
    setup = replace(
        setup,
        channels=tuple(
            Channel(channel.id, "folder", (("folder", str(state / channel.id)),))
            for channel in setup.channels
        ),
        worked_out={},
    )
    record = state / "record.db"
    memory = remember(record)
    rows = [row for row in read_rows(night, setup.rig, 0.0) if row.moment.elapsed >= begin]
    start = Moment(1, rows[0].moment.elapsed, rows[0].moment.utc)
    clock = VirtualClock(start)
    writer = Writer(record, setup.rig.board, setup.rig.id, _no_trouble)
    opening = writer.start(start.utc)
    writer.open_boot("night", 0.0)
    sent = state / "sent.log"
    senders = {channel.id: CHANNELS[channel.kind](channel, {}) for channel in setup.channels}

    def deliver(text: Text, channels: tuple[str, ...]) -> None:
        person, local = setup.person[text.person], setup.local(text.moment.utc)
        for channel in channels:
            with sent.open("a", encoding="utf-8") as log:
                log.write(f"{text.number} {channel} {text.body!r}\n")
            done = senders[channel].send(Message(text, person, setup.rig.label, local))
            writer.delivery(text.number, channel, done.outcome, done.detail, clock.now())

    durable = durable_from(memory.durable) or fresh(FIRST_EVENT)
    opening_step = resume(setup, durable, start)
    loop = Loop(setup, opening_step, clock, writer, deliver, lambda *_: None, patience=PLAYED)
    if opening.earlier is not None:
        loop.turn(last_readings(record, opening.earlier.last.elapsed))
    for waiting in memory.waiting:
        deliver(waiting.text, (waiting.channel,))
    said = [(at, answer) for at, answer in read_answers(answers) if at >= start.utc - unheard]
    for row in rows:
        while said and said[0][0] <= row.moment.utc:
            _, answer = said.pop(0)
            loop.turn([replace(answer, moment=clock.now())], waited_for=True)
        loop.run_on_to(clock, row.moment.elapsed)
        loop.keep(row.readings)
        loop.turn(row.readings)
        if int(row.moment.elapsed) % 10 == 0:
            print(f"{row.moment.elapsed:.0f}", flush=True)
    writer.close(30.0)
    print("ended", flush=True)


def _no_trouble(wrong: str, over: bool) -> None:
    print(f"trouble: {wrong} {over}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    folders = [Path(word) for word in sys.argv[1:5]]
    main(folders[0], folders[1], folders[2], folders[3], float(sys.argv[5]), float(sys.argv[6]))
