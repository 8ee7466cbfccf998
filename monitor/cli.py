"""The commands. Each imports what it needs only when it runs, so that `--help` is quick.

Exit codes: 0 done, 1 refused or failed (with the reason on the error output), 2 wrong usage.
"""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor import __version__
from monitor.errors import HoldwaterError

if TYPE_CHECKING:
    from monitor.setup import Setup

SYSTEM_STATE = Path("/var/lib/holdwater")
"""Where the service unit keeps the state of the watch."""

FOLDER = click.Path(file_okay=False, path_type=Path)
FILE = click.Path(dir_okay=False, path_type=Path)


def default_state() -> Path:
    """The state folder where none is named: the service's own, the system's, else the user's."""
    named = os.environ.get("STATE_DIRECTORY", "").partition(":")[0]
    if named:
        return Path(named)
    if SYSTEM_STATE.is_dir():
        return SYSTEM_STATE
    base = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(base) / "holdwater"


state_option = click.option(
    "--state",
    type=FOLDER,
    default=default_state,
    show_default="$STATE_DIRECTORY, /var/lib/holdwater or ~/.local/state/holdwater",
    help="Folder of the record and of the socket of the watch.",
)
as_option = click.option(
    "--as", "person", default="", help="Who answers, if your user name here is no person's id."
)
number_argument = click.argument("number", type=click.IntRange(1))

HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 90}


@click.group(context_settings=HELP)
@click.version_option(__version__, prog_name="holdwater")
def commands() -> None:
    """Watches the water of a larval tank and calls people until flow is proven.

    \b
    First steps:
      holdwater demo                       a night with a power cut, in four minutes
      holdwater check sample_config/ostrel-hill
      holdwater watch sample_config/ostrel-hill
    """


def main() -> None:
    """The program `holdwater`."""
    try:
        commands()
    except HoldwaterError as error:
        click.echo(f"holdwater: {error}", err=True)
        sys.exit(1)


def _show(lines: list[str]) -> None:
    for line in lines:
        click.echo(line)


def _ask(state: Path, **data: object) -> dict[str, Any]:
    from monitor.control import SOCKET, ask

    return ask(state / SOCKET, **data)


def _answer(state: Path, kind: str, number: int, person: str, **more: object) -> None:
    response = _ask(state, ask="answer", kind=kind, event=number, **{"as": person}, **more)
    click.echo(f"Noted: {kind} {number} by {response['who']}.")
    _show(response["lines"])


@commands.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
def check(folder: Path) -> None:
    """Check a configuration folder: every problem, or what this rig can see.

    \b
    Example:
      holdwater check sample_config/first-night
    """
    from monitor.config import load, load_secrets
    from monitor.parts import build

    setup = load(folder)
    if os.access(folder / "secrets.toml", os.R_OK):
        build(setup, load_secrets(folder))
    _show(_summary(setup))


def _summary(setup: "Setup") -> list[str]:
    from monitor.logic.sight import cheapest_help, sights

    rig, run = setup.rig, setup.run
    force = "" if run is None else ", watch set" if run.watch_set else ", WATCH STOOD DOWN"
    lines = [
        "No problem found.",
        f"Rig {rig.id} ({rig.label}, {rig.zone}): {len(rig.vessels)} vessels, {len(rig.lines)} "
        f"lines, {len(rig.tags)} tags, {len(setup.limits)} limits",
        "No run" if run is None else f"Run {run.id} in {run.tank}, dph 0 is {run.hatch}{force}",
        f"People: {', '.join(person.name for person in setup.people) or 'nobody'}",
        f"Ways to reach them: {', '.join(channel.id for channel in setup.channels) or 'none'}",
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


@commands.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.option("--reason", required=True, help="Why; it is kept with the version.")
@as_option
@state_option
def apply(folder: Path, reason: str, person: str, state: Path) -> None:
    """Bring a changed configuration folder into the running watch.

    It is checked as a whole and becomes the next numbered version; a folder with a problem
    leaves the old one in force.

    \b
    Example:
      holdwater apply /etc/holdwater --reason "new pump: 9.4 L/min" --as tavrin
    """
    from monitor.config import load, snapshot

    load(folder)
    response = _ask(
        state, ask="apply", files=snapshot(folder), reason=reason, **{"as": person}
    )
    click.echo(f"Version {response['version']} is in force, by {response['who']}.")


@commands.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@state_option
@click.option(
    "--trust-clock",
    is_flag=True,
    help="The wall clock of this board is right from the start (it has a clock battery).",
)
def watch(folder: Path, state: Path, trust_clock: bool) -> None:
    """Watch the rig of a configuration folder until stopped.

    The first start takes DIR as version 1; later starts go on with the version in force (change
    it with: holdwater apply). One state folder has one watch.

    \b
    Example:
      holdwater watch /etc/holdwater --state /var/lib/holdwater
    """
    import logging

    from monitor.clock import always_trusted, time_service_has_set_it
    from monitor.watch import watch as run

    logging.basicConfig(
        level=logging.INFO, format="level=%(levelname)s part=%(name)s %(message)s"
    )
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    run(folder, state.absolute(), always_trusted if trust_clock else time_service_has_set_it)


@commands.command()
@state_option
def now(state: Path) -> None:
    """What the watch sees now: water, sensors, open events.

    \b
    Example:
      holdwater now
    """
    _show(_ask(state, ask="snapshot", view="now")["lines"])


@commands.command()
@state_option
def events(state: Path) -> None:
    """The open events: number, state of the water, who has it.

    \b
    Example:
      holdwater events
    """
    _show(_ask(state, ask="snapshot", view="events")["lines"])


@commands.command()
@number_argument
@click.option("--there-in", "minutes", type=click.FloatRange(0, 600), metavar="MIN")
@as_option
@state_option
def take(number: int, minutes: float | None, person: str, state: Path) -> None:
    """Take event NUMBER: you go. Without --there-in your usual way there is promised.

    \b
    Example:
      holdwater take 41 --there-in 30
    """
    _answer(state, "take", number, person, minutes=minutes)


@commands.command()
@number_argument
@as_option
@state_option
def here(number: int, person: str, state: Path) -> None:
    """You are on site for event NUMBER; repeats stop, new and worse turns still come.

    \b
    Example:
      holdwater here 41
    """
    _answer(state, "here", number, person)


@commands.command()
@number_argument
@as_option
@state_option
def cannot(number: int, person: str, state: Path) -> None:
    """You cannot come to event NUMBER; the next on duty is called at once.

    \b
    Example:
      holdwater cannot 41
    """
    _answer(state, "cannot", number, person)


@commands.command()
@number_argument
@as_option
@state_option
def flow(number: int, person: str, state: Path) -> None:
    """You have seen the water run for event NUMBER, by a bucket check.

    \b
    Example:
      holdwater flow 41
    """
    _answer(state, "flow", number, person)


@commands.command()
@number_argument
@click.argument("line")
@click.argument("value", required=False, default="")
@as_option
@state_option
def done(number: int, line: str, value: str, person: str, state: Path) -> None:
    """An owed LINE of event NUMBER is done, with its VALUE where it has one.

    \b
    Examples:
      holdwater done 41 "dead count" 160
      holdwater done 41 timers
    """
    _answer(state, "done", number, person, text=f"{line}: {value}" if value else line)


@commands.command()
@number_argument
@state_option
def why(number: int, state: Path) -> None:
    """Why event NUMBER was called: its alarms, texts and answers in order, from the record.

    \b
    Example:
      holdwater why 41
    """
    from monitor.errors import ControlError
    from monitor.past import told

    try:
        _show(_ask(state, ask="why", event=number)["lines"])
    except ControlError:
        click.echo("(No watch is running here; this is from the record.)", err=True)
    _show(told(state, number))


@commands.command()
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
    """A night with a power cut on a simulated rig, watched by the real watch.

    Nobody is texted: the texts appear here and as files.

    \b
    Examples:
      holdwater demo
      holdwater demo --by-hand
    """
    from tempfile import mkdtemp

    from monitor.demo import Wishes, play
    from monitor.demo.play import sample

    name = "first-night" if first_night else "ostrel-hill"
    if folder is None:
        folder = Path(mkdtemp(prefix="holdwater-demo-"))
    elif folder.exists() and any(folder.iterdir()):
        raise HoldwaterError(f"{folder} is not empty; name a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    wishes = Wishes(sample(name, config), folder.absolute(), by_hand, speed)
    try:
        play(wishes, sys.stdout, sys.stdin)
    except KeyboardInterrupt:
        click.echo(f"\nStopped. The record lies in {folder}.")


@commands.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.argument("recording", metavar="FILE.csv", type=FILE)
@click.option("--inputs", type=FILE, help="What people said, as JSON lines.")
@click.option("--run-start", default="", metavar="T", help="Date (or time) of dph 0.")
@click.option("--stood-down", is_flag=True, help="As if the watch were stood down.")
@click.option("--state", "state_file", type=FILE, help="State to start from (JSON, only read).")
@click.option("--run-on", type=click.FloatRange(0, 100_000), default=0.0, metavar="MIN",
              help="Let the clock run on so long after the last row.")
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
    """Play a recording through the set-up of DIR and print what the watch would do.

    Nothing is sent and nothing is kept. The form of the files: docs/reference/replay.md.

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
