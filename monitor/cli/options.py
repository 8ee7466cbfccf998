"""Options that many commands share, and where the state of the watch lies."""

import os
from pathlib import Path
from typing import Any

import click

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


def show(lines: list[str]) -> None:
    """Print lines."""
    for line in lines:
        click.echo(line)


def ask_watch(state: Path, **data: object) -> dict[str, Any]:
    """Ask the running watch; ControlError says why it was not done."""
    from monitor.control import SOCKET, ask

    return ask(state / SOCKET, **data)


def show_view(state: Path, view: str) -> None:
    """Print a view of the running watch."""
    show(list(ask_watch(state, ask="snapshot", view=view)["lines"]))


def tell_watch(state: Path, kind: str, person: str, said: str, view: str, **more: object) -> None:
    """Bring in what a person says, confirm it in words, and print how it stands now."""
    response = ask_watch(state, ask="answer", kind=kind, **{"as": person}, **more)
    click.echo(f"Noted: {said}, by {response['who']}.")
    show_view(state, view)
