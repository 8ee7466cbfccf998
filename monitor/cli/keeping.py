"""Commands that keep the record safe: copies on another medium, and putting one back."""

import sys
from pathlib import Path

import click

from monitor.cli.options import FILE, FOLDER, state_option


def _wall() -> float:
    from monitor.clock import always_trusted, board_time

    return board_time(always_trusted).utc


@click.command()
@click.argument("target", metavar="FOLDER", type=FOLDER)
@click.option("--keep", type=click.IntRange(1, 10_000), default=14, show_default=True)
@state_option
def backup(target: Path, keep: int, state: Path) -> None:
    """Copy the record into FOLDER, on another medium, and check the copy.

    It may run while the watch runs. Older copies than the newest --keep are deleted.

    \b
    Example:
      holdwater backup /media/stick/holdwater
    """
    from monitor.archive.copies import copy_to
    from monitor.control import RECORD

    with click.progressbar(length=1000, file=sys.stderr) as bar:

        def progress(done: int, total: int) -> None:
            bar.update(1000 * done // max(total, 1) - bar.pos)

        made = copy_to(state / RECORD, target, _wall(), keep, progress)
    click.echo(f"{made}, {made.stat().st_size / 1e6:.1f} MB, read through and found whole.")


@click.command()
@click.argument("copy", type=FILE)
@state_option
def restore(copy: Path, state: Path) -> None:
    """Put COPY in the place of the record, on a new card or after damage.

    The watch must be stopped. A record that is there is moved aside, not deleted.

    \b
    Example:
      holdwater restore /media/stick/holdwater/record-20261025T033000Z.db
    """
    from monitor.archive.copies import restore as put_back
    from monitor.control import RECORD
    from monitor.watch.running import sole_watch

    with sole_watch(state):
        aside = put_back(copy, state / RECORD, _wall())
    click.echo(f"{state / RECORD} is what was kept in {copy.name}.")
    if aside is not None:
        click.echo(f"What was there before is {aside.name} beside it.")


COMMANDS = (backup, restore)
