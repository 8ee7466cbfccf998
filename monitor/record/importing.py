"""The lab's own feed and count sheets as notes: what each row would become. Pure but for the sheet.

What cannot be read for certain is refused with its cell, and then nothing goes in. Blank cells stay
blank. What was imported before is seen; a value that changed since becomes an amendment.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from monitor.errors import HoldwaterError, RefusedInput
from monitor.record.attach import heading, same_word
from monitor.record.dates import Order, Span, UnclearDate, read_date
from monitor.record.labsheet import LabSheet, place
from monitor.record.notes import Entry, check
from monitor.record.sheet_map import Part, SheetMap

_TIME = re.compile(r"([01]?\d|2[0-3])[:.h]([0-5]\d)(?::\d\d)?\s*(am|pm)?", re.ASCII | re.IGNORECASE)
NAMED = 12
"""Lines of a kind that a preview or a refusal shows; the others are counted."""

Key = tuple[str, str, tuple[tuple[str, str], ...]]
"""Kind, local time and fields of a note."""


@dataclass(frozen=True, slots=True)
class NewNote:
    """A note that a row becomes. at: local time. amends: the note whose value has changed, or 0."""

    place: str
    at: str
    kind: str
    said: Mapping[str, str]
    amends: int = 0


@dataclass(slots=True)
class Plan:
    """What an import would do. there: rows whose notes are there already; blank, others: rows
    passed over; missing: days between the first and the last row without a row."""

    notes: list[NewNote] = field(default_factory=list)
    there: list[str] = field(default_factory=list)
    blank: list[int] = field(default_factory=list)
    others: list[int] = field(default_factory=list)
    missing: list[date] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


def plan(sheet: LabSheet, how: SheetMap, run: Span, zone: ZoneInfo, known: Sequence[Entry]) -> Plan:
    """What each row becomes. HoldwaterError names every cell that cannot be read for certain.

    run: the days of the run; a date outside is refused. known: the notes of the run that stand.
    """
    rows = _Rows(sheet, how, run)
    found, refused = Plan(), list[str]()
    notes: list[NewNote] = []
    days: set[date] = set()
    for row in rows.numbers():
        if not rows.is_wanted(row):
            found.others.append(row)
            continue
        try:
            at = rows.moment(row)
            if at is None:
                found.blank.append(row)
                continue
            days.add(at.date())
            found.warnings += _clock_warnings(row, at, zone)
            notes += rows.notes(row, at)
        except UnclearDate as error:
            refused.append(str(error))
    if refused:
        more = [f"and {len(refused) - NAMED} more"] if len(refused) > NAMED else []
        lines = ["nothing was imported; unclear cells:", *refused[:NAMED], *more]
        raise HoldwaterError("\n  ".join(lines))
    if not notes:
        raise HoldwaterError("no row holds anything to import; look at the headings of the map")
    span = (min(days) + timedelta(n) for n in range((max(days) - min(days)).days + 1))
    found.missing = [day for day in span if day not in days]
    _settle(found, notes, known, zone, how)
    return found


class _Rows:
    """The rows of a sheet as a map reads them."""

    def __init__(self, sheet: LabSheet, how: SheetMap, run: Span) -> None:
        self._sheet, self._how, self._run = sheet, how, run
        row, self._date = heading(sheet, how.date)
        self._first = how.first_row or sheet.under(row, self._date)
        self._fixed_time = _TIME.fullmatch(how.time)
        self._time = None if self._fixed_time else heading(sheet, how.time)[1]
        self._only = heading(sheet, how.only_column)[1] if how.only_column else None
        self._columns = [
            {name: heading(sheet, words)[1] for name, words in part.columns.items()}
            for part in how.note
        ]

    def numbers(self) -> range:
        return range(self._first, self._sheet.height + 1)

    def is_wanted(self, row: int) -> bool:
        if self._only is None:
            return True
        return same_word(self._sheet.cell(row, self._only), self._how.only_word)

    def moment(self, row: int) -> datetime | None:
        """Local time of a row; None where no date stands there."""
        cell = self._sheet.cell(row, self._date)
        here = place(row, self._date)
        try:
            day = read_date(cell, Order(self._how.order), self._run)
        except UnclearDate as error:
            raise UnclearDate(f"{here} {str(cell)[:40]!r} {error}") from error
        if day is None:
            return None
        if not self._run.first <= day <= self._run.last:
            between = f"{self._run.first} to {self._run.last}"
            raise UnclearDate(f"{here} {day} lies outside the run, {between}")
        if self._time is None:
            if isinstance(cell, datetime) and cell.time() != time():
                return datetime.combine(day, cell.time())
            return datetime.combine(day, _clock(self._how.time, "time of the map"))
        found = self._sheet.cell(row, self._time)
        return datetime.combine(day, _clock(found, place(row, self._time)))

    def notes(self, row: int, at: datetime) -> Iterator[NewNote]:
        """The notes a row holds: one for each part of the map that has anything in it."""
        for part, columns in zip(self._how.note, self._columns, strict=True):
            cells = {name: self._sheet.cell(row, column) for name, column in columns.items()}
            said = {name: _text(cell) for name, cell in cells.items() if cell is not None}
            if not any(said.values()):
                continue
            first = place(row, next(columns[name] for name in said))
            try:
                check(part.kind, part.fixed | said)
            except RefusedInput as error:
                raise UnclearDate(f"{first}: {error}") from error
            yield NewNote(first, f"{at:%Y-%m-%d %H:%M}", part.kind, part.fixed | said)


def _clock(cell: object, here: str) -> time:
    """A time of day, as a spreadsheet or a person writes it."""
    if isinstance(cell, datetime):
        return cell.time()
    if isinstance(cell, time):
        return cell
    found = _TIME.fullmatch(cell.strip()) if isinstance(cell, str) else None
    if found is None:
        raise UnclearDate(f"{here} {str(cell)[:40]!r} is no time; write it as 17:45")
    hour, half = int(found[1]), (found[3] or "").lower()
    if half and not 1 <= hour <= 12:
        raise UnclearDate(f"{here} {str(cell)[:40]!r} is no time; write it as 17:45")
    return time(hour % 12 + 12 * (half == "pm") if half else hour, int(found[2]))


def _text(cell: object) -> str:
    """A cell as it would be written by hand: 12.0 is 12."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return " ".join(str(cell).split())


def _clock_warnings(row: int, at: datetime, zone: ZoneInfo) -> Iterator[str]:
    """What is to be known of a time that the clock change makes double, or takes out."""
    early, late = (at.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    if early is None or late is None or early == late:
        return
    if early > late:
        yield f"row {row}: {at:%d %b %H:%M} comes twice, the clock was set back; taken as the first"
    else:
        yield f"row {row}: {at:%d %b %H:%M} was skipped by the clock; taken as an hour later"


def _settle(
    found: Plan, notes: Sequence[NewNote], known: Sequence[Entry], zone: ZoneInfo, how: SheetMap
) -> None:
    """Tell new notes from those that are there, and from those that have changed."""
    there: Counter[Key] = Counter()
    same_place: dict[Key, list[int]] = {}
    wanted = Counter(_key(note, note.said) for note in notes)
    for entry in known:
        at = f"{datetime.fromtimestamp(entry.note.at, zone):%Y-%m-%d %H:%M}"
        note = NewNote("", at, entry.note.kind, entry.note.said)
        key = _key(note, note.said)
        there[key] += 1
        if entry.note.origin and there[key] > wanted[key]:
            places = {_key(note, _fixed(note, part)) for part in _parts(how, note)}
            for place_key in places:
                same_place.setdefault(place_key, []).append(entry.note.number)
    for note in notes:
        key = _key(note, note.said)
        if there[key] > 0:
            there[key] -= 1
            found.there.append(note.place)
            continue
        keys = [_key(note, _fixed(note, part)) for part in _parts(how, note)]
        before = next((same_place[key] for key in keys if same_place.get(key)), [])
        amends = before.pop(0) if len(before) == 1 else 0
        found.notes.append(NewNote(note.place, note.at, note.kind, note.said, amends))


def _key(note: NewNote, said: Mapping[str, str]) -> Key:
    return note.kind, note.at, tuple(sorted(said.items()))


def _fixed(note: NewNote, part: Part) -> dict[str, str]:
    return {name: text for name, text in note.said.items() if name in part.fixed}


def _parts(how: SheetMap, note: NewNote) -> list[Part]:
    """The parts of the map from which a note may have come."""
    return [
        part
        for part in how.note
        if part.kind == note.kind
        and all(note.said.get(name) == text for name, text in part.fixed.items())
    ]


def preview_lines(found: Plan) -> Iterator[str]:
    """What would go in, to look at first."""
    yield f"{len(found.notes)} notes would go in."
    for note in found.notes[:NAMED]:
        said = ", ".join(f"{name} {text}" for name, text in note.said.items())
        instead = f", in place of note {note.amends}" if note.amends else ""
        yield f"  {note.place}: {note.at} {note.kind}: {said}{instead}"
    if len(found.notes) > NAMED:
        yield f"  and {len(found.notes) - NAMED} more"
    for words, items in (
        ("notes are there already, from", found.there),
        ("rows without a date", found.blank),
        ("rows of something else", found.others),
        ("days without a row", [f"{day:%d %b}" for day in found.missing]),
    ):
        if items:
            shown = ", ".join(str(item) for item in items[:NAMED])
            yield f"{len(items)} {words}: {shown}{' ...' if len(items) > NAMED else ''}"
    yield from found.warnings
