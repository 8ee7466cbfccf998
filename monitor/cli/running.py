"""Commands that run something themselves: check, watch, demo, replay."""

import os
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.cli.options import FILE, FOLDER, show, state_option
from monitor.errors import HoldwaterError

if TYPE_CHECKING:
    from monitor.setup import Setup


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
def check(folder: Path) -> None:
    """Check a configuration folder and tell what the rig can see.

    \b
    Example:
      holdwater check sample_config/first-night
    """
    from monitor.config import load, load_secrets
    from monitor.parts import RECORDING, build

    setup = load(folder)
    secrets = folder / "secrets.toml"
    if os.access(secrets, os.R_OK) or not secrets.exists():
        live = tuple(source for source in setup.sources if source.kind != RECORDING)
        build(replace(setup, sources=live), load_secrets(folder))
    show(_summary(setup))


def _ways(setup: "Setup") -> str:
    """The channels that carry texts."""
    from monitor.config.keys import CARRIES_NO_TEXT

    return ", ".join(item.id for item in setup.channels if item.kind not in CARRIES_NO_TEXT)


def _summary(setup: "Setup") -> list[str]:
    from monitor.logic.paths import has_listener
    from monitor.logic.rota import alone
    from monitor.logic.sight import cheapest_help, sights
    from monitor.parts import heard

    rig, run = setup.rig, setup.run
    force = "" if run is None else ", watch set" if run.watch_set else ", WATCH STOOD DOWN"
    lines = [
        "No problem found.",
        f"Rig {rig.id} ({rig.label}, {rig.zone}): {len(rig.vessels)} vessels, {len(rig.lines)} "
        f"lines, {len(rig.tags)} tags, {len(setup.limits)} limits",
        "No run" if run is None else f"Run {run.id} in {run.tank}, dph 0 is {run.hatch}{force}",
        f"People: {', '.join(person.name for person in setup.people) or 'nobody'}",
        *alone(setup),
        f"Ways to reach them: {_ways(setup) or 'none'}",
        f"Ways to answer: {', '.join(['command', *sorted(heard(setup.channels))])}",
        "Signs of life leave it" if has_listener(setup) else "Nobody watches this watch",
        "",
        "What this rig can see:",
    ]
    found = sights(setup)
    width = max((len(sight.condition) for sight in found), default=0)
    lines += [f"  {sight.condition:<{width}}  {sight.how:<9}  {sight.why}" for sight in found]
    best = cheapest_help(setup)
    if best is not None:
        lines.append(f"The cheapest help: {best[0]}. It would improve {best[1]} of these lines.")
    return lines


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.option("--longest", is_flag=True, help="With every name as long as it may be.")
def texts(folder: Path, longest: bool) -> None:
    """Every text this set-up can send, with the places it takes of 160.

    Each is shown in the longest form it can have. Nothing is sent.

    \b
    Example:
      holdwater texts sample_config/ostrel-hill --longest
    """
    from monitor.clock import always_trusted, board_time
    from monitor.config import load
    from monitor.logic.gsm import LIMIT
    from monitor.logic.preview import specimens, with_longest_names

    setup = load(folder)
    found = specimens(with_longest_names(setup) if longest else setup, board_time(always_trusted))
    for item in found:
        about = f" ({item.subject})" if item.subject else ""
        click.echo(f"{item.places:3}  {item.grade}, {item.turn}{about}\n     {item.body}")
    most = max((item.places for item in found), default=0)
    click.echo(f"\n{len(found)} texts; the longest takes {most} of {LIMIT} places.")


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@state_option
@click.option(
    "--trust-clock",
    is_flag=True,
    help="The wall clock of this board is right from the start (it has a clock battery).",
)
@click.option(
    "--clock-mark",
    default="",
    metavar="FILE",
    help="A time service makes this file once it has set the clock.  [default: systemd's]",
)
def watch(folder: Path, state: Path, trust_clock: bool, clock_mark: str) -> None:
    """Watch the rig of a configuration folder until stopped.

    The first start takes DIR as version 1; later starts go on with the version in force (change
    it with: holdwater apply). One state folder has one watch.

    \b
    Example:
      holdwater watch /etc/holdwater --state /var/lib/holdwater
    """
    import logging

    from monitor.clock import SYNCHRONISED, always_trusted, set_once_there
    from monitor.watch import watch as run

    logging.basicConfig(level=logging.INFO, format="level=%(levelname)s part=%(name)s %(message)s")
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    by_mark = set_once_there(clock_mark or SYNCHRONISED)
    run(folder, state.absolute(), always_trusted if trust_clock else by_mark)


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.option(
    "--seconds",
    type=click.FloatRange(0, 3600),
    default=0.0,
    metavar="N",
    help="Listen so long, such as 60.  [default: until each was heard once, 20 s at most]",
)
def probe(folder: Path, seconds: float) -> None:
    """What each sensor says just now, for whoever wires one.

    Shows what was delivered, the value after conversion, its age, how it is judged and the last
    values; then devices of this board that the set-up does not name. Stop the watch first where
    it holds pins or a serial line. Nothing is kept and nobody is called.

    \b
    Example:
      holdwater probe /etc/holdwater --seconds 60
    """
    import logging
    import threading

    from monitor.clock import SystemClock, always_trusted
    from monitor.config import load, load_secrets
    from monitor.parts import build
    from monitor.probe import Ear, found_lines, listen, table, to_be_read
    from monitor.sources.devices import devices, unused

    logging.basicConfig(level=logging.WARNING, format="%(message)s")
    setup = load(folder)
    wanted = to_be_read(setup)
    sources, _ = build(wanted, load_secrets(folder))
    ids = {source.id for source in wanted.sources}
    ear = Ear([tag for tag in setup.rig.tags if tag.source in ids])
    clock = SystemClock(0, 0.0, always_trusted)
    listen(sources, ear, clock, seconds, threading.Event())
    show(table(setup, ear, clock.now().elapsed))
    click.echo("")
    show(found_lines(unused(devices(Path("/")), setup.rig, setup.sources)))


@click.command()
@click.option("--by-hand", is_flag=True, help="Nobody answers but you; slower.")
@click.option("--first-night", is_flag=True, help="The same night with the cheapest sensors.")
@click.option(
    "--speed",
    type=click.FloatRange(0, 100_000),
    metavar="FACTOR",
    help="Night time over real time; 0 is as fast as it goes. [default: 60, by hand 15]",
)
@click.option("--config", type=FOLDER, help="The folder sample_config, if it is elsewhere.")
@click.option("--folder", type=FOLDER, help="Where record and texts go. [default: a new one]")
def demo(
    by_hand: bool, first_night: bool, speed: float | None, config: Path | None, folder: Path | None
) -> None:
    """Play a night with a power cut on a simulated rig.

    The watch is the real one. Nobody is texted: the texts appear here and as files.

    \b
    Examples:
      holdwater demo
      holdwater demo --by-hand
    """
    from shutil import which
    from tempfile import mkdtemp

    from monitor.demo import Wishes, play
    from monitor.demo.play import sample

    name = "first-night" if first_night else "ostrel-hill"
    if folder is None:
        folder = Path(mkdtemp(prefix="holdwater-demo-"))
    elif folder.exists() and any(folder.iterdir()):
        raise HoldwaterError(f"{folder} is not empty; name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    program = "holdwater" if which("holdwater") else sys.argv[0]
    wishes = Wishes(sample(name, config), folder.absolute(), by_hand, speed, program)
    try:
        play(wishes, sys.stdout, sys.stdin)
    except KeyboardInterrupt:
        click.echo(f"\nStopped. The record lies in {folder}.")


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.argument("recording", metavar="FILE.csv", type=FILE)
@click.option("--inputs", type=FILE, help="What people said, as JSON lines.")
@click.option("--run-start", default="", metavar="T", help="Date (or time) of dph 0.")
@click.option("--stood-down", is_flag=True, help="As if the watch were stood down.")
@click.option("--state", "state_file", type=FILE, help="State to start from (JSON, only read).")
@click.option(
    "--run-on",
    type=click.FloatRange(0, 100_000),
    default=0.0,
    metavar="MIN",
    help="Let the clock run on so long after the last row.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def replay(
    folder: Path,
    recording: Path,
    inputs: Path | None,
    run_start: str,
    stood_down: bool,
    state_file: Path | None,
    run_on: float,
    as_json: bool,
) -> None:
    """Play a recording and print what the watch would do.

    It is played through the set-up of DIR. Nothing is sent and nothing is kept. The form of
    the files: docs/reference/replay.md.

    \b
    Example:
      holdwater replay sample_config/ostrel-hill night.csv --inputs said.jsonl
    """
    import json

    from monitor.config import load
    from monitor.lines import Line, readable
    from monitor.replay import play_files, set_up_for

    def show(line: Line) -> None:
        click.echo(json.dumps(line, ensure_ascii=False) if as_json else readable(line))

    setup = set_up_for(load(folder), run_start, stood_down)
    play_files(setup, recording, inputs, state_file, run_on * 60.0, show)


COMMANDS = (check, probe, texts, watch, demo, replay)
