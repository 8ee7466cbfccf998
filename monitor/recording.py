"""Reads a recording: a wide CSV of readings, and JSON lines of what people said.

The first line of the CSV names `time` and tags of the rig; every further line is one moment. An
empty cell is no reading; a cell that is no number is a reading that failed. What cannot be read
at all raises RecordingError with file, line and remedy. The form: docs/reference/replay.md.
"""

import csv
import json
import math
import re
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from io import TextIOWrapper
from pathlib import Path
from statistics import median
from typing import Any

from monitor.errors import RecordingError
from monitor.inputs import ANSWER_KINDS, Answer, Moment, Reading
from monitor.rig import Rig

LONGEST_LINE = 65_536
"""Characters of one line; a rig of 1,000 tags needs a third of it."""

LONGEST_GAP = 366 * 86_400.0
"""Seconds between two rows beyond which the date is taken for a mistake."""

NUMBERS_HELD = 10_000
"""Cells whose value is remembered: sensors repeat themselves, and reading a number is slow."""

UNREADABLE = "\ufffd"

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_OFFSET = "write it with its offset, such as 2026-10-18T01:18:00-05:00, or Z for UTC"


@dataclass(frozen=True, slots=True)
class Row:
    """One moment of the recording. step: seconds the wall clock jumped, 0.0 where it did not."""

    line: int
    moment: Moment
    readings: list[Reading]
    step: float = 0.0


class Timeline:
    """Gives every row its watch time, which never goes back.

    A row whose time lies before the row above it means that the wall clock was set back: watch
    time goes on by the usual distance of rows (median of the last nine).
    """

    def __init__(self, elapsed: float) -> None:
        self._elapsed = elapsed
        self._utc: float | None = None
        self._spacings: deque[float] = deque(maxlen=9)

    def place(self, utc: float) -> tuple[Moment, float]:
        """The moment of a row, and the step of the wall clock before it."""
        step = 0.0
        if self._utc is not None:
            passed = utc - self._utc
            if passed < 0.0:
                usual = median(self._spacings or (1.0,))
                passed, step = usual, passed - usual
            elif passed > 0.0:
                self._spacings.append(passed)
            self._elapsed += passed
        self._utc = utc
        return Moment(1, self._elapsed, utc), step

    def gap(self, utc: float) -> float:
        return 0.0 if self._utc is None else utc - self._utc


def recorded_tags(path: Path, rig: Rig) -> tuple[str, ...]:
    """The tags that a CSV has columns for, in the order of the file."""
    with _open(path) as file:
        header, _ = _header(path, _Lines(path, file))
    return tuple(name for _, name in _columns(path, header, rig).tags)


def read_rows(path: Path, rig: Rig, elapsed: float) -> Iterator[Row]:
    """The rows of a CSV in file order; the first one has this watch time."""
    with _open(path) as file:
        lines = _Lines(path, file)
        header, separator = _header(path, lines)
        columns = _columns(path, header, rig)
        cells = _Cells(separator)
        timeline = Timeline(elapsed)
        try:
            for record in csv.reader(lines, delimiter=separator, strict=True):
                if record:
                    yield _row(path, lines.number, header, record, columns, cells, timeline)
        except csv.Error as error:
            raise _wrong(path, lines.number, f"no CSV: {error}", "mend or remove it") from error


def read_answers(path: Path) -> list[tuple[float, Answer]]:
    """What people said, from JSON lines, as (UTC seconds, answer) in order of time.

    The moments of the answers are placeholders; the replay gives each its own.
    """
    with _open(path) as file:
        lines = _Lines(path, file)
        found = [_answer(path, lines.number, line) for line in lines if line.strip()]
    return sorted(found, key=lambda pair: pair[0])


def read_utc(text: str) -> float:
    """UTC seconds of an ISO 8601 time with its offset. ValueError with words fit to be shown."""
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text[:40]!r} is no ISO 8601 time; {_OFFSET}") from None
    if time.tzinfo is None:
        raise ValueError(f"{text[:40]!r} does not tell its offset from UTC; {_OFFSET}")
    try:
        return time.timestamp()
    except (OverflowError, ValueError) as error:
        raise ValueError(f"{text[:40]!r} is out of range; correct the date") from error


class _Lines:
    """The lines of a file with their number, none of them endless."""

    def __init__(self, path: Path, file: TextIOWrapper) -> None:
        self._path = path
        self._file = file
        self.number = 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        self.number += 1
        line = self._file.readline(LONGEST_LINE + 1)
        if len(line) > LONGEST_LINE:
            wrong = f"longer than {LONGEST_LINE} characters"
            raise _wrong(self._path, self.number, wrong, "is this a recording?")
        if not line:
            raise StopIteration
        return line


class _Cells:
    """Cells to numbers. With `;` between the cells a decimal comma is read as well."""

    def __init__(self, separator: str) -> None:
        self._comma = separator == ";"
        self._known: dict[str, float | None] = {}

    def value(self, cell: str) -> float | None:
        """The number in a cell, None where it is none."""
        known = self._known
        if cell in known:
            return known[cell]
        text = cell.strip()
        if self._comma and "." not in text:
            text = text.replace(",", ".", 1)
        value = float(text) if _NUMBER.fullmatch(text) else None
        if value is not None and not math.isfinite(value):
            value = None
        if len(known) >= NUMBERS_HELD:
            known.clear()
        known[cell] = value
        return value


def _header(path: Path, lines: _Lines) -> tuple[list[str], str]:
    """The names of the columns, and what stands between them."""
    first = next(lines, "")
    if not first.strip():
        raise _wrong(path, 1, "the file is empty", "its first line must name time and tags")
    if "\0" in first or UNREADABLE in first:
        raise _wrong(path, 1, "not UTF-8 text", "save it as CSV in UTF-8")
    separator = ";" if ";" in first else ","
    names = next(csv.reader([first], delimiter=separator), [])
    return [name.strip() for name in names], separator


def _open(path: Path) -> TextIOWrapper:
    """Bytes that are no UTF-8 become UNREADABLE, so that they cost one cell and not the file."""
    try:
        return path.open(encoding="utf-8-sig", errors="replace", newline="")
    except OSError as error:
        raise RecordingError(f"{path}: {error.strerror}; is the name right?") from error


def _wrong(path: Path, line: int, wrong: str, remedy: str) -> RecordingError:
    return RecordingError(f"{path}:{line}: {wrong}; {remedy}")


@dataclass(frozen=True, slots=True)
class _Columns:
    """Places of the time and of the tags in a row."""

    time: int
    tags: tuple[tuple[int, str], ...]


def _columns(path: Path, header: Sequence[str], rig: Rig) -> _Columns:
    twice = sorted({name for name in header if header.count(name) > 1})
    if twice:
        raise _wrong(path, 1, f"named twice: {', '.join(twice)}", "leave one of them out")
    if "time" not in header:
        raise _wrong(path, 1, "there is no column time", "name the column of the times so")
    tags = [name for name in header if name != "time"]
    unknown = [name or "(empty name)" for name in tags if name not in rig.tag]
    if unknown:
        known = ", ".join(rig.tag)
        remedy = f"the tags of this rig are: {known}. Rename the column or leave it out"
        raise _wrong(path, 1, f"unknown: {', '.join(unknown)}", remedy)
    if not tags:
        raise _wrong(path, 1, "there is no column beside time", "add one for each tag")
    places = tuple((place, name) for place, name in enumerate(header) if name != "time")
    return _Columns(header.index("time"), places)


def _row(
    path: Path,
    line: int,
    header: Sequence[str],
    record: Sequence[str],
    columns: _Columns,
    cells: _Cells,
    timeline: Timeline,
) -> Row:
    if len(record) != len(header):
        wrong = f"{len(record)} cells, but the first line names {len(header)}"
        raise _wrong(path, line, wrong, "mend or remove the line")
    try:
        utc = read_utc(record[columns.time].strip())
    except ValueError as error:
        raise RecordingError(f"{path}:{line}: time: {error}") from error
    if timeline.gap(utc) > LONGEST_GAP:
        raise _wrong(path, line, "more than a year after the line before", "correct the date")
    moment, step = timeline.place(utc)
    readings = []
    for place, tag in columns.tags:
        cell = record[place]
        if cell and not cell.isspace():
            value = cells.value(cell)
            problem = "" if value is not None else "not a number"
            readings.append(Reading(tag, moment, value, problem))
    return Row(line, moment, readings, step)


_ANSWER_KEYS = ("time", "kind", "who", "event", "minutes", "text")


def _answer(path: Path, line: int, text: str) -> tuple[float, Answer]:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _wrong(path, line, "no JSON", "each line is one object in braces") from error
    if not isinstance(data, dict):
        raise _wrong(path, line, "no JSON object", "each line is one object in braces")
    problem = _answer_problem(data)
    if problem:
        raise RecordingError(f"{path}:{line}: {problem}")
    try:
        utc = read_utc(data["time"])
    except ValueError as error:
        raise RecordingError(f"{path}:{line}: time: {error}") from error
    minutes = data.get("minutes")
    answer = Answer(
        Moment(1, 0.0, utc),
        data["kind"],
        data["who"],
        data.get("event"),
        None if minutes is None else float(minutes),
        data.get("text", ""),
        "script",
    )
    return utc, answer


def _answer_problem(data: dict[str, Any]) -> str:
    """What is wrong with an answer, with its key and remedy; "" when nothing is."""
    unknown = sorted(set(data) - set(_ANSWER_KEYS))
    if unknown:
        return f"{unknown[0]}: unknown key; the keys are {', '.join(_ANSWER_KEYS)}"
    for key in ("time", "kind", "who", "text"):
        if not isinstance(data.get(key, "" if key == "text" else None), str):
            return f'{key}: must be given as text in double quotes, such as "{key}": "..."'
    if data["kind"] not in ANSWER_KINDS:
        return f"kind: {data['kind']!r} is unknown; the kinds are {', '.join(ANSWER_KINDS)}"
    event, minutes = data.get("event"), data.get("minutes")
    if event is not None and (isinstance(event, bool) or not isinstance(event, int)):
        return "event: must be a whole number, such as 41"
    if minutes is not None and (
        isinstance(minutes, bool)
        or not isinstance(minutes, int | float)
        or not 0.0 <= minutes <= 100_000.0
    ):
        return "minutes: must be a number from 0 to 100000"
    return ""
