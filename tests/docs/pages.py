"""What the tests of the pages share: the pages, their headings, and all specs of the samples."""

import re
from dataclasses import replace
from pathlib import Path

from monitor.config import load
from monitor.logic.plan import Spec, fuel_spec, plan_of, watch_spec
from monitor.setup import Delays, Setup

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
RESPOND = DOCS / "respond"
LINK = re.compile(r"\]\(([^)\s]+)\)")


def setups() -> list[Setup]:
    """The sample configurations."""
    folders = sorted(path.parent for path in ROOT.glob("sample_config/*/rig.toml"))
    assert {"first-night", "loop-recording", "ostrel-hill"} <= {path.name for path in folders}
    return [load(folder) for folder in folders]


def specs() -> list[Spec]:
    """Every condition that a sample, or the watch itself, can raise; its steps apart."""
    own = [watch_spec(part, Delays().bad_after) for part in ("record", "inbox")]
    own.append(fuel_spec("generator", "LT1"))
    own += bare_specs()
    return own + [spec for setup in setups() for spec in plan_of(setup).specs.values()]


def bare_specs() -> list[Spec]:
    """What the balance of the water raises where no limit calls for it, with and without a level
    in the larval tank."""
    full = load(ROOT / "sample_config" / "ostrel-hill")
    bare = replace(full, limits=(), worked_out={})
    tags = tuple(tag for tag in full.rig.tags if tag.id != "LT")
    blind = replace(bare, rig=replace(full.rig, tags=tags), worked_out={})
    return [spec for setup in (bare, blind) for spec in plan_of(setup).specs.values()]


def from_limits() -> set[str]:
    """The names of conditions that a limit of a sample makes; all others are built in."""
    return {limit.condition for setup in setups() for limit in setup.limits}


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
