"""A mail as it came in: who wrote it, what about, and whether a person wrote it at all. Pure.

Anything may stand in a mail, and it may be cut off, so nothing here is believed to be well
formed. Rules: RFC 5322 (headers), RFC 3834 (automatic answers), RFC 3464 (delivery reports),
RFC 8601 (Authentication-Results).
"""

import html
import re
from dataclasses import dataclass
from email.message import Message
from email.parser import BytesParser
from email.policy import compat32

from monitor.channels.letter import is_address

LONGEST_TEXT = 20_000
"""Letters of a text that are looked at."""

DEEPEST = 50
"""Parts of a mail that are looked at; a mail of a person has a handful."""

_EVENT = re.compile(r"<event-(\d{1,9})-([0-9a-f]{12})@", re.A)
_MARK = re.compile(r"<([/!]?[a-zA-Z]*)[^<>]*>")
_LINES = ("br", "p", "/p", "div", "/div", "li", "tr")
_HIDDEN = ("head", "style", "script", "title")
_QUOTES = ("blockquote", "hr")
_TEXT = re.compile(r"<text-(\d{1,9})-[0-9a-f]{12}@", re.A)


@dataclass(frozen=True, slots=True)
class Mail:
    """What matters of a mail. key: its Message-ID. thread: number and mark of the event whose mail
    it answers. automatic: why it does not count as written by a person, "" if it may."""

    sender: str
    key: str
    text: str
    thread: tuple[int, str] | None
    automatic: str


@dataclass(frozen=True, slots=True)
class Bounce:
    """A mail that did not arrive, for good. text: the number of the text it carried."""

    text: int
    detail: str


def understand(data: bytes, authority: str = "") -> Mail | Bounce:
    """What matters of a mail, or of the beginning of one. ValueError if nobody can tell.

    authority: our mail server, if senders count only for which it vouches.
    """
    try:
        message = BytesParser(policy=compat32).parsebytes(data)
        return bounce_of(message, data) or _mail(message, authority)
    except RecursionError as error:
        raise ValueError("it has too many parts within parts") from error


def _mail(message: Message, authority: str) -> Mail:
    why = automatic(message)
    if not why and authority and not vouched(message, authority):
        why = f"{authority} does not vouch for the sender"
    return Mail(
        sender(message),
        header(message, "Message-ID").strip(),
        text_of(message),
        thread_of(message),
        why,
    )


def header(message: Message, name: str) -> str:
    """A header on one line; what is no ASCII becomes a letter that no address may have."""
    value = "".join(sign if sign.isascii() else "\ufffd" for sign in str(message.get(name, "")))
    return " ".join(value.split())


def sender(message: Message) -> str:
    """The one address in From, in small letters; "" if there is none, or any doubt which it is."""
    if len(message.get_all("From", [])) != 1:
        return ""
    line = header(message, "From")
    if "<" not in line:
        address = line
    elif line.count("<") == 1 and line.endswith(">"):
        address = line.partition("<")[2][:-1]
    else:
        return ""
    return address.lower() if is_address(address) else ""


def thread_of(message: Message) -> tuple[int, str] | None:
    """Number and mark of the event whose mail this answers, as `letter.py` has put them there."""
    found = _EVENT.findall(f"{header(message, 'References')} {header(message, 'In-Reply-To')}")
    return (int(found[-1][0]), found[-1][1]) if found else None


def automatic(message: Message) -> str:
    """Why this is no answer of a person, "" if it may be one.

    A subject such as "out of office" alone proves nothing: people answer below such subjects.
    """
    submitted = header(message, "Auto-Submitted").partition(";")[0].strip().lower()
    if submitted not in ("", "no"):
        return f"Auto-Submitted: {submitted}"
    precedence = header(message, "Precedence").lower()
    if precedence in ("bulk", "list", "junk", "auto_reply"):
        return f"Precedence: {precedence}"
    if message.get("Return-Path") is not None and header(message, "Return-Path") == "<>":
        return "null return path"
    if message.get_content_type() == "multipart/report":
        return "report"
    if message.get("List-Id") is not None:
        return "mailing list"
    marked = next((name for name in message if name.lower().startswith("x-auto")), "")
    return f"header {marked[:40]}" if marked else ""


def vouched(message: Message, authority: str) -> bool:
    """Whether our mail server says that the sender is who it says it is: dmarc=pass.

    authority: the name the server gives itself. Only its topmost header counts: one further down
    may have come with the mail.
    """
    value = header(message, "Authentication-Results")
    name, _, results = value.partition(";")
    if name.split()[:1] != [authority]:
        return False
    return re.search(r"(?:^|;)\s*dmarc\s*=\s*pass\b", results, re.I) is not None


def text_of(message: Message) -> str:
    """The words of a mail: its first plain text, else its first HTML without marks."""
    formatted = None
    for at, part in enumerate(message.walk()):
        if at >= DEEPEST:
            break
        kind = part.get_content_type()
        if part.is_multipart() or part.get_content_disposition() == "attachment":
            continue
        if kind == "text/plain":
            return _words(part)
        if kind == "text/html" and formatted is None:
            formatted = part
    return _without_marks(_words(formatted)) if formatted is not None else ""


def _words(part: Message) -> str:
    data = part.get_payload(decode=True)
    if not isinstance(data, bytes):
        return ""
    try:
        return data.decode(part.get_content_charset("utf-8"), "replace")[:LONGEST_TEXT]
    except (LookupError, ValueError):
        return data.decode("latin-1")[:LONGEST_TEXT]


def _without_marks(page: str) -> str:
    """The words of an HTML page up to what it quotes; what is not shown is left out."""
    words: list[str] = []
    hidden, end = "", 0
    for mark in _MARK.finditer(page):
        name = mark[1].lower()
        if not hidden:
            words.append(page[end : mark.start()])
        if name in _QUOTES:
            break
        if name in _LINES:
            words.append("\n")
        if not hidden and name in _HIDDEN:
            hidden = f"/{name}"
        elif name == hidden:
            hidden = ""
        end = mark.end()
    else:
        words.append("" if hidden else page[end:])
    return html.unescape("".join(words)).replace("\xa0", " ")


def bounce_of(message: Message, data: bytes) -> Bounce | None:
    """The text that did not arrive for good, if this mail says so of one of ours.

    A report of a delay or a delivery is None: more may come, and nobody has read it yet.
    """
    if message.get_content_type() != "multipart/report":
        return None
    numbers = set(_TEXT.findall(data.decode("latin-1")))
    failed = [
        block
        for at, part in enumerate(message.walk())
        if at < DEEPEST and part.get_content_type() == "message/delivery-status"
        for block in _blocks(part)
        if header(block, "Action").lower() == "failed"
    ]
    if len(numbers) != 1 or not failed:
        return None
    status, reason = header(failed[0], "Status"), header(failed[0], "Diagnostic-Code")
    return Bounce(int(numbers.pop()), f"bounced: {status} {reason}".strip()[:200])


def _blocks(part: Message) -> list[Message]:
    payload = part.get_payload()
    return (
        [item for item in payload if isinstance(item, Message)] if isinstance(payload, list) else []
    )
