"""Commands about duty: who is called, swaps, sleeping on site, storms, rows from a calendar."""

from pathlib import Path

import click

from monitor.cli.options import FILE, FOLDER, as_option, show, show_view, state_option, tell_watch


def _say(state: Path, kind: str, person: str, said: str, text: str = "") -> None:
    tell_watch(state, kind, person, said, "duty", text=text)


@click.command()
@state_option
def duty(state: Path) -> None:
    """Who is called now and in the coming days, with swaps and open questions.

    \b
    Example:
      holdwater duty
    """
    show_view(state, "duty")


@click.command()
@click.argument("whom", nargs=-1, metavar="[PERSON] [DAY]")
@as_option
@state_option
def swap(whom: tuple[str, ...], person: str, state: Path) -> None:
    """Ask PERSON to take your duty tonight, or that of the next DAY.

    Without a name the next of the list is asked. It counts once that person says OK.

    \b
    Examples:
      holdwater swap oskel
      holdwater swap korrin sat --as tavrin
    """
    _say(state, "swap", person, "a swap is asked for", " ".join(whom))


@click.command()
@as_option
@state_option
def sleeping(person: str, state: Path) -> None:
    """You sleep on site tonight: called first, the siren with it.

    It holds until the quiet hours end.

    \b
    Example:
      holdwater sleeping --as korrin
    """
    _say(state, "sleep", person, "sleeps on site")


@click.command()
@click.argument("folder", metavar="[DIR]", type=FOLDER, required=False)
@click.option("--until", metavar="TIME", help='Begin storm footing; its end: "sat 22:00".')
@click.option("--over", is_flag=True, help="End storm footing before its time.")
@as_option
@state_option
def storm(folder: Path | None, until: str | None, over: bool, person: str, state: Path) -> None:
    """What to prepare for a storm, from DIR; or begin and end storm footing.

    On storm footing mains and supply are told at once, nothing waits for the morning, and people
    are asked for a sign of life every 2 hours.

    \b
    Examples:
      holdwater storm sample_config/ostrel-hill
      holdwater storm --until "sat 22:00"
      holdwater storm --over
    """
    if (folder is not None) + (until is not None) + over != 1:
        raise click.UsageError("Say one of: DIR for the sheet, --until TIME, or --over.")
    if folder is not None:
        from monitor.clock import always_trusted, board_time
        from monitor.config import load
        from monitor.drill.storm_sheet import storm_lines

        show(list(storm_lines(load(folder), board_time(always_trusted).utc)))
    elif until is not None:
        _say(state, "storm", person, "storm footing", until)
    else:
        _say(state, "storm end", person, "storm footing is over")


@click.command("duty-rows")
@click.argument("calendar", metavar="FILE.ics", type=FILE)
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.option("--days", type=click.IntRange(1, 400), default=60, show_default=True)
@click.option("--write", is_flag=True, help="Add the rows to duty.toml; otherwise only show them.")
def duty_rows(calendar: Path, folder: Path, days: int, write: bool) -> None:
    """Turns of duty from an iCalendar file: an entry is a turn, its title the order.

    A title names people of duty.toml: "Tavrin, Oskel". Nothing is written without --write, and
    only if the whole folder is sound with the new rows.

    \b
    Example:
      holdwater duty-rows rota.ics sample_config/ostrel-hill
    """
    from monitor.clock import always_trusted, board_time
    from monitor.config.calendar_file import import_rows

    done = import_rows(calendar, folder, board_time(always_trusted).utc, days, write)
    click.echo(done, nl=False)


COMMANDS = (duty, swap, sleeping, storm, duty_rows)
