"""Turns of duty out of an iCalendar file (RFC 5545): an entry is a turn, its title the order.

For the command only: the watch never reads a calendar. Entries that repeat are followed; times
without a zone are site times; an entry of whole days runs from the evening of its first day to
the evening after its last one.
"""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from monitor.config import load, load_texts, snapshot
from monitor.errors import HoldwaterError
from monitor.logic.duty import wall
from monitor.setup import DAY, Setup

LARGEST = 2_000_000
"""Bytes of a calendar that is read at all."""


@dataclass(frozen=True, slots=True)
class Row:
    """One turn by the clock on the wall of the site. order: ids of people."""

    start: datetime
    end: datetime
    order: tuple[str, ...]

    def lines(self, source: str) -> Iterator[str]:
        """The row as duty.toml has it."""
        names = ", ".join(f'"{name}"' for name in self.order)
        alone = "; one person only" if len(self.order) == 1 else ""
        yield f"[[turn]]                        # from {source}{alone}"
        yield f"start = {self.start:%Y-%m-%d %H:%M:%S}"
        yield f"end = {self.end:%Y-%m-%d %H:%M:%S}"
        yield f"order = [{names}]"


def import_rows(calendar: Path, folder: Path, utc: float, days: int, write: bool) -> str:
    """The rows of the coming days that duty.toml lacks, and what was done with them.

    Nothing is written unless the whole folder is sound with them. HoldwaterError names the entry
    that cannot be a turn; SetupError what does not fit the rest of the folder.
    """
    setup = load(folder)
    texts = snapshot(folder)
    known = {(turn.start, turn.end, turn.order) for turn in setup.duty.turns}
    rows = [
        row
        for row in read_rows(calendar, setup, utc, days)
        if (_utc(row.start, setup), _utc(row.end, setup), row.order) not in known
    ]
    if not rows:
        return f"{calendar.name} has no turn in the next {days} days that duty.toml lacks.\n"
    text = "".join("\n" + "\n".join(row.lines(calendar.name)) + "\n" for row in rows)
    merged = {**texts, "duty.toml": texts["duty.toml"].rstrip("\n") + "\n" + text}
    load_texts(merged, 0)
    if not write:
        return f"{text}\n{len(rows)} turns. Nothing is written; add --write to do so.\n"
    _replace(folder / "duty.toml", merged["duty.toml"])
    return f"{text}\n{len(rows)} turns added to duty.toml. In force after: holdwater apply DIR\n"


def read_rows(calendar: Path, setup: Setup, utc: float, days: int) -> list[Row]:
    """The turns of the entries that end after now and begin within some days, in order."""
    entries = _entries(calendar, setup, utc, days)
    return sorted(
        (_row(calendar.name, setup, entry) for entry in entries), key=lambda row: row.start
    )


def _entries(calendar: Path, setup: Setup, utc: float, days: int) -> list[Mapping[str, Any]]:
    try:
        import icalendar
        import recurring_ical_events  # type: ignore[import-untyped]
    except ImportError as error:
        raise HoldwaterError(
            f"calendars need more: pip install 'holdwater[papers]' ({error})"
        ) from error
    try:
        with calendar.open("rb") as file:
            content = file.read(LARGEST + 1)
    except OSError as error:
        raise HoldwaterError(f"{calendar} cannot be read: {error.strerror}") from error
    if len(content) > LARGEST:
        raise HoldwaterError(f"{calendar.name} is larger than {LARGEST // 1_000_000} MB")
    begin, end = setup.local(utc), setup.local(utc + days * DAY)
    try:
        read = icalendar.Calendar.from_ical(content)
        return list(recurring_ical_events.of(read).between(begin, end))
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError) as error:
        remedy = "export it again as one calendar in iCalendar form (.ics)"
        raise HoldwaterError(f"{calendar.name} is no calendar: {error}; {remedy}") from error


def _row(source: str, setup: Setup, entry: Mapping[str, Any]) -> Row:
    title = " ".join(str(entry.get("SUMMARY", "")).split())
    said = f'{source}: entry "{title}"'
    if "DTSTART" not in entry or "DTEND" not in entry:
        raise HoldwaterError(f"{said} has no end: give it one")
    start, end = entry["DTSTART"].dt, entry["DTEND"].dt
    said += f" of {start:%Y-%m-%d}"
    first, last = _wall_time(said, setup, start), _wall_time(said, setup, end)
    if last <= first:
        raise HoldwaterError(f"{said} ends before it begins")
    return Row(first, last, _order(said, setup, title))


def _wall_time(said: str, setup: Setup, at: date | datetime) -> datetime:
    """The naive site time of a moment; refused where that time occurs twice or never."""
    if not isinstance(at, datetime):
        seconds = int(setup.duty.evening)
        return datetime(at.year, at.month, at.day, seconds // 3600, seconds // 60 % 60)
    local = (at.astimezone(setup.zone) if at.tzinfo is not None else at).replace(tzinfo=None)
    exact = at.astimezone(UTC).timestamp() if at.tzinfo is not None else _utc(local, setup)
    if _utc(local, setup) != exact or local.second:
        hint = "give it another time, in whole minutes, outside the hour the clocks change"
        raise HoldwaterError(f"{said}: {at} cannot be written as a site time; {hint}")
    return local


def _utc(local: datetime, setup: Setup) -> float:
    clock = local.hour * 3600.0 + local.minute * 60.0 + local.second
    return wall(setup, local.date(), clock)


def _order(said: str, setup: Setup, title: str) -> tuple[str, ...]:
    """The people that a title names, by id or last name, first to last."""
    for sign in (";", "/", "+", "&", " and ", " then "):
        title = title.replace(sign, ",")
    known = {person.name.split(" ")[-1].casefold(): person.id for person in setup.people}
    known |= {person.id.casefold(): person.id for person in setup.people}
    order = []
    for name in filter(None, (part.strip() for part in title.split(","))):
        found = known.get(name.casefold()) or known.get(name.split(" ")[-1].casefold())
        if found is None:
            people = ", ".join(person.name for person in setup.people)
            raise HoldwaterError(f"{said}: {name!r} is nobody of duty.toml; there are {people}")
        order.append(found)
    if not order:
        raise HoldwaterError(f"{said} names nobody: write the people into its title")
    return tuple(dict.fromkeys(order))


def _replace(path: Path, text: str) -> None:
    """The new text in one go: a power cut leaves the old file or the new one."""
    new = path.with_name(path.name + ".new")
    with new.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    new.chmod(path.stat().st_mode)
    new.replace(path)
