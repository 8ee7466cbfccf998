"""Text messages in PDU mode against published vectors, and against themselves."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.channels.gsm_alphabet import BASIC, EXTENSION, letters, pack, septets, unpack
from monitor.channels.gsm_decode import decode, status_word
from monitor.channels.gsm_pdu import (
    Deliver,
    Part,
    StatusReport,
    Submit,
    encode,
    fits,
    split,
    submits,
)
from monitor.logic import gsm

DAY = 86_400.0
SENT: dict[str, tuple[Submit, int | None, str]] = {
    "plain": (
        Submit("+34616585119", "hola"),
        17,
        "0001000B914316565811F9000004E8373B0C",
    ),
    "four days": (
        Submit("+34616585119", "hola", 4 * DAY),
        18,
        "0011000B914316565811F90000AA04E8373B0C",
    ),
    "by a centre": (
        Submit("+34616585119", "hola", smsc="+34646456456"),
        17,
        "07914346466554F601000B914316565811F9000004E8373B0C",
    ),
    "till a moment": (
        Submit("+34616585119", "hola", datetime(2010, 7, 25, 20, 15, 39, tzinfo=UTC)),
        None,
        "0019000B914316565811F900000170520251930004E8373B0C",
    ),
    "report asked": (
        Submit("+34654123456", "hey yo", wants_report=True),
        None,
        "0021000B914356143254F6000006E8721E947F03",
    ),
    "flash": (
        Submit("+34654123456", "hey yo", flash=True),
        None,
        "0001000B914356143254F6001006E8721E947F03",
    ),
    "accents": (
        Submit("+34654123456", "Hölä", 4 * DAY),
        None,
        "0011000B914356143254F60000AA04483E7B0F",
    ),
    "more accents": (
        Submit("+34654123456", "BÄRÇA äñ@"),
        None,
        "0001000B914356143254F6000009C2AD341104EDFB00",
    ),
    "two-octet letters": (
        Submit("+34616585119", "あ叶葉", smsc="+34646456456"),
        None,
        "07914346466554F601000B914316565811F9000806304253F68449",
    ),
    "two-octet letters, national": (
        Submit("655345678", "Русский", 4 * DAY),
        None,
        "001100098156355476F80008AA0E0420044304410441043A04380439",
    ),
    "hello": (
        Submit("+46708251358", "hellohello", 4 * DAY),
        23,
        "0011000B916407281553F80000AA0AE8329BFD4697D9EC37",
    ),
    "one day, report asked": (
        Submit("+10000000000", "TEST 28.4C", DAY, wants_report=True),
        23,
        "0031000B910100000000F00000A70AD4E2940A92E15CB421",
    ),
    "degree and euro": (
        Submit("+10000000000", "[28 °C] €", DAY),
        32,
        "0011000B910100000000F00008A712005B00320038002000B00043005D002020AC",
    ),
}
"""From the tests of python-messaging (pmarti, 8c62c14), encoded again with two other codecs; the
last three were made and read with two such codecs."""

LONG = (
    "005100098156355476F80000AAA00500038803019E72D03DCC5E83EE693A1AB44CBBCF73500BE47ECB41ECF7BC0C"
    "A2A3CBA0F1BBDD7EBB41F4777D8C6681D26690BB9CA6A3CB7290F95D9E83DC6F3988FDB6A7DD6790599E2EBBC973"
    "D038EC06A1EB723A28FFAEB340493328CC6683DA653768FCAEBBE9A07B9A8E06E5DF7516485CA783DC6F7719447F"
    "BF41EDFA18BD0325CDA0FCBB0E1A87DD",
    "005100098156355476F80000AAA005000388030240E6349B0DA2A3CBA0BADBFC969FD3F6B4FB0C6AA7DD757A1974"
    "4DD3D1A0791A4FCF83E6E5F1DB4D9E9F40F7B79C8E06BDCD20727A4E0FBBC76590BCEE6681B2EFBA7C0E4ACF4174"
    "7419540CCBE96850D84D0695ED65799E8E4EBBCF203A3A4C9F83D26E509ACE0205DD64500B7447A7C768507A0E6A"
    "BFE565500B947FD741F7349B0D129741",
    "005100098156355476F80000AA14050003880303C2A066D8CD02B5F3A0F9DB0D",
)


def utc(*when: int) -> float:
    """UTC seconds of a UTC time."""
    return datetime(*when, tzinfo=UTC).timestamp()  # type: ignore[misc,arg-type]


@pytest.mark.parametrize("name", SENT)
def test_published_messages_are_encoded(name: str) -> None:
    """A message gives the very octets of the vector, and the length +CMGS wants."""
    message, length, expected = SENT[name]
    encoded = encode(message)
    assert expected == encoded[0]
    assert length in (None, encoded[1])
    assert len(expected) // 2 - 1 - int(expected[:2], 16) == encoded[1]


@pytest.mark.parametrize("name", SENT)
def test_published_messages_are_decoded(name: str) -> None:
    """The octets of a vector give the message back, with everything it says."""
    message, _, octets = SENT[name]
    assert message == decode(octets)


@pytest.mark.parametrize(
    ("octets", "expected"),
    [
        (
            "07911326040000F0040B911346610089F60000208062917314080CC8F71D14969741F977FD07",
            Deliver("+31641600986", "How are you?", utc(2002, 8, 26, 19, 37, 41)),
        ),
        (
            "07914306073011F0040B914316709807F2000880604290224080084E2D5174901A8BAF",
            Deliver("+34610789702", "中兴通讯", utc(2008, 6, 24, 7, 22, 4)),
        ),
        (
            "07919333852804000412D0F7FBDD454FB75D693A0000903002801153402BCD301E9F0605D9E971191483"
            "C140412A35690D52832063D2F9040599A058EE05A3BD6430580E",
            Deliver(
                "www.tim.it",
                "Maxxi Alice 100 ATTIVATA FINO AL 19/04/2009",
                utc(2009, 3, 20, 7, 11, 35),
            ),
        ),
        (
            "0791447758100650040C914497716247010000909010711423400A2050EC468B81C4733A",
            Deliver("+447917267410", "  1741 bst", utc(2009, 9, 1, 16, 41, 32)),
        ),
        (
            "0791538375000075061805810531F1019082416500400190824165004000",
            StatusReport(24, "50131", 0, utc(2010, 9, 28, 13, 56), utc(2010, 9, 28, 13, 56)),
        ),
        (
            "00060505810531F1010150610000400101506100004000",
            StatusReport(5, "50131", 0, utc(2010, 10, 5, 15, 0), utc(2010, 10, 5, 15, 0)),
        ),
        (
            "069144888888F811000C9153481032547600000B20D4F29C9E769F4161D0BC3D07B5CBF379F89C769F41"
            "6F7B590E62D3CB",
            Submit("+358401234567", "Testing a sms messaging over lte", 3600.0, smsc="+448888888"),
        ),
    ],
)
def test_published_messages_that_came_in(octets: str, expected: object) -> None:
    """Received messages, names as senders, zones and reports are read as others read them."""
    assert expected == decode(octets)


def test_long_text_is_joined_and_taken_apart_again() -> None:
    """The three published parts join to one text, and that text gives the same three parts."""
    parts = [decode(octets) for octets in LONG]
    assert [Part(136, 3, 1), Part(136, 3, 2), Part(136, 3, 3)] == [
        part.part for part in parts if isinstance(part, Submit)
    ]
    text = "".join(part.text for part in parts if isinstance(part, Submit))
    assert 319 == len(text)
    assert "a Man, my son" == text[-13:]
    again = [encode(part) for part in submits(Submit("655345678", text, 4 * DAY), 136)]
    assert [(LONG[0], 153), (LONG[1], 153), (LONG[2], 31)] == again


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("x" * 160, 1),
        ("x" * 161, 2),
        ("x" * 306, 2),
        ("x" * 307, 3),
        ("€" * 80, 1),
        ("€" * 153, 3),
        ("x" * 158 + "€", 1),
        ("x" * 159 + "€", 2),
        ("ő" * 70, 1),
        ("ő" * 71, 2),
        ("ő" * 134, 2),
        ("ő" * 135, 3),
        ("\N{TROPICAL FISH}" * 35, 1),
        ("\N{TROPICAL FISH}" * 36, 2),
    ],
)
def test_parts_are_counted(text: str, count: int) -> None:
    """A text has as many parts as two independent codecs give it, and no letter is cut."""
    pieces = split(text)
    assert count == len(pieces)
    assert text == "".join(pieces)
    assert (count == 1) == fits(text)
    for message in submits(Submit("+10000000000", text), 7):
        again = decode(encode(message)[0])
        assert isinstance(again, Submit)
        assert message.text == again.text


@pytest.mark.parametrize(
    ("text", "expected"),
    [("1234567", "31D98C56B3DD00"), ("12345678", "31D98C56B3DD70"),
     ("hellohello", "E8329BFD4697D9EC37")],
)  # fmt: skip
def test_septets_are_packed(text: str, expected: str) -> None:
    """Septets are packed as published, and the spare one of seven letters is no letter."""
    codes = septets(text)
    assert codes is not None
    assert expected == pack(codes).hex().upper()
    assert text == letters(unpack(pack(codes), len(codes)))


def test_alphabet_is_that_of_the_wording() -> None:
    """What the wording counts as one or two places is one or two septets here."""
    for letter in {*BASIC, *EXTENSION} - {"\x1b"}:
        assert gsm.places(letter) == len(septets(letter) or ())
    assert None is gsm.places("\N{DEGREE SIGN}")
    assert None is septets("\N{DEGREE SIGN}")
    assert None is septets("\x1b")


@pytest.mark.parametrize(
    ("seconds", "octet"),
    [(1.0, 0x00), (300.0, 0x00), (301.0, 0x01), (3600.0, 0x0B), (6 * 3600.0, 0x47),
     (43_200.0, 0x8F), (43_201.0, 0x90), (DAY, 0xA7), (DAY + 1, 0xA8), (4 * DAY, 0xAA),
     (30 * DAY, 0xC4), (30 * DAY + 1, 0xC5), (63 * 7 * DAY, 0xFF), (1e9, 0xFF)],
)  # fmt: skip
def test_validity_is_never_shorter(seconds: float, octet: int) -> None:
    """The step of the validity is the shortest that is not too short."""
    pdu, _ = encode(Submit("+10000000000", "x", seconds))
    assert f"{octet:02X}" == pdu[-6:-4]


@pytest.mark.parametrize(
    ("status", "word"),
    [(0x00, "delivered"), (0x01, "not known"), (0x02, "not known"), (0x20, "trying"),
     (0x25, "trying"), (0x40, "failed"), (0x46, "failed"), (0x60, "failed"), (0x80, "not known")],
)  # fmt: skip
def test_only_one_status_is_delivery(status: int, word: str) -> None:
    """A centre that forwarded, replaced or still tries has delivered nothing."""
    assert word == status_word(status)


@given(st.text(max_size=70), st.integers(0, 10**15).map(str), st.booleans())
def test_any_short_text_comes_back(text: str, digits: str, abroad: bool) -> None:
    """What is encoded is decoded to the same, whatever its letters are."""
    text = text.encode("utf-16-be", "ignore").decode("utf-16-be")
    if not fits(text):
        return
    message = Submit(f"+{digits}" if abroad else digits, text, 3600.0, wants_report=True)
    assert message == decode(encode(message)[0])


@given(st.binary(max_size=180))
def test_any_octets_are_read_or_refused(octets: bytes) -> None:
    """Octets at random are a message or a ValueError, and nothing else."""
    try:
        found = decode(octets.hex())
    except ValueError:
        return
    assert isinstance(found, Deliver | StatusReport | Submit)


@pytest.mark.parametrize("name", SENT)
def test_a_message_cut_short_is_refused(name: str) -> None:
    """Every beginning of a message is refused, not read as a shorter text."""
    octets = SENT[name][2]
    for end in range(0, len(octets) - 2, 2):
        with pytest.raises(ValueError, match=r"too early|do not hold"):
            decode(octets[:end])


@pytest.mark.parametrize("number", ["+1 940", "911;", "+", "٣٤", "1" * 21])
def test_numbers_that_are_none_are_refused(number: str) -> None:
    """Only digits, and a + in front, get into a message."""
    with pytest.raises(ValueError, match="phone number"):
        encode(Submit(number, "x"))


def test_too_long_a_text_is_refused() -> None:
    """A text that needs several messages is not squeezed into one."""
    with pytest.raises(ValueError, match="octets"):
        encode(Submit("+10000000000", "x" * 161))
