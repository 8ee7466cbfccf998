"""The commands. Each imports what it needs only when it runs, so that `--help` is quick.

Exit codes: 0 done, 1 refused or failed (with the reason on the error output), 2 wrong usage.
"""

import sys

import click

from monitor import __version__
from monitor.cli import asking, care, drill, duty, keeping, page, papers, record, running
from monitor.errors import HoldwaterError

HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 90}

SECTIONS: tuple[tuple[str, tuple[click.Command, ...]], ...] = (
    ("Run", running.COMMANDS),
    ("Ask and answer", asking.COMMANDS),
    ("Duty", duty.COMMANDS),
    ("Put aside, works", care.COMMANDS),
    ("Record", record.COMMANDS),
    ("Papers", papers.COMMANDS),
    ("Rehearse", drill.COMMANDS),
    ("Keep safe", keeping.COMMANDS),
    ("Phone page", page.COMMANDS),
)
"""Every command, under the head where the overview names it."""


class Overview(click.Group):
    """A group whose help names its commands by section; each explains itself by --help."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the names, a row or more a section."""
        rows = [(head, " ".join(str(command.name) for command in own)) for head, own in SECTIONS]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


@click.group(cls=Overview, context_settings=HELP)
@click.version_option(__version__, prog_name="holdwater")
def commands() -> None:
    """Watches the water of a larval tank and calls people until flow is proven.

    \b
    First steps:
      holdwater demo                       a night with a power cut, in three minutes
      holdwater check sample_config/ostrel-hill
      holdwater watch sample_config/ostrel-hill

    Add --help to a command for what it does, with an example.
    """


for _, section in SECTIONS:
    for command in section:
        commands.add_command(command)


def main() -> None:
    """The program `holdwater`."""
    try:
        commands()
    except HoldwaterError as error:
        click.echo(f"holdwater: {error}", err=True)
        sys.exit(1)
