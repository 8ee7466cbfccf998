"""Text messages as a modem gives them in PDU mode: received ones, reports, and sent ones. Pure.

Anything may stand in what comes over the air, so whatever is no whole message is a ValueError
with the reason. Sources: as in `gsm_pdu.py`.
"""

from datetime import UTC, datetime, timedelta, timezone

from monitor.channels.gsm_alphabet import letters, unpack
from monitor.channels.gsm_pdu import (
    ABSOLUTE,
    DELIVER,
    HEADER,
    RELATIVE,
    REPORT,
    STATUS,
    SUBMIT,
    Deliver,
    Part,
    StatusReport,
    Submit,
)

_SEVEN_BIT, _EIGHT_BIT, _UCS2 = 0, 1, 2


class _Octets:
    """The octets of a message, taken from the front."""

    def __init__(self, data: bytes) -> None:
        self._data = data

    def take(self, count: int) -> bytes:
        if count > len(self._data):
            raise ValueError("the message ends too early")
        taken, self._data = self._data[:count], self._data[count:]
        return taken

    def one(self) -> int:
        return self.take(1)[0]


def decode(text: str) -> Submit | Deliver | StatusReport:
    """A message in hexadecimal, as +CMGL, +CMT and +CDS give it, with the centre in front.

    A centre and a class stand in what was sent only. ValueError, with the reason, for anything
    that is no whole message.
    """
    octets = _Octets(bytes.fromhex(text))
    smsc = ""
    if size := octets.one():
        smsc = _digits(octets.one(), octets.take(size - 1), 2 * (size - 1))
    first = octets.one()
    kind = first & 0x03
    if kind == DELIVER:
        return _deliver(first, octets)
    if kind == STATUS:
        reference, recipient = octets.one(), _read_address(octets)
        sent, ended = _moment(octets.take(7)), _moment(octets.take(7))
        return StatusReport(reference, recipient, octets.one(), sent, ended)
    if kind == SUBMIT:
        return _submit(first, octets, smsc)
    raise ValueError(f"message of the unknown kind {kind}")


def _deliver(first: int, octets: _Octets) -> Deliver:
    sender = _read_address(octets)
    octets.one()
    coding = octets.one()
    sent = _moment(octets.take(7))
    text, part = _user_data(octets, coding, bool(first & HEADER))
    return Deliver(sender, text, sent, part)


def _submit(first: int, octets: _Octets, smsc: str) -> Submit:
    octets.one()
    number = _read_address(octets)
    octets.one()
    coding = octets.one()
    validity: float | datetime | None = None
    if first & ABSOLUTE == RELATIVE:
        validity = _span(octets.one())
    elif first & ABSOLUTE == ABSOLUTE and (utc := _moment(octets.take(7))) is not None:
        validity = datetime.fromtimestamp(utc, UTC)
    text, part = _user_data(octets, coding, bool(first & HEADER))
    return Submit(number, text, validity, bool(first & REPORT), coding & 0xF3 == 0x10, smsc, part)


def _span(step: int) -> float:
    """Seconds of a relative validity (TS 23.040, 9.2.3.12.1)."""
    if step <= 143:
        return (step + 1) * 300.0
    if step <= 167:
        return 43_200.0 + (step - 143) * 1800.0
    return (step - 166) * 86_400.0 if step <= 196 else (step - 192) * 604_800.0


def _read_address(octets: _Octets) -> str:
    count = octets.one()
    return _digits(octets.one(), octets.take((count + 1) // 2), count)


def _digits(kind: int, data: bytes, count: int) -> str:
    """A number or a name; its kind stands in bits 4 to 6 (TS 23.040, 9.1.2.5)."""
    if kind >> 4 & 7 == 5:
        return letters(unpack(data, count * 4 // 7))
    swapped = "".join(f"{octet & 0x0F:x}{octet >> 4:x}" for octet in data)
    digits = swapped[:count].rstrip("f")
    return f"+{digits}" if kind >> 4 & 7 == 1 else digits


def _moment(data: bytes) -> float | None:
    """UTC seconds of a time stamp in local time with its zone in quarters of an hour."""
    year, month, day, hour, minute, second = (
        (octet & 0x0F) * 10 + (octet >> 4) for octet in data[:6]
    )
    quarters = (data[6] & 0x07) * 10 + (data[6] >> 4)
    zone = timezone(timedelta(minutes=-15 * quarters if data[6] & 0x08 else 15 * quarters))
    try:
        return datetime(2000 + year, month, day, hour, minute, second, tzinfo=zone).timestamp()
    except ValueError:
        return None


def _alphabet(coding: int) -> int:
    """Which alphabet a coding names; what is reserved counts as 7 bit (TS 23.038, section 4)."""
    if coding < 0x80:
        if coding & 0x20:
            raise ValueError("the text is compressed")
        return (_SEVEN_BIT, _EIGHT_BIT, _UCS2, _SEVEN_BIT)[coding >> 2 & 3]
    if coding & 0xF0 == 0xE0:
        return _UCS2
    return _EIGHT_BIT if coding & 0xF4 == 0xF4 else _SEVEN_BIT


def _user_data(octets: _Octets, coding: int, has_header: bool) -> tuple[str, Part | None]:
    length = octets.one()
    alphabet = _alphabet(coding)
    size = (7 * length + 7) // 8 if alphabet == _SEVEN_BIT else length
    data = octets.take(size)
    header = data[: data[0] + 1] if has_header and data else b""
    part = _read_header(header[1:]) if header else None
    if alphabet == _SEVEN_BIT:
        fill = -8 * len(header) % 7
        count = length - (8 * len(header) + fill) // 7
        return letters(unpack(data[len(header) :], max(0, count), fill)), part
    coded = "utf-16-be" if alphabet == _UCS2 else "latin-1"
    return data[len(header) :].decode(coded, "replace"), part


def _read_header(data: bytes) -> Part | None:
    """The element that tells which part this is, if there is one; the others are passed over."""
    octets, found = _Octets(data), None
    left = len(data)
    while left >= 2:
        kind, size = octets.one(), octets.one()
        body = octets.take(size)
        left -= 2 + size
        if (kind, size) == (0, 3):
            found = Part(body[0], body[1], body[2])
        elif (kind, size) == (8, 4):
            found = Part(int.from_bytes(body[:2]), body[2], body[3], wide=True)
    if found is not None and not 1 <= found.number <= found.total:
        raise ValueError(f"part {found.number} of {found.total}")
    return found


def status_word(status: int) -> str:
    """What a status of a report means: "delivered", "trying", "failed" or "not known".

    3GPP TS 23.040, section 9.2.3.15: only 0 is delivery to the phone; 1 and 2 are not; 0x20 to
    0x3F the centre still tries; 0x40 to 0x7F it has given up.
    """
    if status == 0:
        return "delivered"
    if 0x20 <= status < 0x40:
        return "trying"
    return "failed" if 0x40 <= status < 0x80 else "not known"
