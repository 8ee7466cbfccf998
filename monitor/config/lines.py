"""On which line of a TOML text each key stands.

The parser of the standard library keeps no positions, so the text is walked once more. Only a
text that it has accepted may be given here: nothing is checked twice.
"""

import re
import tomllib
from bisect import bisect_left

Path = tuple[str | int, ...]
"""The way to a value: table and key names, and the place in an array counted from 0."""

_SKIP = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_KEY = re.compile(r"""[ \t]*(?:([A-Za-z0-9_-]+)|("(?:[^"\\\n]|\\.)*"|'[^'\n]*'))[ \t]*""")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_BARE = re.compile(r"[^,\]}#\n]*")


def line_index(text: str) -> dict[Path, int]:
    """The line (from 1) of every table, key, and element of a valid TOML text."""
    return _Walk(text.replace("\r\n", "\n")).lines()


class _Walk:
    """One pass over a text; `at` is where it stands."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._breaks = [found.start() for found in re.finditer("\n", text)]
        self._lines: dict[Path, int] = {}
        self._last: dict[Path, int] = {}

    def lines(self) -> dict[Path, int]:
        table: Path = ()
        while self._next():
            table = self._header() if self._next() == "[" else self._pair(table)
        return self._lines

    def _next(self) -> str:
        """The next character that is neither space nor comment, "" at the end."""
        self._take(_SKIP)
        return self._text[self._at : self._at + 1]

    def _take(self, pattern: re.Pattern[str]) -> re.Match[str]:
        found = pattern.match(self._text, self._at)
        assert found is not None, "the text has been accepted by the parser"
        self._at = found.end()
        return found

    def _mark(self, path: Path) -> None:
        """Note this line for the path, and for the tables on the way that have none yet."""
        line = bisect_left(self._breaks, self._at) + 1
        for length in range(1, len(path)):
            self._lines.setdefault(path[:length], line)
        self._lines[path] = line

    def _header(self) -> Path:
        repeated = self._text.startswith("[[", self._at)
        self._at += 2 if repeated else 1
        *above, name = self._name()
        path = (*self._newest(above), name)
        if repeated:
            self._last[path] = self._last.get(path, -1) + 1
            path = (*path, self._last[path])
        elif path in self._last:
            path = (*path, self._last[path])
        self._mark(path)
        self._at += 2 if repeated else 1
        return path

    def _newest(self, names: list[str]) -> Path:
        """The path of a table named in a header: of a repeated one, the last so far."""
        path: Path = ()
        for name in names:
            path = (*path, name)
            if path in self._last:
                path = (*path, self._last[path])
        return path

    def _name(self) -> list[str]:
        """A key, which may be dotted and quoted; ends behind it."""
        parts = []
        while True:
            bare, quoted = self._take(_KEY).groups()
            parts.append(bare if bare is not None else tomllib.loads(f"key = {quoted}")["key"])
            if not self._text.startswith(".", self._at):
                return parts
            self._at += 1

    def _pair(self, table: Path) -> Path:
        """One `key = value` of a table; returns the table, in which the next one stands too."""
        start = self._at
        names = self._name()
        end, self._at = self._at, start
        path = (*table, *names)
        self._mark(path)
        self._at = end + 1
        self._value(path)
        return table

    def _value(self, path: Path) -> None:
        first = self._next()
        if first in "[{":
            self._at += 1
            count = 0
            while self._next() not in "]}":
                if first == "{":
                    self._pair(path)
                else:
                    self._mark((*path, count))
                    self._value((*path, count))
                count += 1
                if self._next() == ",":
                    self._at += 1
            self._at += 1
        elif first in "\"'":
            self._take(_STRING)
        else:
            self._take(_BARE)
