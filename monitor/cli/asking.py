"""Commands that ask the running watch, or tell it something: people's answers and views."""

from pathlib import Path

import click

from monitor.cli.options import (
    FOLDER,
    as_option,
    ask_watch,
    number_argument,
    show,
    show_view,
    state_option,
    tell_watch,
)


def _answer(state: Path, kind: str, number: int, person: str, **more: object) -> None:
    tell_watch(state, kind, person, f"{kind} {number}", "events", event=number, **more)


@click.command()
@state_option
def now(state: Path) -> None:
    """What the watch sees now: water, sensors, open events.

    \b
    Example:
      holdwater now
    """
    show_view(state, "now")


@click.command()
@state_option
def events(state: Path) -> None:
    """The open events: number, state of the water, who has it.

    \b
    Example:
      holdwater events
    """
    show_view(state, "events")


@click.command()
@number_argument
@click.option("--there-in", "minutes", type=click.FloatRange(0, 600), metavar="MIN")
@as_option
@state_option
def take(number: int, minutes: float | None, person: str, state: Path) -> None:
    """Take event NUMBER: you go.

    Without --there-in the watch expects you after your usual way there.

    \b
    Example:
      holdwater take 41 --there-in 30
    """
    _answer(state, "take", number, person, minutes=minutes)


@click.command()
@number_argument
@as_option
@state_option
def here(number: int, person: str, state: Path) -> None:
    """You are on site for event NUMBER.

    Repeats stop; new and worse turns still come.

    \b
    Example:
      holdwater here 41
    """
    _answer(state, "here", number, person)


@click.command()
@number_argument
@as_option
@state_option
def cannot(number: int, person: str, state: Path) -> None:
    """You cannot come to event NUMBER: the next on duty is called.

    \b
    Example:
      holdwater cannot 41
    """
    _answer(state, "cannot", number, person)


@click.command()
@number_argument
@as_option
@state_option
def flow(number: int, person: str, state: Path) -> None:
    """You have seen the water run, by bucket, for event NUMBER.

    \b
    Example:
      holdwater flow 41
    """
    _answer(state, "flow", number, person)


@click.command()
@number_argument
@click.argument("line")
@click.argument("value", required=False, default="")
@as_option
@state_option
def done(number: int, line: str, value: str, person: str, state: Path) -> None:
    """An owed LINE of event NUMBER is done.

    VALUE is what was found, such as a count.

    \b
    Examples:
      holdwater done 41 "dead count" 160
      holdwater done 41 timers
    """
    _answer(state, "done", number, person, text=f"{line}: {value}" if value else line)


@click.command()
@click.argument("tag")
@click.argument("value", type=float, required=False)
@click.option("--unit", default="", help="Unit of VALUE.  [default: that of the tag]")
@click.option(
    "--bucket", nargs=2, type=float, metavar="LITRES SECONDS", help="Instead of VALUE: a flow."
)
@click.option("--at", default="", metavar="HH:MM", help="When it was measured.  [default: now]")
@click.option("--reason", default="", help="How or why; it is kept with the value.")
@as_option
@state_option
def enter(
    tag: str,
    value: float | None,
    unit: str,
    bucket: tuple[float, float] | None,
    at: str,
    reason: str,
    person: str,
    state: Path,
) -> None:
    """What you measured by hand: a VALUE for a TAG that people enter.

    \b
    Examples:
      holdwater enter SAL 34.2 --reason refractometer
      holdwater enter QB --bucket 10 98 --at 08:10
    """
    if (value is None) == (bucket is None):
        raise click.UsageError("give a VALUE, or --bucket LITRES SECONDS")
    given = {"value": value} if bucket is None else {"bucket": list(bucket)}
    more = {"unit": unit, "at": at, "reason": reason, "as": person}
    response = ask_watch(state, ask="enter", tag=tag, **given, **more)
    click.echo(f"Noted: {response['told']}, by {response['who']}.")


@click.command()
@number_argument
@state_option
def why(number: int, state: Path) -> None:
    """Why event NUMBER was called, in order, from the record.

    Conditions with their evidence, texts and answers. It works without a running watch too.

    \b
    Example:
      holdwater why 41
    """
    from monitor.errors import ControlError
    from monitor.past import told

    try:
        show(ask_watch(state, ask="why", event=number)["lines"])
    except ControlError:
        click.echo("(No watch is running here; this is from the record.)", err=True)
    show(told(state, number))


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.option("--reason", required=True, help="Why; it is kept with the version.")
@as_option
@state_option
def apply(folder: Path, reason: str, person: str, state: Path) -> None:
    """Bring a changed configuration folder into the watch.

    It is checked as a whole and becomes the next numbered version; a folder with a problem
    leaves the old one in force.

    \b
    Example:
      holdwater apply /etc/holdwater --reason "new pump: 9.4 L/min" --as tavrin
    """
    from monitor.config import load, snapshot

    load(folder)
    response = ask_watch(
        state, ask="apply", files=snapshot(folder), reason=reason, **{"as": person}
    )
    click.echo(f"Version {response['version']} is in force, by {response['who']}.")


COMMANDS = (now, events, why, take, here, cannot, flow, done, enter, apply)
