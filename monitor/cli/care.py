"""Commands that put one alarm aside, and tell the watch of holds, works and backups."""

from pathlib import Path

import click

from monitor.cli.options import as_option, show_view, state_option, tell_watch

alarm_argument = click.argument("alarm")
reason_option = click.option("--reason", required=True, help="Why; it is kept with it.")


def _say(state: Path, kind: str, person: str, said: str, **more: object) -> None:
    tell_watch(state, kind, person, said, "aside", **more)


@click.command()
@alarm_argument
@click.option("--for", "minutes", type=float, required=True, metavar="MIN", help="How long.")
@reason_option
@as_option
@state_option
def shelve(alarm: str, minutes: float, reason: str, person: str, state: Path) -> None:
    """Shelve one ALARM: it is judged and recorded, and calls nobody.

    At most 8 hours, an urgent alarm one. At the end it calls if its condition is true. Over a
    night those on duty are told before.

    \b
    Example:
      holdwater shelve "sump low/warn" --for 45 --reason "water change"
    """
    details = {"alarm": alarm}
    _say(state, "shelve", person, f"{alarm} shelved", minutes=minutes, text=reason, details=details)


@click.command()
@alarm_argument
@click.option("--hours", type=float, required=True, metavar="H", help="How long: at most 14 days.")
@click.option("--check", required=True, metavar="TEXT", help="What is looked at by hand meanwhile.")
@click.option("--every", metavar="MIN", default="", help="How often that is asked for.")
@reason_option
@as_option
@state_option
def withdraw(
    alarm: str, hours: float, check: str, every: str, reason: str, person: str, state: Path
) -> None:
    """Take one ALARM out of service, with a check by hand that is asked for.

    Without --every an urgent alarm is asked for each 4 hours, a high one each 12, others daily.

    \b
    Example:
      holdwater withdraw "sump low/warn" --hours 48 --check "read the mark" --reason "float broken"
    """
    details = {"alarm": alarm, "check": check, "every": every}
    said = f"{alarm} out of service"
    _say(state, "withdraw", person, said, minutes=hours * 60.0, text=reason, details=details)


@click.command("in-force")
@alarm_argument
@as_option
@state_option
def in_force(alarm: str, person: str, state: Path) -> None:
    """Put one ALARM in force again before its end.

    \b
    Example:
      holdwater in-force "sump low/warn"
    """
    _say(state, "restore", person, f"{alarm} in force", details={"alarm": alarm})


@click.command()
@alarm_argument
@click.argument("found", default="")
@as_option
@state_option
def checked(alarm: str, found: str, person: str, state: Path) -> None:
    """The check by hand of an ALARM out of service is done; FOUND is what you saw.

    \b
    Example:
      holdwater checked "sump low/warn" "31 cm"
    """
    _say(state, "checked", person, f"{alarm} checked", text=found, details={"alarm": alarm})


@click.command()
@state_option
def aside(state: Path) -> None:
    """What is put aside now: shelves, alarms out of service, holds, works, backups.

    \b
    Example:
      holdwater aside
    """
    show_view(state, "aside")


@click.command()
@click.argument("length", metavar="MIN|end")
@click.option("--line", default="", help="Which line, where the rig has several.")
@as_option
@state_option
def hold(length: str, line: str, person: str, state: Path) -> None:
    """A feeding hold of so many minutes begins; "end" ends it.

    In a hold the minutes count from now: sooner at will, later once and by half an hour.

    \b
    Examples:
      holdwater hold 40
      holdwater hold end
    """
    if length.casefold() == "end":
        _say(state, "hold end", person, "hold over", text=line)
        return
    minutes = _number(length, "hold: give minutes, such as 40, or the word end")
    _say(state, "hold", person, f"hold of {minutes:g} min", minutes=minutes, text=line)


@click.command()
@click.argument("what", metavar="WHAT|over")
@click.option("--at", "place", default="", metavar="PLACE", help="Where: a circuit or a room.")
@click.option("--for", "minutes", type=float, metavar="MIN", help="How long: at most a day.")
@click.option("--second", default="", metavar="PERSON", help="Who else knows of it; is told.")
@click.option("--left", default="", metavar="TEXT", help="What still stands shut or unplugged.")
@as_option
@state_option
def works(
    what: str,
    place: str,
    minutes: float | None,
    second: str,
    left: str,
    person: str,
    state: Path,
) -> None:
    """Work near the rig begins; "over" ends it. Every alarm stays in force.

    It has an end, and a second person who is told. At the end whoever works is asked what stands
    shut or unplugged; an overrun is told to the others.

    \b
    Examples:
      holdwater works "painting" --at B1 --for 180 --second oskel
      holdwater works over --left nothing
    """
    if what.casefold() == "over":
        _say(state, "works end", person, "works over", text=left, details={"at": place})
        return
    details = {"at": place, "second": second}
    said = f"{what} at {place}"
    _say(state, "works", person, said, minutes=minutes, text=what, details=details)


@click.command()
@click.argument("hours", metavar="HOURS|running|over")
@click.option("--of", "of", default="", metavar="NAME", help="What runs. [default: generator]")
@as_option
@state_option
def fuel(hours: str, of: str, person: str, state: Path) -> None:
    """A backup runs, with fuel for HOURS; "over" when the mains is back for good.

    While it runs people are reminded each hour, with the clock time at which the fuel ends, and
    called an hour before it. Say "running" where the hours are not known.

    \b
    Examples:
      holdwater fuel 5.5
      holdwater fuel over
    """
    word, details = hours.casefold(), {"of": of}
    if word == "over":
        _say(state, "fuel", person, "backup over", text="over", details=details)
        return
    minutes = None
    if word != "running":
        minutes = 60.0 * _number(hours, "fuel: give hours, such as 5.5, or running, or over")
    _say(state, "fuel", person, "backup runs", minutes=minutes, details=details)


def _number(word: str, wanted: str) -> float:
    try:
        return float(word)
    except ValueError:
        raise click.UsageError(wanted) from None


COMMANDS = (shelve, withdraw, in_force, checked, aside, hold, works, fuel)
