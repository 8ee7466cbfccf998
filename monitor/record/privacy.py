"""What must not leave the house with a file: phone numbers and mail addresses, on wish names. Pure.

Words of people are kept, but what looks like a number to call or an address is left out of them.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from monitor.setup import Person

NUMBER_OUT, ADDRESS_OUT = "(number left out)", "(address left out)"
_ADDRESS = re.compile(r"[\w.+-]+@[\w-]+(\.[\w-]+)+")
_NUMBER = re.compile(
    r"(?<![\w.])(?:"
    r"(?:\+|00)\d[\d ().\-/]{6,}\d"  # with the code of a country (ITU-T E.164)
    r"|\(?\d{3}\)?[ .\-]\d{3}[ .\-]\d{4}"  # as North America writes it
    r"|0\d{2,5}[ \-/]\d[\d ]{4,}\d"  # with the code of an area
    r"|\d{10,15}(?!\.\d)"  # so many figures in a row are seldom a count
    r")(?!\w)"
)


@dataclass(frozen=True)
class Veil:
    """Hides numbers and addresses in any text; names too where there are stand-ins for them.

    numbers: the digits of all numbers in the set-up. names: (pattern of a name, stand-in).
    people: id of a person -> what stands for it.
    """

    numbers: frozenset[str]
    names: tuple[tuple[re.Pattern[str], str], ...] = ()
    people: dict[str, str] = field(default_factory=dict)

    def text(self, words: str) -> str:
        """The words without what must not leave."""
        words = _ADDRESS.sub(ADDRESS_OUT, words)
        words = _NUMBER.sub(NUMBER_OUT, words)
        for digits in self.numbers:
            loose = r"[ ().\-/]*".join(digits)
            words = re.sub(rf"(?<!\d)\+?{loose}(?!\d)", NUMBER_OUT, words)
        for pattern, stand_in in self.names:
            words = pattern.sub(stand_in, words)
        return words

    def who(self, person: str) -> str:
        """What stands for a person: the name, or the stand-in."""
        return self.people.get(person, self.text(person))


def veil_of(people: Iterable[Person], named: bool) -> Veil:
    """A veil for these people; named: whether their names may be seen."""
    known = {person.id: person for person in people}
    numbers = {re.sub(r"\D", "", person.phone) for person in known.values()}
    whole = {digits for digits in numbers if len(digits) >= 6}
    endings = {digits[-n:] for digits in whole for n in range(7, len(digits))}
    if named:
        labels = {person.id: person.name or person.id for person in known.values()}
        return Veil(frozenset(whole | endings), (), labels)
    stand_ins = {person: f"person {number}" for number, person in enumerate(known, 1)}
    words = [
        (word, stand_ins[person.id])
        for person in known.values()
        for word in {person.id, person.name, *_parts(person.name)}
        if word
    ]
    words.sort(key=lambda pair: -len(pair[0]))
    names = tuple(
        (re.compile(rf"(?<!\w){re.escape(word)}(?!\w)", re.IGNORECASE), stand_in)
        for word, stand_in in words
    )
    return Veil(frozenset(whole | endings), names, stand_ins)


def _parts(name: str) -> list[str]:
    """The parts of a name by which somebody may be called; initials are none."""
    return [part for part in re.split(r"[\s.]+", name) if len(part) > 2]
