"""Numbers to call, addresses and names are taken out of words; figures stay."""

import pytest

from monitor.record.privacy import ADDRESS_OUT, NUMBER_OUT, veil_of
from monitor.setup import Person

PEOPLE = (
    Person("tavrin", "M. Tavrin", "tavrin@example.org", "+1 940-555-0141"),
    Person("oskel", "J. Oskel", "oskel@example.org", "+1 940-555-0142"),
)


@pytest.mark.parametrize(
    "words",
    [
        "+1 940-555-0141",
        "9405550141",
        "4402079460018",
        "(940) 555-0142",
        "940.555.0142",
        "5550141",
        "555 0141",
        "0019405550141",
        "+44 20 7946 0018",
        "0044 20 7946 0018",
        "020 7946 0018",
    ],
)
@pytest.mark.parametrize("named", [True, False])
def test_numbers_are_left_out(words: str, named: bool) -> None:
    """Numbers of the set-up in any shape, and what else looks like one."""
    assert f"call {NUMBER_OUT}, now" == veil_of(PEOPLE, named).text(f"call {words}, now")


@pytest.mark.parametrize(
    "words",
    [
        "2026-10-18T01:18:00-05:00",
        "Sun 18 Oct 2026 01:18, header 37.5 cm, 11.50 turnovers",
        "~5,458 dead, 21400 hatched, 652.0 l, 1792304280.0",
        "rotifers 7200000",
    ],
)
def test_figures_stay(words: str) -> None:
    """Dates, times and counts are no numbers to call."""
    assert words == veil_of(PEOPLE, named=True).text(words)


def test_addresses_are_left_out() -> None:
    """Mail addresses, also of strangers."""
    said = veil_of(PEOPLE, named=True).text("mail a.b+c@lab.example.org")
    assert f"mail {ADDRESS_OUT}" == said


def test_names() -> None:
    """Kept on wish; else each person has one stand-in, by name, part of it or id."""
    words = "Tavrin has 41; OSKEL told m. tavrin. Tavrinsson stays."
    assert words == veil_of(PEOPLE, named=True).text(words)
    veil = veil_of(PEOPLE, named=False)
    assert "person 1 has 41; person 2 told person 1. Tavrinsson stays." == veil.text(words)
    assert ("person 2", "M. Tavrin") == (veil.who("oskel"), veil_of(PEOPLE, True).who("tavrin"))
