"""Text messages as a modem takes them in PDU mode: octets in hexadecimal. Pure.

Sources: 3GPP TS 23.040 (section 9.2.2, the messages; 9.2.3.24, parts of a long text) and
TS 23.038 (section 4, coding). A number begins with + where it is international.
`gsm_decode.py` reads what comes back.
"""

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from monitor.channels.gsm_alphabet import pack, septets

OCTETS = 140
"""Octets of user data in one message: 160 septets, or 70 letters of UCS-2."""

SUBMIT, DELIVER, STATUS = 1, 0, 2
"""The kinds of message: to the centre, from it, and its report on one (TS 23.040, 9.2.3.1)."""

RELATIVE, ABSOLUTE = 0x10, 0x18
REPORT, HEADER = 0x20, 0x40
"""Bits of the first octet: form of the validity, a report is asked for, a header is there."""


@dataclass(frozen=True, slots=True)
class Part:
    """Which piece of a long text this is. wide: whether the reference has 16 bits."""

    reference: int
    total: int
    number: int
    wide: bool = False


@dataclass(frozen=True, slots=True)
class Submit:
    """A message on its way out. validity: s after which the network drops it, or a UTC moment.

    wants_report: asks for a delivery report. flash: class 0, shown at once. smsc: the centre it
    goes by, "" for the one the modem knows.
    """

    number: str
    text: str
    validity: float | datetime | None = None
    wants_report: bool = False
    flash: bool = False
    smsc: str = ""
    part: Part | None = None


@dataclass(frozen=True, slots=True)
class Deliver:
    """A message that came in. sent: UTC seconds as the centre has it, None if that is no time."""

    sender: str
    text: str
    sent: float | None
    part: Part | None = None


@dataclass(frozen=True, slots=True)
class StatusReport:
    """What became of a message, told by the centre. reference: the number it had in +CMGS."""

    reference: int
    recipient: str
    status: int
    sent: float | None
    ended: float | None


def fits(text: str) -> bool:
    """Whether a text goes as one message."""
    codes = septets(text)
    length = 7 * len(codes) if codes is not None else 8 * len(text.encode("utf-16-be"))
    return length <= 8 * OCTETS


def split(text: str) -> list[str]:
    """A text in the pieces it is sent in: one, or several less the room of their headers.

    Neither a letter of two septets nor one of two UCS-2 units is cut.
    """
    if fits(text):
        return [text]
    seven_bit = septets(text) is not None
    room = 153 if seven_bit else 67
    pieces, used = [""], 0
    for letter in text:
        codes = septets(letter) if seven_bit else None
        size = len(codes) if codes is not None else len(letter.encode("utf-16-be")) // 2
        if used + size > room:
            pieces.append("")
            used = 0
        pieces[-1] += letter
        used += size
    return pieces


def submits(message: Submit, reference: int) -> list[Submit]:
    """A message of any length as messages that fit; reference: common to the parts of a text."""
    pieces = split(message.text)
    if len(pieces) == 1:
        return [message]
    return [
        replace(message, text=piece, part=Part(reference % 256, len(pieces), number))
        for number, piece in enumerate(pieces, 1)
    ]


def encode(message: Submit) -> tuple[str, int]:
    """The hexadecimal of a message and the length that +CMGS wants: octets less the centre.

    ValueError if the text does not fit, or the number holds anything but digits.
    """
    header = _header(message.part)
    codes = septets(message.text)
    seven_bit = codes is not None
    if codes is not None:
        fill = -8 * len(header) % 7
        length = (8 * len(header) + fill) // 7 + len(codes)
        data = header + pack(codes, fill)
    else:
        data = header + message.text.encode("utf-16-be")
        length = len(data)
    if len(data) > OCTETS:
        raise ValueError(f"{len(data)} octets, and a message holds {OCTETS}")
    first = SUBMIT | (REPORT if message.wants_report else 0) | (HEADER if header else 0)
    kind, validity = _validity(message.validity)
    coding = (0x10 if message.flash else 0) | (0 if seven_bit else 0x08)
    body = bytes([first | kind, 0]) + _address(message.number)
    body += bytes([0, coding]) + validity + bytes([length]) + data
    return (_centre(message.smsc) + body).hex().upper(), len(body)


def _header(part: Part | None) -> bytes:
    if part is None:
        return b""
    if part.wide:
        return bytes([6, 8, 4]) + part.reference.to_bytes(2) + bytes([part.total, part.number])
    return bytes([5, 0, 3, part.reference, part.total, part.number])


def _validity(validity: float | datetime | None) -> tuple[int, bytes]:
    """The bits that tell its form, and the validity period itself (TS 23.040, 9.2.3.12)."""
    if validity is None:
        return 0, b""
    if isinstance(validity, datetime):
        when = validity.astimezone(UTC)
        numbers = (when.year % 100, when.month, when.day, when.hour, when.minute, when.second, 0)
        return ABSOLUTE, b"".join(_swapped(f"{number:02d}") for number in numbers)
    return RELATIVE, bytes([relative(validity)])


def relative(seconds: float) -> int:
    """The step of the relative validity that is as long, or the next longer one."""
    minutes = seconds / 60.0
    if minutes <= 720.0:
        return max(0, math.ceil(minutes / 5.0) - 1)
    if minutes <= 1440.0:
        return 143 + math.ceil((minutes - 720.0) / 30.0)
    days = math.ceil(minutes / 1440.0)
    return 166 + days if days <= 30 else min(255, 192 + math.ceil(minutes / 10080.0))


def _address(number: str) -> bytes:
    digits = number.removeprefix("+")
    if not digits.isascii() or not digits.isdigit() or len(digits) > 20:
        raise ValueError(f"{number!r} is not a phone number")
    return bytes([len(digits), 0x91 if number.startswith("+") else 0x81]) + _swapped(digits)


def _centre(number: str) -> bytes:
    if not number:
        return b"\0"
    address = _address(number)[1:]
    return bytes([len(address)]) + address


def _swapped(digits: str) -> bytes:
    """Decimal digits two to an octet, the first in the lower half; an odd end is filled with F."""
    digits += "F" * (len(digits) % 2)
    return bytes(int(digits[at + 1] + digits[at], 16) for at in range(0, len(digits), 2))
