"""One text as a mail: headers that keep an event together, and a body. Pure; sends nothing.

Rules: RFC 5322 (format, Message-ID, References, line lengths), RFC 3834 (Auto-Submitted).
"""

import hashlib
import re
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP

from monitor.channels.base import Message, many_lines, one_line

LONGEST_SUBJECT = 69
"""Characters: with the name of the header, 78, longer than which a line should not be (RFC 5322,
section 2.1.1). A subject in ASCII is then never folded."""

LONGEST_DOMAIN = 32
"""Characters of the domain kept in a Message-ID. A longer line would be folded, and Python 3.11
folds References by encoding them, which no mail program reads as a thread."""

POLICY = SMTP.clone(cte_type="7bit")
"""Lines end in CR LF and everything is plain ASCII on the wire, which every server takes."""

_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_LABEL = r"[A-Za-z0-9](?:[A-Za-z0-9-]*[A-Za-z0-9])?"
_ADDRESS = re.compile(rf"{_ATOM}(?:\.{_ATOM})*@{_LABEL}(?:\.{_LABEL})*")


def is_address(text: str) -> bool:
    """Whether this is a plain mail address: dot-atom @ domain, ASCII (RFC 5322, section 3.4.1)."""
    return len(text) <= 254 and _ADDRESS.fullmatch(text) is not None


def compose(message: Message, sender: str, answer: str) -> EmailMessage:
    """The mail for one text. The same text gives the same mail, header by header.

    sender and message.person.mail must pass `is_address`. answer: line on how to answer, in which
    {event} stands for the number; it is left out of texts that belong to no event.
    """
    text = message.text
    letter = EmailMessage(policy=POLICY)
    letter["From"] = Address(one_line(f"{message.rig_label} watch"), addr_spec=sender)
    letter["To"] = Address(one_line(message.person.name), addr_spec=message.person.mail)
    letter["Subject"] = subject(message.body)
    letter["Date"] = message.local_time
    domain = _tail(sender.rpartition("@")[2])
    mark = _digest(message.rig_label, text.person, text.body, text.moment.utc)
    letter["Message-ID"] = f"<text-{text.number}-{mark}@{domain}>"
    if text.event:
        root = f"<event-{text.event}-{_digest(message.rig_label, text.event)}@{domain}>"
        letter["In-Reply-To"] = root
        letter["References"] = root
    letter["Auto-Submitted"] = "auto-generated"
    letter.set_content(_body(message, answer))
    return letter


def subject(body: str) -> str:
    """The first part of a text: whole sentences where they fit, else whole words and dots."""
    line = one_line(body)
    if len(line) <= LONGEST_SUBJECT:
        return line
    begin = line[: LONGEST_SUBJECT + 1]
    end = begin.rfind(". ")
    if end > LONGEST_SUBJECT // 2:
        return begin[: end + 1]
    begin = line[: LONGEST_SUBJECT - 3]
    return (begin.rpartition(" ")[0] or begin) + "..."


def _body(message: Message, answer: str) -> str:
    body = many_lines(message.body)
    if message.text.event and answer:
        body += "\n\n" + many_lines(answer.replace("{event}", str(message.text.event)))
    return body + "\n"


def _tail(domain: str) -> str:
    """As many labels from the end of a domain as fit; an id needs no more of it."""
    while len(domain) > LONGEST_DOMAIN and "." in domain:
        domain = domain.partition(".")[2]
    return domain[-LONGEST_DOMAIN:].lstrip("-")


def _digest(*parts: object) -> str:
    """Keeps ids apart when numbers start again at 1, as after an archive was set up anew."""
    return hashlib.sha256(repr(parts).encode("utf-8", "backslashreplace")).hexdigest()[:12]
