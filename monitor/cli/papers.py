"""Commands that make papers and files from the record; they need no running watch."""

from pathlib import Path

import click

from monitor.cli.options import FILE, FOLDER, state_option


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


@click.command()
@click.argument("folder", type=FOLDER)
@click.option(
    "--readings",
    type=click.Choice(["all", "minutes", "none"]),
    default="all",
    show_default=True,
    help="Every reading with its flag, or minutes of them.",
)
@click.option("--run", default="", help="Which run. [default: the latest]")
@click.option("--without-names", is_flag=True, help="People are person 1, person 2 ...")
@click.option("--base", type=float, default=0.0, metavar="C", help="Base of degree-days.")
@state_option
def export(
    folder: Path, readings: str, run: str, without_names: bool, base: float, state: Path
) -> None:
    """The run as plain files in a new FOLDER: tables with a description, and a workbook.

    A Frictionless Data Package: day table, events, notes, limits and readings as CSV,
    datapackage.json with units, flags and checksums. Phone numbers and mail addresses are in
    none of them. Every reading of a season can be some gigabytes.

    \b
    Examples:
      holdwater export oh-07
      holdwater export oh-07 --readings minutes --without-names
    """
    from monitor.archive import Reader
    from monitor.clock import always_trusted, board_time
    from monitor.control import RECORD
    from monitor.record.export import export as write
    from monitor.record.material import material_of, veil_for

    with Reader(state / RECORD) as reader:
        material = material_of(reader, base, _progress, run)
        veil = veil_for(material, named=not without_names)
        created = board_time(always_trusted).utc
        files = write(material, folder, veil, readings, created, _progress)
    click.echo(err=True)
    click.echo(f"{len(files)} files written to {folder}.")


@click.command()
@click.option("--output", type=FILE, help="The new file. [default: RUN.html]")
@click.option("--figures", type=FOLDER, help="Put every figure there too, as SVG and PNG.")
@click.option("--run", default="", help="Which run. [default: the latest]")
@click.option("--without-names", is_flag=True, help="People are person 1, person 2 ...")
@click.option("--base", type=float, default=0.0, metavar="C", help="Base of degree-days.")
@state_option
def report(
    output: Path | None,
    figures: Path | None,
    run: str,
    without_names: bool,
    base: float,
    state: Path,
) -> None:
    """The report on the run: one HTML file to read and to print.

    Key figures, the protocol as lived, curves by dph, the day table, a page for each event with
    its readings, limits and their changes, sensors, checksums. To print it or make a PDF, open
    it in a browser.

    \b
    Examples:
      holdwater report
      holdwater report --output for-a-talk.html --without-names --figures slides
    """
    from monitor.archive import Reader
    from monitor.control import RECORD
    from monitor.record.files import plain_name, write_new
    from monitor.record.material import material_of, veil_for
    from monitor.record.report import html_of, report_of, write_figures

    with Reader(state / RECORD) as reader:
        material = material_of(reader, base, _progress, run)
        found = report_of(material, veil_for(material, named=not without_names), _progress)
        target = output or Path(f"{plain_name(material.run)}.html")
    written = [write_new(target, html_of(found))]
    if figures is not None:
        written += write_figures(found, figures)
    click.echo(err=True)
    for path in written:
        click.echo(f"Written to {path}.")


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--config", type=FOLDER, help="From this configuration, without a record.")
@click.option("--with-numbers", is_flag=True, help="Phone numbers on the duty sheet.")
@click.option("--again", is_flag=True, help="Replace the sheets that are in FOLDER.")
@state_option
def sheets(folder: Path, config: Path | None, with_numbers: bool, again: bool, state: Path) -> None:
    """Sheets to print, into FOLDER: limits, duty, daily round, handover, test log.

    One page each, for black and white. The daily round is for a day without the computer; the
    handover shows what is open, owed and put aside now. Print them from a browser.

    \b
    Examples:
      holdwater sheets paper
      holdwater sheets paper --again
      holdwater sheets paper --config sample_config/ostrel-hill
    """
    from monitor.archive import Reader
    from monitor.clock import always_trusted, board_time
    from monitor.config import load
    from monitor.control import RECORD
    from monitor.record.sheets import Now, sheets_of, write_sheets
    from monitor.record.sheets.standing import standing_of

    utc = board_time(always_trusted).utc
    if config is not None:
        setup, now = load(config), Now(utc)
    else:
        with Reader(state / RECORD) as reader:
            setup, now = standing_of(reader, utc)
    for path in write_sheets(sheets_of(setup, now, with_numbers), folder, again):
        click.echo(f"Written to {path}.")


@click.command()
@click.argument("runs", nargs=-1, required=True, metavar="RUN RUN...")
@click.option("--base", type=float, default=0.0, metavar="C", help="Base of degree-days.")
@click.option("--csv", "table", type=FILE, help="Write every day to this new file, as CSV.")
@state_option
def compare(runs: tuple[str, ...], base: float, table: Path | None, state: Path) -> None:
    """Runs side by side, by days post hatch and by degree-days.

    RUN is a state folder (its latest run), FOLDER:NAME, or the name of a run in the record of
    --state. Temperature, turnovers, minutes without flow, light, water changed, nitrate; each
    with the number of days it rests on.

    \b
    Examples:
      holdwater compare OH-06 OH-07
      holdwater compare old-record:OH-05 OH-07 --base 10
    """
    from monitor.record.compare import csv_lines, text_lines
    from monitor.record.comparing import run_of, with_own_names
    from monitor.record.files import write_new

    if len(runs) < 2:
        raise click.UsageError("Name two runs or more.")
    found = with_own_names([run_of(run, state, base) for run in runs])
    for line in text_lines(found):
        click.echo(line)
    if table is not None:
        write_new(table, "".join(f"{line}\n" for line in csv_lines(found)))
        click.echo(f"Written to {table}.", err=True)


def _progress(line: str) -> None:
    """What is being done, on the error output, so that a long wait is seen to go on."""
    click.echo(f"\r{line[:60]:<60}", nl=False, err=True)


COMMANDS = (attach, export, report, sheets, compare)
