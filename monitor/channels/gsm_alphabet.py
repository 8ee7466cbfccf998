"""The GSM 7-bit alphabet of text messages: letters to septets, septets to octets, and back. Pure.

Source: 3GPP TS 23.038, section 6.2.1 (tables) and 6.1.2.1 (packing).
"""

ESCAPE = 0x1B
BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The default alphabet; the place of a letter is its septet. The escape stands for itself."""
EXTENSION = {
    "\f": 0x0A, "^": 0x14, "{": 0x28, "}": 0x29, "\\": 0x2F,
    "[": 0x3C, "~": 0x3D, "]": 0x3E, "|": 0x40, "€": 0x65,
}  # fmt: skip
"""Letters that are written as an escape and one more septet."""
_SEPTET = {letter: code for code, letter in enumerate(BASIC) if code != ESCAPE}
_EXTENDED = {code: letter for letter, code in EXTENSION.items()}


def septets(text: str) -> list[int] | None:
    """The septets of a text, None if a letter is outside the alphabet."""
    codes: list[int] = []
    for letter in text:
        if letter in EXTENSION:
            codes += (ESCAPE, EXTENSION[letter])
        elif letter in _SEPTET:
            codes.append(_SEPTET[letter])
        else:
            return None
    return codes


def letters(codes: list[int]) -> str:
    """The text of septets; after an escape a code without a letter of its own is its basic one."""
    text: list[str] = []
    escaped = False
    for code in codes:
        if code == ESCAPE and not escaped:
            escaped = True
            continue
        text.append(_EXTENDED.get(code, BASIC[code]) if escaped else BASIC[code])
        escaped = False
    return "".join(text).replace("\x1b", " ")


def pack(codes: list[int], fill: int = 0) -> bytes:
    """Septets in octets, the first in the lowest bits; fill: zero bits in front of it."""
    bits = 0
    for place, code in enumerate(codes):
        bits |= code << (fill + 7 * place)
    return bits.to_bytes((fill + 7 * len(codes) + 7) // 8, "little")


def unpack(data: bytes, count: int, fill: int = 0) -> list[int]:
    """So many septets out of octets. ValueError if they do not hold so many."""
    if fill + 7 * count > 8 * len(data):
        raise ValueError(f"{len(data)} octets do not hold {count} septets")
    bits = int.from_bytes(data, "little") >> fill
    return [bits >> (7 * place) & 0x7F for place in range(count)]
