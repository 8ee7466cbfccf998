"""Commands for the life of a run: its first stocking, batches, hatch, moves, and end."""

from collections.abc import Sequence
from pathlib import Path

import click

from monitor.cli.options import FOLDER, as_option, ask_watch, show, state_option


@click.command(name="run")
@click.option("--run", default="", help="Which run. [default: the latest]")
@state_option
def show_run(run: str, state: Path) -> None:
    """The run: age, batches, whether the watch is set, and every amendment with its reason.

    It needs no running watch.

    \b
    Example:
      holdwater run
    """
    from monitor.archive import Reader
    from monitor.control import RECORD
    from monitor.record.life import life_lines

    with Reader(state / RECORD) as reader:
        show(list(life_lines(reader, run)))


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.argument("changes", nargs=-1, required=True, metavar="KEY=VALUE...")
@click.option("--reason", required=True, help="Why; it is kept with the version.")
@as_option
@state_option
def amend(folder: Path, changes: Sequence[str], reason: str, person: str, state: Path) -> None:
    """Change the run in run.toml of a configuration folder, and bring it into the watch.

    Remarks in the file stay. If the watch refuses, the file is as it was before. Keys:
    docs/reference/configuration.md.

    \b
    Examples:
      holdwater amend DIR id=OH-07 tank=LT1 hatch=2026-10-04 --reason "A stocked"
      holdwater amend DIR batch.B.hatch="2026-10-06 04:30" --reason "B hatched"
      holdwater amend DIR hatch=2026-10-06 --reason "B is the largest batch"
      holdwater amend DIR also_in=NT1 --reason "half moved to the nursery"
      holdwater amend DIR watch_set=false closed="2026-11-05 10:00" --reason "run over"
    """
    from monitor.config import load_texts, snapshot
    from monitor.errors import HoldwaterError
    from monitor.record.life import changed

    files = snapshot(folder)
    before = files.get("run.toml")
    files["run.toml"] = changed(before or "", changes)
    load_texts(files, 0)
    _write(folder / "run.toml", files["run.toml"])
    try:
        response = ask_watch(state, ask="apply", files=files, reason=reason, **{"as": person})
    except HoldwaterError:
        _write(folder / "run.toml", before)
        raise
    click.echo(f"Version {response['version']} is in force, by {response['who']}.")


def _write(path: Path, text: str | None) -> None:
    """The file as a whole, or not at all; None takes it away."""
    from monitor.errors import HoldwaterError

    try:
        if text is None:
            path.unlink(missing_ok=True)
            return
        beside = path.with_name(f".{path.name}.new")
        beside.write_text(text, encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise HoldwaterError(f"{path}: {error.strerror}; nothing was changed") from error


@click.command()
@click.option("--run", default="", help="Which run. [default: the latest]")
@click.option("--loss", type=click.IntRange(1), default=100, help="Dead in a day that are a loss.")
@state_option
def committee(run: str, loss: int, state: Path) -> None:
    """What an animal-care committee asks: numbers, excursions, losses, signed observations.

    Each excursion with its cause, what was done, dead within 24 h, and whether the watch was set
    and the path to people proven. It needs no running watch.

    \b
    Example:
      holdwater committee --loss 200
    """
    from monitor.archive import Reader
    from monitor.control import RECORD
    from monitor.record.committee import lines, papers_of

    with Reader(state / RECORD) as reader:
        show(list(lines(papers_of(reader, run, loss))))


COMMANDS = (show_run, amend, committee)
