"""The commands. Each imports what it needs only when it runs, so that `--help` is quick.

Exit codes: 0 done, 1 refused or failed (with the reason on the error output), 2 wrong usage.
"""

import sys

import click

from monitor import __version__
from monitor.cli import asking, record, running
from monitor.errors import HoldwaterError

HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 90}


@click.group(context_settings=HELP)
@click.version_option(__version__, prog_name="holdwater")
def commands() -> None:
    """Watches the water of a larval tank and calls people until flow is proven.

    \b
    First steps:
      holdwater demo                       a night with a power cut, in three minutes
      holdwater check sample_config/ostrel-hill
      holdwater watch sample_config/ostrel-hill
    """


for command in (*running.COMMANDS, *asking.COMMANDS, *record.COMMANDS):
    commands.add_command(command)


def main() -> None:
    """The program `holdwater`."""
    try:
        commands()
    except HoldwaterError as error:
        click.echo(f"holdwater: {error}", err=True)
        sys.exit(1)
