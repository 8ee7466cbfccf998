"""Texts that fit: the GSM 7-bit alphabet, its counting, and dropping what does not fit."""

import unicodedata
from dataclasses import dataclass, replace

LIMIT = 160
_BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_PLAIN = frozenset(_BASIC) - {"\n", "\r"}
_EXTENSION = "\f^{}\\[~]|€"
"""The default alphabet and its extension table of 3GPP TS 23.038, section 6.2.1."""


def places(text: str) -> int | None:
    """Septets a text needs in the GSM 7-bit alphabet, None if a character is outside it."""
    if any(letter not in _BASIC and letter not in _EXTENSION for letter in text):
        return None
    return len(text) + sum(letter in _EXTENSION for letter in text)


def fold(text: str) -> str:
    """The text in letters of the basic table: accents dropped where needed, else a blank."""
    folded = []
    for letter in text:
        if letter in _PLAIN:
            folded.append(letter)
            continue
        plain = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
        folded.append("".join(item if item in _PLAIN else " " for item in plain) or " ")
    return "".join(folded)


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a text, with a shorter form for when there is no room.

    Parts of the lowest worth are shortened or dropped first; those of worth 9 are never dropped.
    """

    text: str
    worth: int = 9
    short: str | None = None


def fit(parts: list[Part]) -> str:
    """The parts in order, the least worthy shortened or left out until 160 places hold them."""
    kept = [replace(part, text=fold(part.text)) for part in parts if part.text]
    while True:
        text = " ".join(part.text for part in kept)
        if len(text) <= LIMIT:
            return text
        least = min(
            (part for part in kept if part.worth < 9 or part.short is not None),
            key=lambda part: part.worth,
            default=None,
        )
        if least is None:
            return _cut(kept)
        place = kept.index(least)
        shorter = [] if least.short is None else [Part(fold(least.short), least.worth)]
        kept[place : place + 1] = shorter


def _cut(parts: list[Part]) -> str:
    """Parts that may not be dropped and do not fit: the last one, how to answer, stays whole."""
    last = parts[-1].text
    room = LIMIT - len(last) - 1
    before = " ".join(part.text for part in parts[:-1])
    return f"{before[:room]} {last}" if before and room > 0 else last[:LIMIT]
