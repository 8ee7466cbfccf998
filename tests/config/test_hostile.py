"""Whatever stands in the folder, it loads or is refused in words."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.small import SAMPLES, SMALL, line_of, spoilt
from monitor.config import load, load_texts, snapshot
from monitor.errors import Problem, SetupError
from monitor.setup import Setup

pytestmark = pytest.mark.long

FULL = snapshot(SAMPLES / "ostrel-hill")
PAIR = re.compile(r"^([a-z_]+) = ([^#\n]+)", re.MULTILINE)
PAIRS = [
    (name, found.start(), found[1], found.span(2))
    for name, text in FULL.items()
    for found in PAIR.finditer(text)
]
JUNK = [
    "true", "-1", "0", "1e999", "nan", "-inf", "9" * 500, '""', '"\\u0000"', '"x"', "'''a\nb'''",
    '"' + "x" * 300 + '"', "[]", "[[]]", "[1, [2, 'x']]", "{}", "{ a = { b = [1] } }", "07:00:00",
    "2026-13-45", "2026-10-06", "2026-10-06T07:00:00+02:00", "[" * 400 + "]" * 400, "0,49", "",
    "1__0", "0x", '"', "\x00", '"\udcff"', "[nan, inf]", '[[5, "off"], [4, true]]', "1e308",
]  # fmt: skip


def outcome(texts: dict[str, str]) -> list[Problem]:
    """No problems, or those of a refusal; anything else fails the test."""
    try:
        assert isinstance(load_texts(texts, 1), Setup)
    except SetupError as error:
        assert error.problems
        return error.problems
    return []


def check_places(texts: dict[str, str], found: list[Problem]) -> None:
    """Each problem has a file, a line that is there, and words on one line of sane length."""
    for problem in found:
        assert problem.file in texts
        if problem.line is not None:
            assert 1 <= problem.line <= texts[problem.file].count("\n") + 1
        assert problem.key and problem.wrong and problem.remedy
        told = str(problem)
        assert "\n" not in told
        assert len(told) < 1_000


@settings(max_examples=120, deadline=None)
@given(st.sampled_from(PAIRS), st.sampled_from(JUNK))
def test_any_value_by_junk(pair: tuple[str, int, str, tuple[int, int]], junk: str) -> None:
    """Junk for any value of the sample loads or is refused."""
    name, _, _, (first, last) = pair
    text = FULL[name][:first] + junk + " " + FULL[name][last:]
    texts = {**FULL, name: text}
    found = outcome(texts)
    check_places(texts, found)


@settings(max_examples=80, deadline=None)
@given(st.sampled_from(PAIRS))
def test_any_key_deleted(pair: tuple[str, int, str, tuple[int, int]]) -> None:
    """The sample without any one of its keys loads or is refused."""
    name, start, _, _ = pair
    end = FULL[name].index("\n", start)
    texts = {**FULL, name: FULL[name][:start] + FULL[name][end:]}
    check_places(texts, outcome(texts))


@settings(max_examples=120, deadline=None)
@given(st.data())
def test_any_piece_replaced(data: st.DataObject) -> None:
    """A piece cut out anywhere, with any text in its place, loads or is refused."""
    name = data.draw(st.sampled_from(sorted(SMALL)))
    text = SMALL[name]
    first = data.draw(st.integers(0, len(text)))
    last = data.draw(st.integers(first, min(len(text), first + 40)))
    brackets = st.sampled_from(["[[", "]]", '"""', "a.b=1"])
    added = data.draw(st.one_of(st.text(max_size=30), brackets))
    texts = {**SMALL, name: text[:first] + added + text[last:]}
    check_places(texts, outcome(texts))


@pytest.mark.parametrize("name", sorted(FULL))
def test_a_table_for_every_value(name: str) -> None:
    """A table in the place of any value is refused on the very line it stands on."""
    for file, start, key, (first, last) in PAIRS:
        if file != name or (name == "channels.toml" and key == "folder"):
            continue
        text = FULL[name][:first] + "{ x = 1 } " + FULL[name][last:]
        line = text.count("\n", 0, start) + 1
        found = outcome({**FULL, name: text})
        assert (name, line) in [(item.file, item.line) for item in found], (key, line)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=400))
def test_binary_garbage(content: bytes) -> None:
    """Bytes that are no text are refused with the file's name."""
    text = content.decode("utf-8", "surrogateescape")
    texts = {**SMALL, "duty.toml": text}
    for problem in outcome(texts):
        assert problem.file in texts


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ('standing = ["a"', 1, "at its end"),
        ("x = 1\ny = 0,49\n", 2, "column"),
        ("x = \n", 1, "column"),
        ("x = 1\nx = 2\n", 2, "column"),
        ("x = 2026-02-31\n", 1, "column"),
        ("x = 1" + "0" * 5_000, 1, "characters"),
        ("# fine\n" + "x = " + "[" * 1_500, None, "nested too deep"),
        ("x = " + "[\n" * 20_000, None, "nested too deep"),
        ("x" + ".x" * 100 + " = 1\n", 1, "no part of duty.toml"),
        ("[" + "x" + ".x" * 900 + "]\nx" + ".x" * 900 + " = 1\n", None, ""),
        ("x = '''" + "y\n" * 100_000 + "'''", 1, "200000 characters"),
        ('"\\u0000" = 1', 1, "its name holds a character"),
        ("[[standing]]\n", 1, ""),
        ("person = 1\n", 1, "is 1"),
        ("person = [1]\n", 1, "holds 1"),
        ("person = []\nturn = {}\n", 2, "single brackets"),
    ],
)
def test_odd_text(text: str, line: int | None, said: str) -> None:
    """Broken, endless and deep texts are refused, at their line where there is one."""
    found = outcome({**SMALL, "duty.toml": text})
    told = [item for item in found if item.file == "duty.toml" and said in item.wrong]
    assert line in [item.line for item in told]


def test_wrong_syntax_names_line_and_column() -> None:
    """What the parser says of a place is kept."""
    texts = spoilt("rig.toml", "lip_cm = 38", "lip_cm = 38,5")
    (found,) = outcome(texts)
    assert ("rig.toml", line_of(texts["rig.toml"], "38,5")) == (found.file, found.line)
    assert "column 12" in found.wrong


@pytest.mark.parametrize("name", ["rig.toml", "limits.toml", "duty.toml", "channels.toml"])
def test_missing_file(folder: Path, name: str) -> None:
    """A file that has to be there is missed by name, and nothing else is made of it."""
    (folder / name).unlink()
    with pytest.raises(SetupError) as caught:
        load(folder)
    assert [(name, "is missing")] == [(item.file, item.wrong) for item in caught.value.problems]


def test_file_that_is_a_folder(folder: Path) -> None:
    """A folder in the place of a file is told."""
    (folder / "run.toml").unlink()
    (folder / "run.toml").mkdir()
    with pytest.raises(SetupError, match=r"run\.toml: file: is not a plain file"):
        load(folder)


def test_file_in_place_of_the_folder(folder: Path) -> None:
    """A file is not taken for a folder."""
    with pytest.raises(SetupError, match="is not a folder"):
        load(folder / "rig.toml")


@pytest.mark.parametrize("name", ["nowhere", "a\x00b", "x" * 300])
def test_folder_that_is_not_there(tmp_path: Path, name: str) -> None:
    """A folder that does not exist is told, whatever its name."""
    with pytest.raises(SetupError, match="folder"):
        load(tmp_path / name)


def test_empty_folder(tmp_path: Path) -> None:
    """An empty folder lacks four files, and all four are told."""
    with pytest.raises(SetupError) as caught:
        load(tmp_path)
    assert ["rig.toml", "limits.toml", "duty.toml", "channels.toml"] == [
        item.file for item in caught.value.problems
    ]


def test_not_utf8(folder: Path) -> None:
    """Text of another encoding is told with its line."""
    (folder / "duty.toml").write_bytes(b'standing = ["a"]\n# caf\xe9\n')
    with pytest.raises(SetupError) as caught:
        load(folder)
    (problem,) = caught.value.problems
    assert ("duty.toml", 2) == (problem.file, problem.line)
    assert "UTF-8" in problem.remedy


def test_huge_file(folder: Path) -> None:
    """Ten megabytes are not even parsed."""
    (folder / "duty.toml").write_bytes(b"#" * 10_000_000)
    with pytest.raises(SetupError, match="larger than 256 KiB"):
        load(folder)


def test_stray_file(folder: Path) -> None:
    """A file that is not read must not look as if it were."""
    (folder / "limit.toml").write_text("", encoding="utf-8")
    with pytest.raises(SetupError, match=r"limit\.toml: file: is not read"):
        load(folder)


def test_file_of_a_text_editor_of_another_system(folder: Path) -> None:
    """A byte order mark and other line ends do no harm."""
    for path in folder.iterdir():
        text = path.read_text(encoding="utf-8").replace("\n", "\r\n")
        path.write_bytes(b"\xef\xbb\xbf" + text.encode("utf-8"))
    assert load_texts(SMALL, 0) == load(folder)
