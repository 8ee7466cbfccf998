"""Commands that make papers and files from the record; they need no running watch."""

from pathlib import Path

import click

from monitor.cli.options import FILE, state_option


@click.command()
@click.argument("sheet", type=FILE)
@click.option("--date", "date_column", metavar="COLUMN", help="Heading (or cell) of the dates.")
@click.option("--dph", "dph_column", metavar="COLUMN", help="The same, of days post hatch.")
@click.option("--sheet", "name", default="", metavar="NAME", help="Which sheet of a workbook.")
@click.option("--only", metavar="HEADING=WORD", help="Only rows with this word, such as a tank.")
@click.option("--first-row", type=click.IntRange(1), help="Where the rows of days begin.")
@click.option("--day-first/--month-first", default=None, help="What 4/10/2026 means.")
@click.option("--columns", default="", metavar="A,B", help="Columns to add. [default: all]")
@click.option("--fahrenheit", is_flag=True, help="Temperatures in F.")
@click.option("--gallons", is_flag=True, help="Litres as US gallons.")
@click.option("--decimal-comma", is_flag=True, help="Numbers with a comma, in CSV.")
@click.option("--base", type=float, default=0.0, metavar="C", help="Base of degree-days.")
@click.option("--output", type=FILE, help="The new file. [default: NAME-with-days]")
@click.option("--preview", is_flag=True, help="Show what would be written; write nothing.")
@state_option
def attach(
    sheet: Path,
    date_column: str | None,
    dph_column: str | None,
    name: str,
    only: str | None,
    first_row: int | None,
    day_first: bool | None,
    columns: str,
    fahrenheit: bool,
    gallons: bool,
    decimal_comma: bool,
    base: float,
    output: Path | None,
    preview: bool,
    state: Path,
) -> None:
    """The day table beside your own rows: a new file, your sheet (.csv, .xlsx) stays as it is.

    Rows are matched by date or by days post hatch. A date that could mean two days is refused,
    with its row.

    \b
    Examples:
      holdwater attach counts.xlsx --date Date --preview
      holdwater attach counts.csv --dph dph --columns turnovers,TW1_mean_C
    """
    from monitor.record.attach import Asked, match, preview_lines
    from monitor.record.attaching import days_of
    from monitor.record.dates import Order
    from monitor.record.labsheet import open_sheet

    if (date_column is None) == (dph_column is None):
        raise click.UsageError("Say either --date COLUMN or --dph COLUMN.")
    heading, _, word = (only or "").partition("=")
    if only is not None and not (heading and word):
        raise click.UsageError("--only is written as HEADING=WORD.")
    orders = {None: Order.UNKNOWN, True: Order.DAY_FIRST, False: Order.MONTH_FIRST}
    asked = Asked(
        column=date_column or dph_column or "",
        by_dph=dph_column is not None,
        order=orders[day_first],
        only=(heading, word) if only else None,
        first_row=first_row,
        wanted=tuple(filter(None, (part.strip() for part in columns.split(",")))),
        comma=decimal_comma,
    )
    own = open_sheet(sheet, name)
    found = match(own, days_of(state, base, fahrenheit, gallons), asked)
    for line in preview_lines(found):
        click.echo(line)
    if preview:
        click.echo("Nothing was written.")
        return
    target = output or sheet.with_stem(f"{sheet.stem}-with-days")
    if target.exists():
        raise click.UsageError(f"{target} is there already; name another file with --output.")
    for line in own.copy_to(target, found.columns):
        click.echo(f"Not carried over into the copy: {line}", err=True)
    click.echo(f"Written to {target}.")


COMMANDS = (attach,)
