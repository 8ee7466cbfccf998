"""What the tests of the pages share: the pages, their headings, and all specs of the samples."""

import re
from pathlib import Path

from monitor.config import load
from monitor.logic.plan import Spec, plan_of

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
RESPOND = DOCS / "respond"
SAMPLES = ("first-night", "loop-recording", "ostrel-hill")
LINK = re.compile(r"\]\(([^)\s]+)\)")


def specs() -> list[Spec]:
    """Every condition that one of the sample configurations can raise, its steps apart."""
    folders = sorted(path.parent for path in ROOT.glob("sample_config/*/rig.toml"))
    assert SAMPLES == tuple(folder.name for folder in folders)
    return [spec for folder in folders for spec in plan_of(load(folder)).specs.values()]


def names() -> list[str]:
    """The names of these conditions, each once."""
    return sorted({spec.name for spec in specs()})


def page(name: str) -> str:
    """The text of a page under docs."""
    return (DOCS / name).read_text(encoding="utf-8")


def headings(text: str) -> list[str]:
    """The second-level headings of a page, in order."""
    return re.findall(r"^## (.+)$", text, re.MULTILINE)


def marked(text: str, mark: str) -> str:
    """The table that stands between `<!-- table: MARK -->` and `<!-- end -->`."""
    found = re.search(rf"<!-- table: {re.escape(mark)} -->\n(.*?)<!-- end -->", text, re.DOTALL)
    assert found, f"no table marked {mark!r}"
    return found[1].strip()


def cells(table: str) -> dict[str, list[str]]:
    """First cell -> the other cells of each row of a table, without its head."""
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]
    ]
    assert len(rows) == len({row[0] for row in rows}), "a first cell stands twice"
    return {row[0]: row[1:] for row in rows}
