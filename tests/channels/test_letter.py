"""A text as a mail: headers, thread, body, and that no name can break it."""

from dataclasses import replace
from datetime import datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.channels.base import Message, many_lines, one_line
from monitor.channels.letter import LONGEST_SUBJECT, compose, is_address, subject
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.setup import Person

ZONE = ZoneInfo("America/Chicago")
TEXT = Text(
    number=7,
    event=41,
    person="tavrin",
    turn="supply lost",
    grade="urgent",
    body="URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18.",
    moment=Moment(1, 500.0, 1_792_304_340.0),
    expires=900.0,
)
MESSAGE = Message(
    TEXT,
    Person("tavrin", "Tavrin", "tavrin@example.org"),
    "Ostrel",
    datetime.fromtimestamp(TEXT.moment.utc, ZONE),
)
SENDER = "watch@example.org"
ANSWER = "Answer with number {event}."


def letter(message: Message = MESSAGE, sender: str = SENDER) -> EmailMessage:
    """The mail as its receiver reads it."""
    parsed = message_from_bytes(compose(message, sender, ANSWER).as_bytes(), policy=policy.default)
    assert isinstance(parsed, EmailMessage)
    return parsed


def test_headers() -> None:
    """Sender, receiver, time with offset and the mark of an automatic mail are there."""
    mail = letter()
    assert "Ostrel watch <watch@example.org>" == mail["From"]
    assert "Tavrin <tavrin@example.org>" == mail["To"]
    assert "Sun, 18 Oct 2026 01:19:00 -0500" == mail["Date"]
    assert "auto-generated" == mail["Auto-Submitted"]
    assert "URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18." == mail["Subject"]


def test_body_is_the_text_and_how_to_answer() -> None:
    """The body is the text as it is, and a line with the number to answer to."""
    assert [TEXT.body, "", "Answer with number 41."] == letter().get_content().splitlines()


def test_text_without_an_event() -> None:
    """A text that belongs to no event has no thread and asks for no answer."""
    mail = letter(replace(MESSAGE, text=replace(TEXT, event=0)))
    assert mail["References"] is None
    assert mail["In-Reply-To"] is None
    assert [TEXT.body] == mail.get_content().splitlines()


def test_same_text_has_the_same_id() -> None:
    """A repeat can be recognised by its Message-ID."""
    assert letter()["Message-ID"] == letter()["Message-ID"]


@pytest.mark.parametrize(
    "other",
    [
        replace(MESSAGE, text=replace(TEXT, number=8)),
        replace(MESSAGE, text=replace(TEXT, body="Other words")),
        replace(MESSAGE, text=replace(TEXT, person="oskel")),
        replace(MESSAGE, text=replace(TEXT, moment=Moment(2, 500.0, TEXT.moment.utc + 1))),
        replace(MESSAGE, rig_label="Korrin"),
    ],
)
def test_other_text_has_another_id(other: Message) -> None:
    """Another text has another Message-ID, even where numbers began again at 1."""
    assert letter()["Message-ID"] != letter(other)["Message-ID"]


def test_thread_of_an_event() -> None:
    """Texts of one event point to one root; another event or rig has another root."""
    root = letter()["References"]
    later = replace(TEXT, number=9, person="oskel", turn="flow back", body="FLOW BACK")
    assert root == letter(replace(MESSAGE, text=later))["References"]
    assert root == letter()["In-Reply-To"]
    assert root != letter()["Message-ID"]
    assert root != letter(replace(MESSAGE, text=replace(TEXT, event=42)))["References"]
    assert root != letter(replace(MESSAGE, rig_label="Korrin"))["References"]


@pytest.mark.parametrize("domain", ["example.org", "a-long-part." * 15 + "example.org", "x" * 60])
def test_ids_stay_on_one_line(domain: str) -> None:
    """A long domain does not lead to folded ids, which mail programs cannot read."""
    big = replace(MESSAGE, text=replace(TEXT, number=123_456_789, event=123_456_789))
    lines = compose(big, f"watch@{domain}", ANSWER).as_bytes().split(b"\r\n")
    ids = [line for line in lines if line.startswith((b"Message-ID", b"In-Reply", b"References"))]
    assert 3 == len(ids)
    assert all(line.endswith(b">") and b"=?" not in line and len(line) <= 78 for line in ids)


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("short", "short"),
        ("a\r\nBcc: x@example.org", "a Bcc: x@example.org"),
        ("x" * LONGEST_SUBJECT, "x" * LONGEST_SUBJECT),
        ("x" * (LONGEST_SUBJECT + 1), "x" * (LONGEST_SUBJECT - 3) + "..."),
        ("word " * 20, "word " * 12 + "word..."),
        (
            "URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18, header 37cm falling. Siphon breaks.",
            "URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18, header 37cm falling.",
        ),
        (
            "HIGH. " + "A sentence that does not fit into a subject " * 3,
            "HIGH. A sentence that does not fit into a subject A sentence that...",
        ),
        ("", ""),
    ],
)
def test_subject(body: str, expected: str) -> None:
    """A subject is whole sentences if they fill it half, else whole words; one line always."""
    assert expected == subject(body)


@given(st.text())
def test_any_body_gives_a_short_subject(body: str) -> None:
    """No body makes a subject that is too long or has more than one line."""
    made = subject(body)
    assert len(made) <= LONGEST_SUBJECT
    assert made == one_line(made)


SIGNS = '\r\n\t\x00\x1b\x85\u2028\ud800\u202e\U0001f41f,;:<>()@"\\=?_. aZ\xe4\u0416'
NASTY = st.text() | st.text(st.sampled_from(list(SIGNS)), max_size=120)


@given(label=NASTY, name=NASTY, body=NASTY, person=NASTY)
def test_no_name_or_body_loses_the_alarm(label: str, name: str, body: str, person: str) -> None:
    """Whatever names and body hold, a mail is made: plain lines, right receiver, right headers."""
    text = replace(TEXT, body=body, person=person)
    someone = Person(person, name, "tavrin@example.org")
    raw = compose(replace(MESSAGE, text=text, person=someone, rig_label=label), SENDER, ANSWER)
    sent = raw.as_bytes()
    assert sent.isascii()
    assert all(len(line) <= 998 for line in sent.split(b"\r\n"))
    assert b"\n" not in sent.replace(b"\r\n", b"")
    mail = message_from_bytes(sent, policy=policy.default)
    assert ["tavrin@example.org"] == [address.addr_spec for address in mail["To"].addresses]
    assert [SENDER] == [address.addr_spec for address in mail["From"].addresses]
    assert {
        "From", "To", "Subject", "Date", "Message-ID", "In-Reply-To", "References",
        "Auto-Submitted", "Content-Type", "Content-Transfer-Encoding", "MIME-Version",
    } == set(mail.keys())  # fmt: skip
    assert isinstance(mail, EmailMessage)
    expected = many_lines(body) + "\n\nAnswer with number 41.\n"
    assert expected == mail.get_content().replace("\r\n", "\n")


@pytest.mark.parametrize(
    "address", ["tavrin@example.org", "a.b+c@x.example.org", "o'neil@example.org", "a@b"]
)
def test_addresses(address: str) -> None:
    """Plain addresses are taken."""
    assert is_address(address)


@pytest.mark.parametrize(
    "address",
    [
        "", "tavrin", "@example.org", "tavrin@", "a@b@c", "a b@example.org", "a..b@example.org",
        ".a@example.org", "a.@example.org", "a@-b.org", "a@b..org", "a@b.org\n", "a@b.org\r\nB: c",
        "Tavrin <tavrin@example.org>", "a,b@example.org", "\xe4@example.org", "a@\xe4.org",
        "a@" + "b" * 300, "a" * 100_000,
    ],
)  # fmt: skip
def test_addresses_that_are_refused(address: str) -> None:
    """Whatever could be more than one plain address is not one."""
    assert not is_address(address)


def test_folding_of_names() -> None:
    """Controls and breaks of a name become single blanks."""
    assert "LT1 Bcc: x flow" == one_line("LT1\r\nBcc: x\x00\u2028\ud800flow\x85")
    assert "a\n b\tc \nd" == many_lines("a\r\n b\tc\x07\rd")
