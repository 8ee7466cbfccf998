"""What people write down of a run: the kinds of notes, what each holds, and which of them stand.

A note is kept as it was written (`archive.Note`), and is never changed: an amendment is a note of
its own that names the one in whose place it stands, and why. Pure, but for `notebook`, which reads.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from monitor.archive import Note, Reader
from monitor.errors import RefusedInput

BACK_DATED = 3600.0
"""Seconds after which what is written down counts as back-dated (house rule, no source)."""

LONGEST = 500
"""Characters of one field."""

NOT_COUNTABLE = "not countable"
"""Stands in place of a number: somebody looked, and it could not be counted."""

WITHDRAWN = "withdrawn"
"""The kind of an amendment that leaves nothing standing."""

_NUMBER = re.compile(r"(~?)\s*(\d{1,9})(?:([.,])(\d{1,6}))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Amount:
    """A number that somebody wrote down. value: None where it was not countable."""

    value: float | None
    is_estimate: bool = False


def amount(text: str) -> Amount:
    """Read "250", "~250" (an estimate), "0.5", "0,5" or "not countable".

    RefusedInput for anything else, and for "1,000", which is one or a thousand.
    """
    if text.strip().lower() == NOT_COUNTABLE:
        return Amount(None)
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise RefusedInput(f'{text!r} is no number; write 250, ~250, 0.5 or "{NOT_COUNTABLE}"')
    mark, whole, point, rest = found.groups()
    if point == "," and len(rest) == 3:
        raise RefusedInput(f"{text!r} may be {whole}.{rest} or {whole}{rest}; write one of these")
    return Amount(float(f"{whole}.{rest or 0}"), bool(mark))


def _words(text: str) -> None:
    if not text.strip():
        raise RefusedInput("is empty")


def _number(text: str) -> None:
    amount(text)


def _share(text: str) -> None:
    value = amount(text.removesuffix("%")).value
    if value is None or value > 100.0:
        raise RefusedInput(f"{text!r} is no share; write 80 for 80 of 100")


def _one_of(*known: str) -> Callable[[str], None]:
    def check(text: str) -> None:
        if text not in known:
            raise RefusedInput(f"{text!r} is not one of {', '.join(known)}")

    return check


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a kind. means: what it is, with its unit."""

    means: str
    check: Callable[[str], None] = _words
    is_needed: bool = False


_COUNT = Field("how many, ~ for an estimate", _number, is_needed=True)
_LITRES = Field("L", _number, is_needed=True)
_TEXT = Field("in words")

KINDS: Mapping[str, Mapping[str, Field]] = {
    "dead found": {"count": _COUNT, "text": _TEXT},
    "feeding": {
        "food": Field("what was fed", is_needed=True),
        "amount": Field("how much, in the unit given", _number),
        "unit": Field("of the amount: g, mL, animals"),
        "density": Field("reached in the tank, per mL", _number),
        "text": _TEXT,
    },
    "prey count": {
        "food": Field("what was counted", is_needed=True),
        "density": Field("per mL", _number, is_needed=True),
        "text": _TEXT,
    },
    "algae": {
        "food": Field("which alga"),
        "amount": Field("how much, in the unit given", _number),
        "unit": Field("of the amount"),
        "density": Field("cells per mL in the tank", _number),
        "text": _TEXT,
    },
    "water change": {"litres": _LITRES, "text": _TEXT},
    "top-up": {"litres": _LITRES, "text": _TEXT},
    "water test": {
        "of": Field(
            "what was tested", _one_of("salinity", "nitrate", "pH", "ammonia"), is_needed=True
        ),
        "value": Field("what was found", _number, is_needed=True),
        "unit": Field("PSU; mg/L NO3 or mg/L NO3-N; mg/L TAN", is_needed=True),
        "text": _TEXT,
    },
    "treatment": {
        "what": Field("what was given", is_needed=True),
        "amount": Field("how much, with its unit"),
        "text": _TEXT,
    },
    "cleaned": {"what": Field("what was cleaned", is_needed=True), "text": _TEXT},
    "stage": {
        "stage": Field("what was seen", is_needed=True),
        "criterion": Field("by which sign"),
        "share": Field("of 100 larvae looked at", _share),
        "sure": Field("claimed or confirmed", _one_of("claimed", "confirmed")),
        "expected": Field("dph at which it was expected"),
        "text": _TEXT,
    },
    "observation": {"text": Field("of the day, signed by its name", is_needed=True)},
    "animals": {
        "what": Field(
            "stocked, moved, sampled or counted",
            _one_of("stocked", "moved", "sampled", "counted"),
            is_needed=True,
        ),
        "count": _COUNT,
        "text": _TEXT,
    },
    "photo": {
        "sha256": Field("of the file", is_needed=True),
        "file": Field("its name", is_needed=True),
        "text": _TEXT,
    },
    "note": {"text": Field("in words", is_needed=True)},
    WITHDRAWN: {},
}
"""Every kind of note, with its fields."""


def check(kind: str, said: Mapping[str, str]) -> None:
    """RefusedInput where a note of this kind cannot hold these fields."""
    if kind not in KINDS:
        raise RefusedInput(f"{kind!r} is no kind of note; there are {', '.join(KINDS)}")
    fields = {**KINDS[kind], "photo": Field("hash of a photo that belongs to it")}
    for name, text in said.items():
        if name not in fields:
            raise RefusedInput(f"{kind} has no field {name!r}; it has {', '.join(fields)}")
        if len(text) > LONGEST:
            raise RefusedInput(f"{name}: longer than {LONGEST} characters")
        try:
            fields[name].check(text)
        except RefusedInput as error:
            raise RefusedInput(f"{kind}, {name}: {error}") from error
    for name, field in fields.items():
        if field.is_needed and name not in said:
            raise RefusedInput(f"{kind}: {name} is missing ({field.means})")


@dataclass(frozen=True, slots=True)
class Entry:
    """A note that stands, with those in whose place it stands, oldest first."""

    note: Note
    earlier: tuple[Note, ...] = ()

    @property
    def is_back_dated(self) -> bool:
        """Whether it was first written down long after what it tells of."""
        first = self.earlier[0] if self.earlier else self.note
        return first.entered.utc - self.note.at > BACK_DATED

    def amount(self, field: str) -> Amount | None:
        """The number in a field; None where nothing was written there."""
        text = self.note.said.get(field)
        return None if text is None else amount(text.removesuffix("%"))


def notebook(reader: Reader, run: str) -> tuple[Entry, ...]:
    """The notes of a run that stand, by the time they tell of."""
    return standing(reader.notes(run))


def standing(notes: Sequence[Note]) -> tuple[Entry, ...]:
    """The notes that are neither amended nor withdrawn, by the time they tell of.

    Of two amendments of one note the later entered stands, and has the other among the earlier.
    """
    entries: dict[int, Entry] = {}
    place: dict[int, int] = {}
    for note in sorted(notes, key=lambda note: note.number):
        root = place[note.number] = place.get(note.amends, note.number)
        before = entries.get(root)
        earlier = () if before is None else (*before.earlier, before.note)
        entries[root] = Entry(note, earlier)
    kept = (entry for entry in entries.values() if entry.note.kind != WITHDRAWN)
    return tuple(sorted(kept, key=lambda entry: (entry.note.at, entry.note.number)))
