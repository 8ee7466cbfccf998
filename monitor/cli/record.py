"""Commands that show the record of a run, read from the archive; they need no running watch."""

import sys
from math import inf
from pathlib import Path

import click

from monitor.cli import notes, run_life
from monitor.cli.options import FILE, state_option


@click.command()
@state_option
@click.option("--run", default="", help="Which run. [default: the latest]")
@click.option("--from", "first", type=int, metavar="DPH", help="First day. [default: all]")
@click.option("--to", "last", type=int, metavar="DPH", help="Last day, included.")
@click.option("--base", type=float, default=0.0, metavar="C", help="Base of degree-days.")
@click.option("--csv", "table", type=FILE, help="Write the table to this file, as CSV.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a day.")
def days(
    state: Path,
    run: str,
    first: int | None,
    last: int | None,
    base: float,
    table: Path | None,
    as_json: bool,
) -> None:
    """The run day by day, from the record.

    Flow, temperature, events, and how much of each day was seen. A day is a local date,
    counted from the hatch. Columns: docs/reference/day-table.md.

    \b
    Examples:
      holdwater days --from 10 --to 14
      holdwater days --csv oh-07.csv
    """
    from monitor.archive import Reader
    from monitor.control import RECORD
    from monitor.record import (
        Wish,
        csv_lines,
        day_count,
        day_table,
        json_lines,
        site_of,
        text_lines,
    )

    wish = Wish(-inf if first is None else first, inf if last is None else last, base, run)
    with Reader(state / RECORD) as reader:
        site = site_of(reader, base)
        if as_json:
            for line in json_lines(site, day_table(reader, wish)):
                click.echo(line)
            if table is None:
                return
        with click.progressbar(
            day_table(reader, wish),
            day_count(reader, wish),
            "Days",
            hidden=not sys.stderr.isatty(),
            file=sys.stderr,
        ) as bar:
            rows = list(bar)
    if table is None:
        for line in text_lines(site, rows):
            click.echo(line)
        return
    text = "".join(f"{line}\n" for line in csv_lines(site, rows))
    table.write_text(text, encoding="utf-8")
    click.echo(f"{len(rows)} days written to {table}.", err=True)


@click.command()
@state_option
@click.option("--days", type=click.FloatRange(min=0.0), metavar="N", help="Only the last N days.")
def review(state: Path, days: float | None) -> None:
    """Which alarms led to an action and which never did, with a proposed cure.

    From the journal of the whole record, or of its last days.

    \b
    Examples:
      holdwater review
      holdwater review --days 30
    """
    from monitor.record.reviewing import review_lines

    for line in review_lines(state, days):
        click.echo(line)


@click.command()
@click.argument("sql")
@state_option
@click.option("--csv", "as_csv", is_flag=True, help="As CSV with a head, not as JSON lines.")
def query(sql: str, state: Path, as_csv: bool) -> None:
    """Ask the archive with SQL of your own; nothing in it can be changed.

    One JSON object a row. Tables and columns: docs/reference/archive.md.

    \b
    Examples:
      holdwater query "select state, count(*) from journal group by state"
      holdwater query "select * from outbox" --csv
    """
    from monitor.control import RECORD
    from monitor.record.asking import csv_of, json_of, rows_of

    rows = rows_of(state / RECORD, sql)
    for line in csv_of(rows) if as_csv else json_of(rows):
        click.echo(line)


COMMANDS = (days, query, review, *run_life.COMMANDS, *notes.COMMANDS)
