"""The page of conditions says what the program does: names, grades, delays, moves, turns."""

from collections.abc import Callable
from dataclasses import fields

import pytest

from docs import tables
from docs.pages import cells, from_limits, marked, names, page, specs
from monitor.logic.names import WORDS
from monitor.logic.wording import TEMPLATES
from monitor.setup import GRADES, Delays

TEXT = page("reference/conditions.md")
GENERATED: dict[str, Callable[[], str]] = {
    "alarm moves": tables.alarm_moves,
    "event moves": tables.event_moves,
    "causes": tables.causes,
    "groups": tables.groups,
    "sights": tables.sights,
    "roles": tables.roles,
}


def link(name: str) -> str:
    """A condition as the tables name it: with a link to the page that says what to do."""
    return f"[{name}](../respond/{name.replace(' ', '-')}.md)"


@pytest.mark.parametrize("mark", GENERATED)
def test_tables_follow_from_the_code(mark: str) -> None:
    """A table of the page is the one that the program's own tables give."""
    wanted = GENERATED[mark]()
    assert wanted == marked(TEXT, mark), f"the page should have:\n{wanted}\n"


def test_every_condition_stands_in_one_table() -> None:
    """The built-in ones in one table, those of the sample limits in the other, none in both."""
    own = from_limits()
    assert {link(name) for name in set(names()) - own} == set(cells(marked(TEXT, "built-in")))
    assert {link(name) for name in own} == set(cells(marked(TEXT, "limits")))


@pytest.mark.parametrize(("mark", "column"), [("built-in", 2), ("limits", 1)])
def test_grades_and_delays(mark: str, column: int) -> None:
    """Grade and delay of each step are those of the specs that the samples give."""
    found, told = specs(), cells(marked(TEXT, mark))
    wanted = {link(name): tables.steps_of(found, name) for name in names() if link(name) in told}
    assert wanted == {name: row[column] for name, row in told.items()}


def test_keys_of_delays_exist() -> None:
    """Each key of [delays] that the page names is one."""
    known = {item.name for item in fields(Delays)}
    named = [row[3] for row in cells(marked(TEXT, "built-in")).values() if row[3]]
    found = {word for cell in named for word in cell.split("`")[1::2] if word != "stale_s"}
    assert len(found) >= 7
    assert set() == found - known


def test_words_of_texts() -> None:
    """A condition from a limit stands in texts as the page says."""
    told = {name: row[2] for name, row in cells(marked(TEXT, "limits")).items()}
    own = from_limits()
    assert {link(name): WORDS.get(name, (name.upper(),))[0] for name in own} == told


def test_every_turn_is_named() -> None:
    """The page names each turn that has a template, and no other."""
    assert {f"`{turn}`" for turn in TEMPLATES} == set(cells(marked(TEXT, "turns")))


def test_every_grade_is_told() -> None:
    """The table of grades has the grades there are."""
    assert all(f"\n| {grade} |" in TEXT for grade in GRADES)
