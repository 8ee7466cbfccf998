"""The house rules that no linter checks: sizes, links, words, and what the watch loads."""

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml",
    "monitor", "deploy", "docs", "sample_config", "tests",
}  # fmt: skip
LARGEST_MODULE = 330
LONGEST_FUNCTION = 65
LONGEST_README = 149
PATHS_OF_ONE_MACHINE = re.compile(r"/(?:work|tmp)/|\.\./shared\b")
LINK = re.compile(r"\]\(([^)\s]+)\)")
ELSEWHERE = ("http://", "https://", "mailto:", "#")
HEAVY = ("sqlite_utils", "numpy", "pandas", "openpyxl", "resvg_py")


def project_files() -> list[str]:
    """Names of all files that belong to the project: known to git, or new and not ignored."""
    # The directory may belong to somebody else than the one who tests, such as root.
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z", "--cached", "--others"]
    listed = subprocess.run(
        [*command, "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    names = [name for name in listed.stdout.split("\0") if name]
    return [name for name in names if (ROOT / name).is_file()]


def program() -> Iterator[tuple[str, str, ast.Module]]:
    """Name, text and syntax tree of every module of the program."""
    for name in project_files():
        if name.startswith("monitor/") and name.endswith(".py"):
            text = (ROOT / name).read_text(encoding="utf-8")
            yield name, text, ast.parse(text)


def test_modules_fit_one_sitting() -> None:
    """No module is longer than can be read in one sitting."""
    lines = {name: len(text.splitlines()) for name, text, _ in program()}
    assert {} == {name: count for name, count in lines.items() if count > LARGEST_MODULE}


def test_functions_fit_one_screen() -> None:
    """No function is longer than one screen."""
    long = [
        f"{name}:{node.lineno} {node.name}"
        for name, _, tree in program()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (node.end_lineno or node.lineno) - node.lineno + 1 > LONGEST_FUNCTION
    ]
    assert [] == long


def is_silent(handler: ast.ExceptHandler) -> bool:
    """Whether an except clause does nothing at all."""
    return all(
        isinstance(line, ast.Pass)
        or (isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant))
        for line in handler.body
    )


def test_no_error_is_swallowed() -> None:
    """No except clause of the program is empty, whatever error it names."""
    silent = [
        f"{name}:{node.lineno}"
        for name, _, tree in program()
        for node in ast.walk(tree)
        if isinstance(node, ast.ExceptHandler) and is_silent(node)
    ]
    assert [] == silent


def links(page: Path) -> dict[str, Path]:
    """What a page links to beside it: the target as written, and the file it leads to."""
    targets = LINK.findall(page.read_text(encoding="utf-8"))
    return {
        target: (page.parent / target.partition("#")[0]).resolve()
        for target in targets
        if not target.startswith(ELSEWHERE)
    }


def test_links_between_pages_resolve() -> None:
    """Every relative link in the readme, the developers' page and docs leads to a file."""
    broken = [
        f"{name}: {target}"
        for name in project_files()
        if name.endswith(".md")
        for target, path in links(ROOT / name).items()
        if not path.exists()
    ]
    assert [] == broken


def test_every_page_can_be_found() -> None:
    """Every page under docs is reached from docs/README.md by following links."""
    pages = {
        ROOT / name for name in project_files() if name.startswith("docs/") and name.endswith(".md")
    }
    reached: set[Path] = set()
    waiting = {ROOT / "docs" / "README.md"}
    while waiting:
        page = waiting.pop()
        reached.add(page)
        waiting |= pages.intersection(links(page).values()) - reached
    assert set() == pages - reached


def test_readme_is_short() -> None:
    """The readme stays short enough to be read before the first night."""
    assert LONGEST_README >= len((ROOT / "README.md").read_text(encoding="utf-8").splitlines())


def test_top_level_is_tidy() -> None:
    """Nothing lies at the top but the agreed files and folders."""
    top = {name.partition("/")[0] for name in project_files()}
    assert set() == {name for name in top if not name.startswith(".")} - TOP_LEVEL


def test_no_path_of_one_machine_is_written_down() -> None:
    """No file names a path that exists only on the machine it was written on."""
    found = []
    for name in project_files():
        if name in (".ci/run", "tests/test_house.py"):  # the one may, the other looks for it
            continue
        text = (ROOT / name).read_text(encoding="utf-8", errors="replace")
        found += [
            f"{name}:{number}"
            for number, line in enumerate(text.splitlines(), 1)
            if PATHS_OF_ONE_MACHINE.search(line)
        ]
    assert [] == found


def test_layers_are_documented_as_enforced() -> None:
    """The line of layers in DEVELOPERS.md is the one that the import contracts enforce."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contract = next(
        each for each in settings["tool"]["importlinter"]["contracts"] if each["id"] == "layers"
    )
    enforced = " > ".join(re.sub(r"[()]", "", layer) for layer in contract["layers"])
    assert enforced in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("module", ["monitor.watch", "monitor.cli"])
def test_the_watch_stays_small(module: str) -> None:
    """What the watch loads brings in none of the heavy libraries that commands may use."""
    look = f"import sys, {module}; print(*sorted({set(HEAVY)!r} & set(sys.modules)))"
    answer = subprocess.run(
        [sys.executable, "-c", look], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert "" == answer.stdout.strip()
