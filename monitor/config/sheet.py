"""One file of the configuration folder: what it holds, and where each problem in it stands."""

import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from difflib import get_close_matches
from typing import Any

from monitor.config.lines import Path, line_index
from monitor.errors import Problem

LONGEST_LINE = 2_000
"""Characters in a line. A list of 30 days fits three times; keeps a parse of junk short."""
LONGEST_TEXT = 200
"""Characters in a text value. No value is longer than a path or an address."""
LARGEST_SHOWN = 10**15
"""Larger whole numbers have no place in a message, nor in a float."""
LONGEST_NAME = 24
"""Characters of a name that a message repeats."""
_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_NAMES = ("id", "condition", "line", "start")
_SYNTAX_REMEDY = 'Write: key = value, with text in "quotes" and 0.49 with a point'


@dataclass
class Sheet:
    """A parsed file. `problems` is shared by all files; one problem is told per key.

    is_there: whether the file could be parsed, so that what it names can be relied on.
    """

    name: str
    problems: list[Problem]
    data: dict[str, Any] = field(default_factory=dict)
    is_there: bool = False
    lines: dict[Path, int] = field(default_factory=dict)
    _told: set[Path] = field(default_factory=set)

    def problem(self, path: Path, wrong: str, remedy: str) -> None:
        """Note what is wrong at a key; a second problem of the same key is left for later."""
        if path not in self._told:
            self._told.add(path)
            line = self.line(path)
            self.problems.append(Problem(self.name, line, self.words(path), wrong, remedy))

    def is_sound(self, *path: str | int) -> bool:
        """Whether nothing was found wrong at this key so far."""
        return path not in self._told

    def line(self, path: Path) -> int | None:
        """The line of a key, or of the nearest table around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path)

    def words(self, path: Path) -> str:
        """A key as people name it: `tag LH unit`, or `tag 3 unit` where the tag has no id."""
        if not path:
            return "file"
        table, *rest = path
        words = [cut(str(table))]
        if rest and isinstance(rest[0], int):
            words += self._row_name(str(table), rest[0])
        words += [cut(part) for part in rest[:3] if isinstance(part, str)]
        return " ".join(words)

    def _row_name(self, table: str, at: int) -> list[str]:
        """What one row of a repeated table is called; a plain list has no rows."""
        rows = self.data.get(table)
        row = rows[at] if isinstance(rows, list) and at < len(rows) else None
        if not isinstance(row, dict):
            return []
        names = [row[key] for key in _NAMES if _is_name(row.get(key))]
        step = [row["step"]] if _is_name(row.get("step")) else []
        return [names[0], *step] if names else [str(at + 1)]

    def rows(self, table: str) -> list[tuple[Path, dict[str, Any]]]:
        """The rows of a repeated table `[[table]]`, with their paths."""
        value = self.data.get(table, [])
        if isinstance(value, dict):
            self.problem((table,), "stands in single brackets", f"Write [[{table}]]")
            return []
        if not isinstance(value, list):
            self.problem((table,), f"is {shown(value)}", f"Write it as [[{table}]] with its keys")
            return []
        found: list[tuple[Path, dict[str, Any]]] = []
        for at, row in enumerate(value):
            if isinstance(row, dict):
                found.append(((table, at), row))
            else:
                wrong = f"holds {shown(row)}"
                self.problem((table, at), wrong, f"Write it as [[{table}]] with its keys")
        return found

    def ids(self, table: str, key: str = "id") -> list[str]:
        """The names that rows of a repeated table have, right or wrong."""
        rows = self.data.get(table, [])
        rows = rows if isinstance(rows, list) else [rows]
        names = [row.get(key) for row in rows if isinstance(row, dict)]
        return [name for name in names if isinstance(name, str)]

    def check_top(self, keys: tuple[str, ...]) -> None:
        """Complain of keys and tables that this file does not have."""
        for key in self.data:
            if key not in keys:
                wrong = f"is no part of {self.name}"
                self.problem((key,), wrong, nearest(key, keys, "Parts of this file"))


def parse(name: str, text: str, problems: list[Problem], *, secret: bool = False) -> Sheet:
    """Read one file. What cannot be read is one problem, and the sheet is empty.

    secret: say nothing of what stands in the text.
    """
    sheet = Sheet(name, problems)
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            wrong = f"the line has {len(line)} characters"
            remedy = f"Keep lines under {LONGEST_LINE} characters"
            problems.append(Problem(name, number, "file", wrong, remedy))
            return sheet
    try:
        data = _plain(tomllib.loads(text))
        lines = line_index(text)
    except RecursionError:
        remedy = "Use no brackets within brackets within brackets"
        problems.append(Problem(name, None, "file", "is nested too deep", remedy))
        return sheet
    except ValueError as error:
        problems.append(_syntax_problem(name, text, error, secret))
        return sheet
    sheet.data, sheet.lines, sheet.is_there = data, lines, True
    if not secret:
        _check_texts(sheet)
    return sheet


def _syntax_problem(name: str, text: str, error: ValueError, secret: bool) -> Problem:
    words = str(error)
    found = _POSITION.search(words)
    if found is None:
        return Problem(name, None, "file", "is not valid TOML", _SYNTAX_REMEDY)
    said = "" if secret else ": " + words[: found.start()]
    if found[1] is None:
        end = len(text.rstrip().split("\n"))
        return Problem(name, end, "file", f"is not valid TOML at its end{said}", _SYNTAX_REMEDY)
    wrong = f"is not valid TOML at column {found[2]}{said}"
    return Problem(name, int(found[1]), "file", wrong, _SYNTAX_REMEDY)


def _plain(value: Any) -> Any:
    """Dates and times as text, so that they may be written with and without quotes."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return value.isoformat() if isinstance(value, date | datetime | time) else value


def _check_texts(sheet: Sheet) -> None:
    """No control characters, no endless texts, in keys and values alike."""
    for path, value in _walk(sheet.data):
        key = path[-1] if isinstance(path[-1], str) else ""
        for text, what in ((key, "its name"), (value if isinstance(value, str) else "", "it")):
            if len(text) > LONGEST_TEXT:
                wrong = f"{what} has {len(text)} characters"
                sheet.problem(path, wrong, f"Keep it to {LONGEST_TEXT} at most")
            elif not text.isprintable():
                bad = next(sign for sign in text if not sign.isprintable())
                wrong = f"{what} holds a character that cannot be printed (U+{ord(bad):04X})"
                sheet.problem(path, wrong, "Type it again without it")


def _walk(data: dict[str, Any]) -> Iterator[tuple[Path, Any]]:
    waiting: list[tuple[Path, Any]] = [((key,), data[key]) for key in reversed(data)]
    while waiting:
        path, value = waiting.pop()
        yield path, value
        if isinstance(value, dict):
            waiting += [((*path, key), value[key]) for key in reversed(value)]
        elif isinstance(value, list):
            waiting += [((*path, at), value[at]) for at in reversed(range(len(value)))]


def _is_name(value: Any) -> bool:
    return isinstance(value, str) and value.isprintable() and 0 < len(value) <= LONGEST_NAME


def shown(value: Any) -> str:
    """A value for a message: short, on one line, written as TOML has it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        is_huge = isinstance(value, int) and abs(value) > LARGEST_SHOWN
        return "a huge number" if is_huge else f"{value:g}"
    if isinstance(value, str):
        return '"' + cut(value) + '"'
    return "a table" if isinstance(value, dict) else "a list"


def cut(text: str) -> str:
    """At most 40 printable characters of a text."""
    safe = "".join(sign if sign.isprintable() else "?" for sign in text[:41])
    return safe if len(safe) <= 40 else safe[:37] + "..."


def nearest(word: str, known: Sequence[str], what: str, other: str = "") -> str:
    """A remedy for an unknown word: the one probably meant, else `other`, else all there are."""
    close = get_close_matches(word[:60], known, n=1, cutoff=0.6)
    if close:
        return f'Did you mean "{close[0]}"?'
    listed = ", ".join(cut(item) for item in known[:40])
    return other or (f"{what}: {listed}" if listed else f"{what}: none so far")
