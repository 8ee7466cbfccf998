"""The commands that pages show exist, take what is shown, and give what is shown."""

import re
import shlex
import shutil
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from docs.pages import DOCS, ROOT, headings
from monitor.cli import commands

PAGES = sorted(
    path.relative_to(DOCS).as_posix()
    for folder in ("respond", "tutorial", "how-to")
    for path in (DOCS / folder).glob("*.md")
)
RUN = ("check", "replay", "--help")
"""What is safe to run: it reads, prints, and keeps nothing."""
FENCE = re.compile(r"^ *```(\S*)(?: (\S+))?\n(.*?)^ *```$", re.MULTILINE | re.DOTALL)
CODE = re.compile(r"`(holdwater [^`]+)`")


@dataclass(frozen=True)
class Block:
    """A fenced block: its language, the name of the file it shows, and its lines."""

    language: str
    file: str
    lines: list[str]


def blocks(text: str) -> list[Block]:
    """The fenced blocks of a page, in order."""
    return [
        Block(found[1], found[2] or "", [line.strip() for line in found[3].splitlines()])
        for found in FENCE.finditer(text)
    ]


def shown_commands(text: str) -> list[str]:
    """Every holdwater command of a page, in a block or within a sentence."""
    in_blocks = [line for block in blocks(text) for line in block.lines]
    return [line for line in in_blocks if line.startswith("holdwater ")] + [
        " ".join(found.split()) for found in CODE.findall(FENCE.sub("", text))
    ]


def command_and_words(line: str) -> tuple[click.Command, list[str]]:
    """The command that a line calls, and the words after it."""
    words = shlex.split(line.partition(" > ")[0])[1:]
    assert words[0] in commands.commands, f"no such command: {line}"
    return commands.commands[words[0]], words[1:]


def read(name: str) -> str:
    """The text of a page."""
    return (DOCS / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", PAGES)
def test_shown_commands_are_typed_right(name: str) -> None:
    """Name, options and number of words of every shown command are taken by the program."""
    for line in shown_commands(read(name)):
        command, words = command_and_words(line)
        placeholder = ["1" if word in ("N", "NUMBER") else word for word in words]
        if placeholder or not any(item.required for item in command.params):
            command.make_context(command.name, placeholder)


def test_a_wrong_command_would_be_noticed() -> None:
    """An option or a word too many is refused by the same look."""
    command, words = command_and_words("holdwater now --loud")
    with pytest.raises(click.UsageError):
        command.make_context("now", words)


def bench(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with the samples in it, to run the commands of a page in."""
    shutil.copytree(ROOT / "sample_config", folder / "sample_config")
    monkeypatch.chdir(folder)


def run_line(line: str) -> str:
    """Run one shown line; what it prints. Its output goes to a file where the line says so."""
    words = shlex.split(line)
    if words[:2] == ["cp", "-r"]:
        shutil.copytree(words[2], words[3])
        return ""
    before, _, target = line.partition(" > ")
    result = CliRunner().invoke(commands, shlex.split(before)[1:])
    assert (0, line) == (result.exit_code, line), result.output
    if target:
        Path(target).write_text(result.output, encoding="utf-8")
    return result.output


def is_safe(line: str) -> bool:
    """Whether a shown line may be run here: not one that watches, sends or needs a real folder."""
    words = line.split()
    if words[:2] == ["cp", "-r"]:
        return True
    return words[0] == "holdwater" and words[1] in RUN and "/etc/holdwater" not in line


def assert_shown(shown: list[str], output: str) -> None:
    """Each shown line begins a line of the output, in this order; `...` stands for others."""
    rest = iter(output.splitlines())
    for line in shown:
        if line != "...":
            found = any(printed.strip().startswith(line) for printed in rest)
            assert found, f"not printed, or not in this order: {line}"


@pytest.mark.parametrize("name", [name for name in PAGES if not name.startswith("respond/")])
def test_shown_commands_do_what_is_shown(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The safe commands of a page run in its order on its files, and print what it shows."""
    bench(tmp_path, monkeypatch)
    output = ""
    for block in blocks(read(name)):
        if block.file:
            Path(block.file).write_text("\n".join(block.lines) + "\n", encoding="utf-8")
        elif block.language == "text":
            assert_shown(block.lines, output)
        elif block.language == "sh":
            output = "".join(run_line(line) for line in block.lines if is_safe(line))


@pytest.mark.parametrize(
    ("name", "count"),
    [("tutorial/first-look.md", 3), ("how-to/replay-an-old-night.md", 5)],
)
def test_pages_show_what_can_be_run(name: str, count: int) -> None:
    """The pages whose commands are run above do show some, so that the test means something."""
    lines = [line for block in blocks(read(name)) if block.language == "sh" for line in block.lines]
    assert count == sum(is_safe(line) for line in lines)


@pytest.mark.parametrize("command", ["", *sorted(commands.commands)])
def test_help(command: str) -> None:
    """Each command explains itself, and its examples are typed right."""
    words = [command, "--help"] if command else ["--help"]
    result = CliRunner().invoke(commands, words)
    assert (0, command) == (result.exit_code, command)
    examples = [
        line.strip() for line in result.output.splitlines() if line.strip().startswith("holdwater ")
    ]
    assert examples
    for line in examples:
        found, rest = command_and_words(re.split(r"\s{2,}", line)[0])
        found.make_context(found.name, rest)


@pytest.mark.parametrize(
    "name", [name for name in PAGES if name.startswith(("tutorial", "how-to"))]
)
def test_a_page_has_steps(name: str) -> None:
    """A page that teaches has a title and either headings or numbered steps."""
    text = read(name)
    assert text.startswith("# ")
    assert headings(text) or re.search(r"^1\. ", text, re.MULTILINE)
