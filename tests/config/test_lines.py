"""The line index: where each key of a TOML text stands."""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.config.lines import Path, line_index

TRICKY = '''\
top = 1 # tag = [
"a.b" = """
[not.a.table]
key = 1
\\""" still inside
"""
[s]
c.d = [ 1,   # ] not the end
  # , nor this
  { x = 1, y = "}" },
]
'lit"eral' = '\\'
[[tag]]
id = "one\\"]"
[tag.sub]
when = 2026-10-06 07:00:00
[[tag.arr]]
k = \'\'\'
x\'\'\'\'
[[tag.arr]]
k = 2
[[tag]]
id = "two"
q."r.s".t = { u.v = [ [ 1 ], [ 2,
 3 ] ] }
'''


def paths(data: Any, path: Path = ()) -> list[Path]:
    """All ways into a parsed text."""
    items = data.items() if isinstance(data, dict) else enumerate(data)
    found = []
    for key, value in items:
        found.append((*path, key))
        if isinstance(value, dict | list):
            found += paths(value, (*path, key))
    return found


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 1),
        (("a.b",), 2),
        (("s",), 7),
        (("s", "c"), 8),
        (("s", "c", "d"), 8),
        (("s", "c", "d", 1), 10),
        (("s", "c", "d", 1, "y"), 10),
        (("s", 'lit"eral'), 12),
        (("tag", 0), 13),
        (("tag", 0, "id"), 14),
        (("tag", 0, "sub", "when"), 16),
        (("tag", 0, "arr", 0, "k"), 18),
        (("tag", 0, "arr", 1), 20),
        (("tag", 0, "arr", 1, "k"), 21),
        (("tag", 1), 22),
        (("tag", 1, "id"), 23),
        (("tag", 1, "q", "r.s", "t", "u", "v", 1, 0), 24),
        (("tag", 1, "q", "r.s", "t", "u", "v", 1, 1), 25),
    ],
)
def test_line_of_key(path: Path, line: int) -> None:
    """Headers, repeated tables, dotted and quoted keys and inline tables have their lines."""
    assert line == line_index(TRICKY)[path]


def test_every_key_is_indexed() -> None:
    """No key that the parser finds is missing in the index, and none is invented."""
    assert set(paths(tomllib.loads(TRICKY))) == set(line_index(TRICKY))


def test_windows_line_ends() -> None:
    """Line ends of the other kind change no line."""
    assert line_index(TRICKY) == line_index(TRICKY.replace("\n", "\r\n"))


SPACE = st.sampled_from(["", " ", "\t", "  "])
GAP = st.sampled_from(["", "\n", "# x = [1\n", '\n  # "\n'])
SCALARS = st.sampled_from(
    [
        "1",
        "-2.5",
        "true",
        '"a # [b] \\" = "',
        "'\\'",
        '"""\nx = 1\n"""',
        "'''\n]\n'''",
        "2026-10-06",
    ]
)
NAMES = st.sampled_from(["a", "b-1", '"q.u o"', "'#'", "a.b", 'c . "d"'])


@st.composite
def values(draw: st.DrawFn, depth: int = 2) -> str:
    """A value: a scalar, an array over some lines, or an inline table."""
    kind = draw(st.sampled_from(["scalar", "array", "table"])) if depth else "scalar"
    if kind == "scalar":
        return draw(SCALARS)
    count = draw(st.integers(0, 3))
    inner = [draw(values(depth=depth - 1)) for _ in range(count)]
    if kind == "array":
        return "[" + draw(GAP) + ("," + draw(GAP)).join(inner) + draw(GAP) + "]"
    return "{ " + ", ".join(f"k{at}{draw(SPACE)}= {item}" for at, item in enumerate(inner)) + " }"


@st.composite
def documents(draw: st.DrawFn) -> tuple[str, dict[Path, int]]:
    """A valid text, with the lines of its headers and keys as they were written."""
    text = ""
    lines: dict[Path, int] = {}
    for at in range(draw(st.integers(0, 4))):
        text += draw(GAP)
        lines["rows", at] = text.count("\n") + 1
        text += draw(SPACE) + "[[" + draw(SPACE) + "rows" + draw(SPACE) + "]]" + draw(SPACE) + "\n"
        for name in draw(st.lists(NAMES, unique_by=lambda name: name[0], max_size=4)):
            text += draw(GAP)
            key: Any = tomllib.loads(f"{name} = 1")
            path: Path = ("rows", at)
            while isinstance(key, dict):
                ((part, key),) = key.items()
                path = (*path, part)
            lines[path] = text.count("\n") + 1
            text += f"{name}{draw(SPACE)}={draw(SPACE)}{draw(values())}\n"
    return text, lines


@pytest.mark.long
@given(documents())
def test_any_layout(document: tuple[str, dict[Path, int]]) -> None:
    """However a text is laid out, its keys are found on the lines they were written on."""
    text, lines = document
    index = line_index(text)
    assert set(paths(tomllib.loads(text))) == set(index)
    assert lines == {path: index[path] for path in lines}
