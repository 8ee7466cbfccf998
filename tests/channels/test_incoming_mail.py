"""Mails as they come in: who wrote them, whether a person did, and what is hostile in them."""

from dataclasses import replace
from email.message import EmailMessage
from email.policy import SMTP

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.channels.incoming_mail import Bounce, Mail, understand

MARK = "0123456789ab"
ROOT = f"<event-41-{MARK}@example.org>"


def mail(body: str = "OK 41\n", **headers: str) -> bytes:
    """A mail of Tavrin; a header named with _ for -."""
    letter = EmailMessage(policy=SMTP)
    given = {"From": "Tavrin <tavrin@example.org>", "Message-ID": "<1@example.org>", **headers}
    for name, value in given.items():
        letter[name.replace("_", "-")] = value
    letter.set_content(body)
    return letter.as_bytes()


def read(data: bytes, authority: str = "") -> Mail:
    """A mail that is no bounce."""
    found = understand(data, authority)
    assert isinstance(found, Mail)
    return found


def raw(head: str, body: str = "OK 41") -> bytes:
    """A mail written by hand."""
    return f"{head}\n\n{body}\n".replace("\n", "\r\n").encode("latin-1")


def test_reply_of_a_person() -> None:
    """Sender, words, thread and key of an ordinary reply."""
    references = f"{ROOT} <text-7-{MARK}@example.org>"
    found = read(mail("OK 41 40\n", References=references, In_Reply_To=ROOT, Subject="Re: URGENT"))
    assert Mail("tavrin@example.org", "<1@example.org>", "OK 41 40", (41, MARK), "") == replace(
        found, text=found.text.strip()
    )


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("tavrin@example.org", "tavrin@example.org"),
        ("<Tavrin@Example.org>", "tavrin@example.org"),
        ('"Tavrin, M." <tavrin@example.org>', "tavrin@example.org"),
        ("=?utf-8?q?T=C3=A4vrin?= <tavrin@example.org>", "tavrin@example.org"),
        ("tavrin@example.org <evil@example.net>", "evil@example.net"),
        ('"<tavrin@example.org>" <evil@example.net>', ""),
        ("<tavrin@example.org> <evil@example.net>", ""),
        ("tavrin@example.org, evil@example.net", ""),
        ("Tavrin <tavrin@example.org>, Evil <evil@example.net>", ""),
        ("tavrin@example.org\x00@example.net", ""),
        ("t\xe4vrin@example.org", ""),
        ("tavrin@ex\xe4mple.org", ""),
        ('"tavrin"@example.org', ""),
        ("tavrin", ""),
        ("<>", ""),
        ("", ""),
        ("<" * 1000, ""),
    ],
)
def test_sender_is_one_plain_address(line: str, expected: str) -> None:
    """Where more than one address could be meant, there is no sender."""
    assert expected == read(raw(f"From: {line}")).sender


def test_two_senders_are_none() -> None:
    """A mail with two From headers has no sender; programs differ in which they show."""
    assert "" == read(raw("From: tavrin@example.org\nFrom: evil@example.net")).sender


@pytest.mark.parametrize(
    "header",
    [
        "Auto-Submitted: auto-replied",
        "Auto-Submitted: auto-generated; owner=x",
        "auto-submitted:AUTO-NOTIFIED",
        "Precedence: bulk",
        "Precedence: list",
        "Precedence: JUNK",
        "Precedence: auto_reply",
        "Return-Path: <>",
        "Content-Type: multipart/report; report-type=disposition-notification; boundary=x",
        "Content-Type: multipart/report; boundary=x",
        "List-Id: <crew.example.org>",
        "X-Autoreply: yes",
        "X-Auto-Response-Suppress: All",
        "X-Autorespond:",
    ],
)
def test_machines_do_not_answer(header: str) -> None:
    """Vacation notes, lists, receipts and bounces never count as an answer, whatever they say."""
    assert "" != read(raw(f"From: tavrin@example.org\n{header}")).automatic


@pytest.mark.parametrize(
    "header",
    [
        "Auto-Submitted: no",
        "Subject: Out of office: URGENT Ostrel",
        "Subject: Automatic reply",
        "Precedence: first-class",
        "Return-Path: <tavrin@example.org>",
        "Content-Type: text/plain",
    ],
)
def test_people_do_answer(header: str) -> None:
    """A subject alone does not make an answer one of a machine."""
    assert "" == read(raw(f"From: tavrin@example.org\n{header}")).automatic


@pytest.mark.parametrize(
    ("headers", "is_vouched"),
    [
        (["mx.example.org; dmarc=pass header.from=example.org"], True),
        (["mx.example.org 1; spf=pass; dkim=pass; dmarc=pass (p=none)"], True),
        (["mx.example.org; dmarc=fail"], False),
        (["mx.example.org; spf=pass"], False),
        (["mx.example.org; x=dmarc=pass"], False),
        (["evil.example.net; dmarc=pass"], False),
        (["mx.example.org.evil.example.net; dmarc=pass"], False),
        (["mx.example.org; dmarc=fail", "mx.example.org; dmarc=pass"], False),
        ([], False),
    ],
)
def test_server_may_have_to_vouch(headers: list[str], is_vouched: bool) -> None:
    """Where it is asked for, only the topmost header of our own server vouches for a sender."""
    head = "\n".join(
        [*(f"Authentication-Results: {line}" for line in headers), "From: t@example.org"]
    )
    assert is_vouched == (read(raw(head), "mx.example.org").automatic == "")
    assert "" == read(raw(head)).automatic


def test_words_come_from_the_first_plain_text() -> None:
    """Of several parts the plain text counts, not an attached one, and not the HTML."""
    letter = EmailMessage(policy=SMTP)
    letter["From"] = "tavrin@example.org"
    letter.set_content("OK 41\n")
    letter.add_alternative("<p>NO 41</p>", subtype="html")
    letter.add_attachment("HERE 41", filename="note.txt")
    assert "OK 41" == read(letter.as_bytes()).text.strip()


@pytest.mark.parametrize(
    ("page", "words"),
    [
        (
            "<html><head><title>NO 41</title><style>p{}</style></head><body>OK 41</body></html>",
            "OK 41",
        ),
        ("<div>OK&nbsp;41<br></div><blockquote>Reply OK 42</blockquote>", "OK 41"),
        ("<p>OK 41</p><p>soon</p>", "OK 41\n\nsoon"),
        ("<script>NO 41</script>OK 41", "OK 41"),
        ("<!-- NO 41 -->OK 41", "OK 41"),
        ("OK 41 &lt;soon&gt;", "OK 41 <soon>"),
        ("<style>never closed OK 41", ""),
        ("<" * 5000 + "OK 41", "<" * 5000 + "OK 41"),
    ],
)
def test_words_of_a_page(page: str, words: str) -> None:
    """A mail of HTML alone gives its words without marks, hidden parts and quotes."""
    head = "From: tavrin@example.org\nContent-Type: text/html; charset=utf-8"
    assert words == read(raw(head, page)).text.strip()


@pytest.mark.parametrize(
    ("coding", "body", "words"),
    [
        ("utf-8", "OK 41 \xc3\xa4", "OK 41 \xe4"),
        ("iso-8859-1", "OK 41 \xe4", "OK 41 \xe4"),
        ("utf-8", "OK 41 \xff", "OK 41 \ufffd"),
        ("no-such-thing", "OK 41 \xe4", "OK 41 \xe4"),
        ("hex", "OK 41", "OK 41"),
        ("zip", "OK 41", "OK 41"),
        ("a\x00b", "OK 41", "OK 41"),
        ("'\"", "OK 41", "OK 41"),
    ],
)
def test_bad_charsets_lose_nothing(coding: str, body: str, words: str) -> None:
    """An alphabet that is wrong, unknown or no alphabet at all still gives the plain letters."""
    head = f"From: tavrin@example.org\nContent-Type: text/plain; charset={coding}"
    assert words == read(raw(head, body)).text.strip()


def test_deep_mail_is_refused_not_fatal() -> None:
    """Parts within parts without end are a ValueError, and nothing worse."""
    levels = "".join(
        f"Content-Type: multipart/mixed; boundary=b{level}\n\n--b{level}\n" for level in range(3000)
    )
    with pytest.raises(ValueError, match="too many parts"):
        understand(raw("From: tavrin@example.org\n" + levels, "OK 41"))


def test_wide_mail_is_looked_at_in_part() -> None:
    """Of ten thousand parts the first few are looked at."""
    head = "From: tavrin@example.org\nContent-Type: multipart/mixed; boundary=b"
    parts = "--b\nContent-Type: image/png\n\nx\n" * 10_000
    assert "" == read(raw(head, parts + "--b\n\nOK 41\n--b--")).text


@given(st.binary(max_size=600))
def test_any_octets_are_a_mail_or_refused(data: bytes) -> None:
    """No mail raises anything but ValueError, and a sender is an address."""
    for begin in (b"", b"From: ", b"From: a@example.org\r\nContent-Type: ", b"References: <event-"):
        try:
            found = understand(begin + data)
        except ValueError:
            continue
        assert isinstance(found, Bounce) or found.sender == "" or "@" in found.sender


BOUNCE = """From: mailer-daemon@mx.example.org
Return-Path: <>
Auto-Submitted: auto-replied
Message-ID: <dsn-1@mx.example.org>
Content-Type: multipart/report; report-type=delivery-status; boundary=b

--b
Content-Type: text/plain

Sorry. OK 41
--b
Content-Type: message/delivery-status

Reporting-MTA: dns; mx.example.org

Final-Recipient: rfc822; tavrin@example.org
Action: {action}
Status: 5.1.1
Diagnostic-Code: smtp; 550 5.1.1 no such user

--b
Content-Type: text/rfc822-headers

From: watch@example.org
Message-ID: <text-7-0123456789ab@example.org>
{more}
--b--
"""


def test_bounce_names_the_text_that_failed() -> None:
    """A report of a failure is matched to the text by the Message-ID it carries."""
    expected = Bounce(7, "bounced: 5.1.1 smtp; 550 5.1.1 no such user")
    assert expected == understand(BOUNCE.format(action="failed", more="").encode())


@pytest.mark.parametrize("action", ["delayed", "delivered", "relayed", "expanded", ""])
def test_other_reports_say_nothing_of_a_failure(action: str) -> None:
    """A delay may still end well, and a delivery has been read by nobody: both are no bounce."""
    assert "" != read(BOUNCE.format(action=action, more="").encode()).automatic


def test_bounce_of_two_texts_names_none() -> None:
    """A report that carries two of our ids cannot be matched."""
    more = "References: <text-8-0123456789ab@example.org>"
    assert isinstance(understand(BOUNCE.format(action="failed", more=more).encode()), Mail)
