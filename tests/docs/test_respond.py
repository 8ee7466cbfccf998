"""One page for each condition that can be raised, each built alike and short enough to print."""

import re

import pytest

from docs.pages import DOCS, LINK, RESPOND, headings, names, page

CARDS = {"outage-card", "priming-card"}
WANTED = [
    "What it means",
    "What it is not",
    "First actions",
    "Do not",
    "Caution",
    "When it is over",
    "How to answer",
]
LONGEST = 60
"""Lines of a page: what a tired person reads, and what prints on one sheet."""
PAGES = sorted(path.stem for path in RESPOND.glob("*.md") if path.stem != "README")
CONDITIONS = [name for name in PAGES if name not in CARDS]


def test_every_condition_has_its_page() -> None:
    """Each condition of the samples has a page, and each page but the cards is of a condition."""
    assert {name.replace(" ", "-") for name in names()} == set(CONDITIONS)
    assert set(PAGES) > CARDS


@pytest.mark.parametrize("name", CONDITIONS)
def test_a_page_is_built_like_the_others(name: str) -> None:
    """The title is the name of the condition, and the headings stand in the one order."""
    text = page(f"respond/{name}.md")
    assert f"# {name.replace('-', ' ').capitalize()}" == text.splitlines()[0]
    assert WANTED == headings(text)


@pytest.mark.parametrize("name", CONDITIONS)
def test_no_section_is_empty(name: str) -> None:
    """Under each heading something is said, and the first actions are numbered from one."""
    parts = re.split(r"^## .+$", page(f"respond/{name}.md"), flags=re.MULTILINE)[1:]
    assert all(len(part.split()) >= 8 for part in parts)
    numbers = re.findall(r"^(\d+)\. ", parts[WANTED.index("First actions")], re.MULTILINE)
    assert [str(number) for number in range(1, len(numbers) + 1)] == numbers
    assert len(numbers) >= 3


@pytest.mark.parametrize("name", PAGES)
def test_a_page_prints_on_one_sheet(name: str) -> None:
    """No page and no card has more lines than a sheet."""
    assert LONGEST >= len(page(f"respond/{name}.md").splitlines())


@pytest.mark.parametrize("name", PAGES)
def test_a_page_defers_to_local_codes(name: str) -> None:
    """Each page says that local codes and licensed people prevail."""
    assert "Local codes and licensed people prevail" in " ".join(page(f"respond/{name}.md").split())


@pytest.mark.parametrize("name", [*PAGES, "README"])
def test_links_resolve(name: str) -> None:
    """Every link leads to a file, and none leads out of the pages."""
    targets = LINK.findall(page(f"respond/{name}.md"))
    assert targets or name in CARDS
    files = [(RESPOND / target.partition("#")[0]).resolve() for target in targets]
    assert [] == [file for file in files if not file.is_file() or DOCS not in file.parents]


def test_index_has_every_page() -> None:
    """The index of the folder links each page and card."""
    linked = set(LINK.findall(page("respond/README.md")))
    assert set() == {f"{name}.md" for name in PAGES} - linked
