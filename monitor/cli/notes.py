"""Commands for what people write down, and for the lab's own sheets."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.cli.options import FILE, as_option, ask_watch, show, state_option

if TYPE_CHECKING:
    from monitor.record.notes import Entry

AT = "YYYY-MM-DD HH:MM"


@click.command()
@click.argument("kind", default="", required=False)
@click.argument("fields", nargs=-1, metavar="[FIELD=TEXT]...")
@click.option("--at", metavar=AT, help="When it was, site time. [default: now]")
@click.option("--amend", type=click.IntRange(1), metavar="NUMBER", help="In place of this note.")
@click.option("--withdraw", type=click.IntRange(1), metavar="NUMBER", help="This note was wrong.")
@click.option("--reason", default="", help="Why it is amended or withdrawn.")
@click.option("--photo", type=FILE, help="A photo, kept beside the record.")
@click.option("--run", default="", help="Which run. [default: the one in force]")
@as_option
@state_option
def note(
    kind: str,
    fields: Sequence[str],
    at: str | None,
    amend: int | None,
    withdraw: int | None,
    reason: str,
    photo: Path | None,
    run: str,
    person: str,
    state: Path,
) -> None:
    """Write down something of the run: a count, a feed, a stage, a sentence.

    "~250" is an estimate; "not countable" may stand for any number. Nothing is overwritten: an
    amendment stands beside what was there before. Without KIND: all kinds and their fields.

    \b
    Examples:
      holdwater note "dead found" count=~250
      holdwater note feeding food=rotifers density=10 --at "2026-10-08 12:30"
      holdwater note stage stage="first flexion" share=40 sure=claimed --photo larva.jpg
      holdwater note --amend 12 "dead found" count=260 --reason "counted again"
    """
    if not kind and withdraw is None and photo is None:
        show(_kinds())
        return
    said = dict(_field(text) for text in fields)
    number = amend or withdraw or 0
    kind = "withdrawn" if withdraw is not None else kind or "photo"
    if photo is not None:
        said |= _sent(state, photo, person, kind)
    data: dict[str, object] = {"kind": kind, "said": said, "amends": number, "reason": reason}
    data |= {} if at is None else {"at": at}
    response = ask_watch(state, ask="note", run=run, notes=[data], **{"as": person})
    told = f"Note {response['numbers'][0]} of run {response['run']}, by {response['who']}"
    click.echo(f"{told}: {kind}{f', in place of {number}' if number else ''}.")


def _field(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign:
        raise click.UsageError(f"{text!r}: write FIELD=TEXT, such as count=~250")
    return name.strip(), value.strip()


def _kinds() -> list[str]:
    from monitor.record.notes import KINDS, WITHDRAWN

    lines = []
    for kind, fields in KINDS.items():
        if kind != WITHDRAWN:
            needed = [f"{name}*" if field.is_needed else name for name, field in fields.items()]
            lines.append(f"{kind:<14} {' '.join(needed)}")
    return [*lines, "", "* must be given. What each is: docs/reference/notes.md"]


def _sent(state: Path, photo: Path, person: str, kind: str) -> dict[str, str]:
    """Send a photo to the watch; what the note says of it."""
    import hashlib

    from monitor.errors import RefusedInput
    from monitor.record.photos import LARGEST, pieces

    try:
        content = photo.read_bytes()
    except OSError as error:
        raise RefusedInput(f"{photo}: {error.strerror}") from error
    if not 0 < len(content) <= LARGEST:
        raise RefusedInput(f"{photo}: has {len(content)} bytes; at most {LARGEST} are kept")
    for piece in pieces(content):
        ask_watch(state, ask="photo", **piece, **{"as": person})
    digest = hashlib.sha256(content).hexdigest()
    return {"sha256": digest, "file": photo.name} if kind == "photo" else {"photo": digest}


@click.command()
@click.option("--run", default="", help="Which run. [default: the latest]")
@click.option("--kind", default="", help="Only this kind.")
@click.option("--all", "everything", is_flag=True, help="Also what was amended or withdrawn.")
@state_option
def notes(run: str, kind: str, everything: bool, state: Path) -> None:
    """What people wrote down of a run, by the time it tells of.

    Back-dated notes say when they came in. It needs no running watch.

    \b
    Example:
      holdwater notes --kind feeding
    """
    from monitor.archive import Reader
    from monitor.control import RECORD
    from monitor.record.gather import forces_of
    from monitor.record.notes import Entry, standing

    with Reader(state / RECORD) as reader:
        setup = forces_of(reader, run)[-1].setup
        assert setup.run is not None
        kept = reader.notes(setup.run.id)
    found = [Entry(one) for one in kept] if everything else standing(kept)
    lines = [_line(setup.local, entry) for entry in found if kind in ("", entry.note.kind)]
    show(lines or ["No note of this run yet."])


def _line(local: Any, entry: "Entry") -> str:
    one = entry.note
    said = ", ".join(f"{name} {text}" for name, text in one.said.items())
    line = (
        f"{one.number:>4}  {local(one.at):%d %b %H:%M}  {one.kind}: {said}  ({one.who}, {one.way})"
    )
    if entry.is_back_dated:
        line += f" entered {local(one.entered.utc):%d %b %H:%M}"
    if one.amends:
        line += f" in place of {one.amends}: {one.reason}"
    return line


AT_ONCE = 1000
"""Notes sent in one request: a request has at most a megabyte."""


@click.command(name="import")
@click.argument("sheet", type=FILE)
@click.option("--map", "mapping", type=FILE, help="Which column is what; without it: a proposal.")
@click.option("--preview", is_flag=True, help="Show what would go in; nothing does.")
@click.option("--run", default="", help="Which run. [default: the latest]")
@as_option
@state_option
def import_sheet(
    sheet: Path, mapping: Path | None, preview: bool, run: str, person: str, state: Path
) -> None:
    """Your own feed and count sheets (.csv, .xlsx) as notes of the run.

    The sheet stays as it is. What was imported before is seen, so a sheet may be imported again
    when it has grown. A date that could mean two days is refused, with its cell.

    \b
    Examples:
      holdwater import feeds.xlsx                         a map to edit
      holdwater import feeds.xlsx --map feeds.toml --preview
    """
    from monitor.archive import Reader
    from monitor.control import RECORD
    from monitor.record.dates import Span
    from monitor.record.gather import life_of
    from monitor.record.importing import plan, preview_lines
    from monitor.record.labsheet import open_sheet
    from monitor.record.notes import notebook
    from monitor.record.sheet_map import proposal, read_map

    if mapping is None:
        own = open_sheet(sheet, "")
        cells = [own.cell(1, column) for column in range(1, own.width + 1)]
        show(proposal([str(cell) for cell in cells if cell is not None]))
        return
    how = read_map(mapping)
    own = open_sheet(sheet, how.sheet)
    with Reader(state / RECORD) as reader:
        setup, first, last = life_of(reader, run)
        assert setup.run is not None
        known = notebook(reader, setup.run.id)
    found = plan(own, how, Span(first, last), setup.zone, known)
    show(list(preview_lines(found)))
    if preview or not found.notes:
        click.echo("Nothing was imported.")
        return
    data = [
        {
            "at": one.at,
            "kind": one.kind,
            "said": dict(one.said),
            "amends": one.amends,
            "reason": "changed in the sheet" if one.amends else "",
            "origin": f"{sheet.name} {own_name(how.sheet)}{one.place}",
        }
        for one in found.notes
    ]
    for begin in range(0, len(data), AT_ONCE):
        part = data[begin : begin + AT_ONCE]
        ask_watch(state, ask="note", way="import", run=setup.run.id, notes=part, **{"as": person})
        click.echo(f"{begin + len(part)} of {len(data)} notes are in.")


def own_name(sheet: str) -> str:
    """The name of a sheet before a cell, as spreadsheets write it."""
    return f"{sheet}!" if sheet else ""


COMMANDS = (note, notes, import_sheet)
