"""The mailbox channel against a real IMAP server: what is heard, once, and never lost."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email.message import EmailMessage
from email.policy import SMTP

import pytest

from monitor.channels import CHANNELS, incoming_mail, mailbox
from monitor.channels.base import Delivery, Message
from monitor.channels.hearing import Heard, Hooks, NotTaken
from monitor.channels.incoming_mail import Bounce, Mail
from monitor.channels.mailbox import MailboxChannel
from monitor.clock import Clock
from monitor.inputs import DeliveryReport, Fault
from monitor.setup import Channel
from real.mailboxes import MailServer, TlsFront
from real.servers import HOST, PASSWORD, PATIENCE, USER, Certificates, free_port

MARK = "0123456789ab"
CAME = "18-Oct-2026 06:19:20 +0000"
CAME_AT = 1_792_304_360.0
BOUNCE = f"""From: mailer-daemon@mx.example.org
Return-Path: <>
Content-Type: multipart/report; report-type=delivery-status; boundary=b

--b
Content-Type: message/delivery-status

Reporting-MTA: dns; mx.example.org

Final-Recipient: rfc822; tavrin@example.org
Action: failed
Status: 5.1.1

--b
Content-Type: text/rfc822-headers

Message-ID: <text-7-{MARK}@example.org>
--b--
""".replace("\n", "\r\n").encode()


def mail(body: str, key: str, **headers: str) -> bytes:
    """A mail of Tavrin."""
    letter = EmailMessage(policy=SMTP)
    letter["From"] = "Tavrin <tavrin@example.org>"
    letter["Message-ID"] = f"<{key}@example.org>"
    for name, value in headers.items():
        letter[name.replace("_", "-")] = value
    letter.set_content(body)
    return letter.as_bytes()


@pytest.fixture(scope="module")
def shared_server(certificates: Certificates) -> Iterator[MailServer]:
    """One server without TLS of its own, for all tests of this file."""
    running = MailServer(None)
    yield running
    running.stop()


@pytest.fixture
def server(shared_server: MailServer) -> MailServer:
    """The server with an empty inbox."""
    shared_server.empty()
    return shared_server


@pytest.fixture
def front(server: MailServer, certificates: Certificates) -> Iterator[TlsFront]:
    """TLS from the first byte before the server."""
    running = TlsFront(certificates, server.port)
    yield running
    running.stop()


@pytest.fixture(autouse=True)
def _hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trouble is told at once and tried again soon."""
    monkeypatch.setattr(mailbox, "AGAIN", 0.1)
    monkeypatch.setattr(mailbox, "AFTER_REFUSAL", 0.1)
    monkeypatch.setattr(mailbox, "LASTING", 0.0)


def channel(port: int, certificates: Certificates, **options: object) -> MailboxChannel:
    """The channel under test."""
    given: dict[str, object] = {
        "host": HOST,
        "port": port,
        "user": USER,
        "password_secret": "box",
        "ca_file": str(certificates.ca),
        "every": 1,
        "reply_by": "mail",
        "deadline": PATIENCE,
        **options,
    }
    secrets = {"box": PASSWORD, "wrong": "not-it"}
    made = CHANNELS["mailbox"](Channel("box", "mailbox", tuple(given.items())), secrets)
    assert isinstance(made, MailboxChannel)
    return made


class House:
    """What the channel tells, to be waited for. at_take is called with each message first."""

    def __init__(self) -> None:
        self.heard: list[Heard] = []
        self.reports: list[DeliveryReport] = []
        self.faults: list[Fault] = []
        self.tries = 0
        self.is_stuck = False
        self.cut: TlsFront | None = None
        self._news = threading.Condition()
        self.hooks = Hooks(self._take, self._report, self._tell)

    def _take(self, heard: Heard) -> None:
        with self._news:
            self.tries += 1
            if not self.is_stuck:
                self.heard.append(heard)
            self._news.notify_all()
        if self.is_stuck:
            raise NotTaken("stuck")
        if self.cut is not None:
            self.cut.cut()

    def _report(self, report: DeliveryReport) -> None:
        with self._news:
            self.reports.append(report)
            self._news.notify_all()

    def _tell(self, fault: Fault) -> None:
        with self._news:
            self.faults.append(fault)
            self._news.notify_all()

    def wait_for(self, kind: str, count: int) -> None:
        """Wait until so much of a kind has come."""
        with self._news:
            found = self._news.wait_for(lambda: self._count(kind) >= count, PATIENCE)
        assert found, (kind, getattr(self, kind), self.faults)

    def _count(self, kind: str) -> int:
        found = getattr(self, kind)
        return found if isinstance(found, int) else len(found)


@contextmanager
def listening(box: MailboxChannel, clock: Clock, house: House | None = None) -> Iterator[House]:
    """The channel while it listens."""
    house, stop = house or House(), threading.Event()
    thread = threading.Thread(target=box.listen, args=(house.hooks, clock, stop))
    thread.start()
    try:
        yield house
    finally:
        stop.set()
        thread.join(PATIENCE)
        assert not thread.is_alive()


def test_answers_are_heard_and_marked(
    server: MailServer, front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """Mails that were there and mails that come are taken in order, and marked as seen."""
    root = f"<event-41-{MARK}@example.org>"
    server.deliver(mail("OK\n", "1", References=root, In_Reply_To=root), date=CAME)
    with listening(channel(front.port, certificates), clock) as house:
        house.wait_for("heard", 1)
        server.deliver(mail("HERE 41\n", "2"), date=CAME)
        house.wait_for("heard", 2)
    assert [
        Heard("tavrin@example.org", "OK", "mail", "mail", 41, MARK, CAME_AT),
        Heard("tavrin@example.org", "HERE 41", "mail", "mail", None, "", CAME_AT),
    ] == [
        Heard(h.sender, h.text.strip(), h.way, h.channel, h.event, h.mark, h.written)
        for h in house.heard
    ]
    assert 0 == server.unseen()
    assert [] == house.faults


def test_starttls(certificates: Certificates, clock: Clock) -> None:
    """The same over a connection that is secured after its greeting."""
    running = MailServer(certificates)
    try:
        running.deliver(mail("OK 41\n", "1"))
        box = channel(running.port, certificates, security="starttls")
        with listening(box, clock) as house:
            house.wait_for("heard", 1)
        assert 0 == running.unseen()
    finally:
        running.stop()


def test_mails_of_machines_and_monsters_are_passed_over(
    server: MailServer, front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """Vacation notes, bounces, large, deep and broken mails neither answer nor block the next."""
    deep = "".join(
        f"Content-Type: multipart/mixed; boundary=b{level}\r\n\r\n--b{level}\r\n"
        for level in range(200)
    ).encode()
    server.deliver(
        mail("OK 41\n", "1", Auto_Submitted="auto-replied"),
        BOUNCE,
        b"From: tavrin@example.org\r\n" + deep,
        b"\xff\x00" * 500,
        mail("HERE 41\n\n", "4") + b"y\r\n" * 100_000,
        mail("NO 41\n", "5"),
    )
    with listening(channel(front.port, certificates), clock) as house:
        house.wait_for("heard", 4)
    known = [item.text.strip() for item in house.heard if item.sender == "tavrin@example.org"]
    assert ["", "HERE 41", "NO 41"] == [
        text.partition("\r")[0].partition("\n")[0] for text in known
    ]
    assert all(20_000 >= len(item.text) for item in house.heard)
    (report,) = house.reports
    assert (7, "mail", "refused", "bounced: 5.1.1") == (
        report.text, report.channel, report.outcome, report.detail,
    )  # fmt: skip
    assert 0 == server.unseen()


def test_mail_that_cannot_be_read_at_all_does_not_block(
    server: MailServer,
    front: TlsFront,
    certificates: Certificates,
    clock: Clock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Whatever error a mail causes, it is marked and the next one is heard."""

    def understand(data: bytes, authority: str) -> Mail | Bounce:
        if b"poison" in data:
            raise RuntimeError("nobody thought of this")
        return incoming_mail.understand(data, authority)

    monkeypatch.setattr(mailbox, "understand", understand)
    server.deliver(mail("poison\n", "1"), mail("OK 41\n", "2"))
    with listening(channel(front.port, certificates), clock) as house:
        house.wait_for("heard", 1)
    assert ["OK 41"] == [item.text.strip() for item in house.heard]
    assert 0 == server.unseen()


def test_same_mail_counts_once(
    server: MailServer, front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """A second copy is known by its Message-ID, also to a process that was started since."""
    server.deliver(mail("OK 41\n", "1"))
    with listening(channel(front.port, certificates), clock) as house:
        house.wait_for("heard", 1)
    server.deliver(mail("OK 41\n", "1"), mail("HERE 41\n", "2"))
    with listening(channel(front.port, certificates), clock) as house:
        house.wait_for("heard", 1)
    assert ["HERE 41"] == [item.text.strip() for item in house.heard]
    assert 0 == server.unseen()


def test_mail_that_could_not_be_marked_counts_once(
    server: MailServer, front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """The line breaks after a mail was taken: it is marked later, and not taken again."""
    server.deliver(mail("OK 41\n", "1"), mail("HERE 41\n", "2"))
    house = House()
    house.cut = front
    with listening(channel(front.port, certificates), clock, house):
        house.wait_for("heard", 2)
        house.cut = None
        server.deliver(mail("NOTE over\n", "3"))
        house.wait_for("heard", 3)
    assert ["OK 41", "HERE 41", "NOTE over"] == [item.text.strip() for item in house.heard]
    assert 0 == server.unseen()
    assert front.connections >= 3


def test_mail_stays_until_the_watch_has_it(
    server: MailServer, front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """A watch that is stuck, or dies before the mail is kept, gets it again."""
    server.deliver(mail("OK 41\n", "1"))
    house = House()
    house.is_stuck = True
    with listening(channel(front.port, certificates), clock, house):
        house.wait_for("tries", 2)
    assert 1 == server.unseen()
    with listening(channel(front.port, certificates), clock) as house:
        house.wait_for("heard", 1)
    assert 0 == server.unseen()


def test_wrong_password_is_told(
    server: MailServer, front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """A refused log-in is trouble in words."""
    with listening(channel(front.port, certificates, password_secret="wrong"), clock) as house:
        house.wait_for("faults", 1)
    assert ("channel box", False) == (house.faults[0].part, house.faults[0].over)
    assert "wrong user or password" in house.faults[0].wrong


def test_untrusted_server_gets_no_password(
    front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """A certificate of somebody else ends it before the log-in."""
    box = channel(front.port, certificates, ca_file=str(certificates.other_ca))
    with listening(box, clock) as house:
        house.wait_for("faults", 1)
    assert f"certificate of {HOST}: " in house.faults[0].wrong
    assert 0 == front.connections


def test_server_that_went_away_is_told_and_its_return(
    server: MailServer, certificates: Certificates, clock: Clock
) -> None:
    """A server that is not there is trouble, and over once mails can be read again."""
    front = TlsFront(certificates, server.port)
    port = front.port
    with listening(channel(free_port(), certificates), clock) as house:
        house.wait_for("faults", 1)
        assert "Connection refused" in house.faults[0].wrong
    with listening(channel(port, certificates), clock) as house:
        server.deliver(mail("OK 41\n", "1"))
        house.wait_for("heard", 1)
        front.cut()
        house.wait_for("faults", 2)
    assert [False, True] == [fault.over for fault in house.faults]
    front.stop()


def test_only_vouched_senders_where_that_is_asked(
    server: MailServer, front: TlsFront, certificates: Certificates, clock: Clock
) -> None:
    """With an authority named, a sender counts for which that server vouches."""
    server.deliver(
        mail("OK 41\n", "1"),
        mail("OK 41\n", "2", Authentication_Results="mx.example.org; dmarc=fail"),
        mail("HERE 41\n", "3", Authentication_Results="mx.example.org; dmarc=pass"),
    )
    box = channel(front.port, certificates, authority="mx.example.org")
    with listening(box, clock) as house:
        house.wait_for("heard", 1)
    assert ["HERE 41"] == [item.text.strip() for item in house.heard]


def test_mailbox_sends_nothing(certificates: Certificates) -> None:
    """A person who is to be reached by a mailbox is told of as not reached."""
    expected = Delivery("refused", "a mailbox only hears; name a channel of kind mail")
    message = Message.__new__(Message)
    assert expected == channel(993, certificates).send(message)
