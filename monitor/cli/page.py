"""Commands of the phone page: serve it, and say who may use it."""

from pathlib import Path

import click

from monitor.cli.options import FOLDER, state_option


def _advice_folder() -> Path:
    """The response pages: beside the package, or where an installation puts them."""
    beside = Path(__file__).parents[2] / "docs" / "respond"
    return beside if beside.is_dir() else Path("/usr/share/holdwater/respond")


accounts_option = click.option(
    "--accounts",
    type=FOLDER,
    help="Folder of page.db, who may use the page. [default: the state's]",
)


@click.command()
@state_option
@accounts_option
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=click.IntRange(0, 65535), default=8341, show_default=True)
@click.option("--behind-tls", is_flag=True, help="People reach it by https, through a proxy here.")
@click.option("--respond", "advice", type=FOLDER, default=_advice_folder, help="Response pages.")
def page(
    state: Path, accounts: Path | None, host: str, port: int, behind_tls: bool, advice: Path
) -> None:
    """Serve the phone page of the watch until stopped.

    It listens on this machine only, unless told otherwise. First let somebody in with:
    holdwater admit PERSON

    \b
    Example:
      holdwater page --host 192.0.2.10
    """
    import logging

    from monitor.page.serve import serve

    logging.basicConfig(level=logging.INFO, format="level=%(levelname)s part=%(name)s %(message)s")
    click.echo(f"The page is at http://{host}:{port}/ ; stop it with Ctrl-C.", err=True)
    serve(state.absolute(), accounts or state, advice, host, port, behind_tls)


@click.command()
@click.argument("person")
@click.option(
    "--role", type=click.Choice(["look", "act", "set up"]), default="act", show_default=True
)
@click.option("--remove", is_flag=True, help="Take the account and its sessions away instead.")
@state_option
@accounts_option
def admit(person: str, role: str, remove: bool, state: Path, accounts: Path | None) -> None:
    """Let PERSON use the page: prints a code, good once and for ten minutes.

    With it the person sets a password on the page. PERSON is an id of the list of people.

    \b
    Examples:
      holdwater admit tavrin
      holdwater admit oskel --role look
    """
    from monitor.page.serve import access_of

    access = access_of(accounts or state)
    if remove:
        gone = access.remove(person)
        click.echo(f"{person} can no longer use the page." if gone else f"{person} had no account.")
        return
    click.echo(f"Code for {person}: {access.admit(person, role)}")
    click.echo("Open the page, choose 'I have a code', and set a password within ten minutes.")


COMMANDS = (page, admit)
