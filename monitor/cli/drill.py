"""Commands of the rehearsal: the rig in figures, and faults played against it."""

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.cli.options import FILE, FOLDER, show
from monitor.errors import HoldwaterError

if TYPE_CHECKING:
    from monitor.setup import Setup

flow_option = click.option(
    "--flow", type=click.FloatRange(0.01, 10_000), metavar="L/MIN", help="Flow to the larvae."
)


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@flow_option
def rig(folder: Path, flow: float | None) -> None:
    """The rig of a folder in figures, before any sensor is bought.

    How long the header lasts at each flow, who can come in time, what overflows when.

    \b
    Examples:
      holdwater rig sample_config/ostrel-hill
      holdwater rig sample_config/ostrel-hill --flow 2
    """
    from monitor.config import load
    from monitor.drill.rig_sheet import sheet_lines
    from monitor.units import L_PER_MIN

    wished = None if flow is None else flow * L_PER_MIN
    show(list(sheet_lines(load(folder), wished)))


@click.command()
@click.argument("folder", metavar="DIR", type=FOLDER)
@click.option("--fault", "names", multiple=True, metavar="NAME", help="Only this one; repeatable.")
@click.option("--time", "hours", type=click.Choice(["night", "day", "both"]), default="both")
@click.option("--date", "day", type=click.DateTime(["%Y-%m-%d"]), help="[default: today]")
@click.option("--dph", type=click.IntRange(-10, 400), metavar="N", help="Age of the larvae then.")
@flow_option
@click.option("--asleep", multiple=True, metavar="PERSON", help="Answers nothing; repeatable.")
@click.option("--html", type=FILE, metavar="FILE", help="Write one sheet to print as well.")
@click.option(
    "--accept", metavar="FAULT", help="Accept its bad verdicts by name, and play nothing."
)
@click.option("--as", "person", default="", help="Who accepts.")
@click.option("--reason", default="", help="Why it is accepted.")
def drill(
    folder: Path,
    names: tuple[str, ...],
    hours: str,
    day: "datetime | None",
    dph: int | None,
    flow: float | None,
    asleep: tuple[str, ...],
    html: Path | None,
    accept: str | None,
    person: str,
    reason: str,
) -> None:
    """Play faults on a simulated twin of the rig: who comes, and is it in time?

    Ends with 1 when harm comes first and nobody has accepted that by name.

    \b
    Examples:
      holdwater drill sample_config/ostrel-hill --fault "power cut"
    """
    from monitor.config import load, snapshot
    from monitor.drill import report
    from monitor.drill.run import Wishes, jobs_of, run, today
    from monitor.units import L_PER_MIN

    setup = load(folder)
    mark = report.mark_of(snapshot(folder))
    if accept is not None:
        _accept(folder, setup, accept, person, reason, mark)
        return
    nights = {"night": (True,), "day": (False,), "both": (True, False)}[hours]
    wishes = Wishes(
        day=day.date() if day is not None else today(setup),
        names=names,
        nights=nights,
        dph=dph,
        flow=None if flow is None else flow * L_PER_MIN,
        asleep=asleep,
    )
    jobs = jobs_of(setup, wishes)
    with click.progressbar(run(jobs), length=len(jobs.jobs), file=sys.stderr) as under_way:
        outcomes = list(under_way)
    accepted = report.read_accepted(folder)
    show(list(report.lines_of(setup, outcomes, accepted, mark)))
    if html is not None:
        html.write_text(report.sheet(setup, outcomes, accepted, mark), encoding="utf-8")
        click.echo(f"Sheet written to {html}.", err=True)
    if not report.passed(outcomes, accepted, mark):
        sys.exit(1)


def _accept(folder: Path, setup: "Setup", fault: str, person: str, reason: str, mark: str) -> None:
    from monitor.drill.faults import FAULTS
    from monitor.drill.report import Acceptance, accept

    if fault not in FAULTS:
        raise HoldwaterError(f"--accept {fault!r}: no such fault; there are {', '.join(FAULTS)}")
    if person not in setup.person:
        known = ", ".join(setup.person)
        raise HoldwaterError(f"--as {person!r}: it is accepted by name, one of {known}")
    if not reason.strip():
        raise HoldwaterError("--reason: say why it is accepted")
    for time in ("night", "day"):
        accept(folder, Acceptance(fault, time, person, reason.strip(), mark))
    click.echo(f"Accepted by {person}: {fault}. It holds until the configuration changes.")


COMMANDS = (rig, drill)
