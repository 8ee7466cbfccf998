"""The mail channel against a real server: what arrives, and what is known when it goes wrong."""

import socket
import threading
from dataclasses import replace
from datetime import datetime
from email.utils import parsedate_to_datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.channels import CHANNELS
from monitor.channels.base import Delivery, Message, Sender
from monitor.channels.sender import SenderThread
from monitor.clock import VirtualClock
from monitor.effects import Text
from monitor.inputs import DeliveryReport, Moment
from monitor.setup import Channel, Person
from real.servers import HOST, PATIENCE, MailServer

WRITTEN = Moment(1, 500.0, 1_792_304_340.0)
LOCAL = datetime.fromtimestamp(WRITTEN.utc, ZoneInfo("America/Chicago"))
BODY = (
    "URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18, header 37cm falling. Go and look. "
    "26.5\N{DEGREE SIGN}C."
)

STEPS = ("connect", "EHLO", "STARTTLS", "AUTH", "MAIL", "RCPT", "DATA", "dot")


def message(number: int = 7, event: int = 41, body: str = BODY) -> Message:
    """A text to Tavrin."""
    text = Text(number, event, "tavrin", "supply lost", "urgent", body, WRITTEN, 9_999.0)
    return Message(text, Person("tavrin", "Tavrin", "tavrin@example.org"), "Ostrel", LOCAL)


def channel(server: MailServer, **options: object) -> Sender:
    """The channel under test, with a log-in that the server knows unless told otherwise."""
    all_options: dict[str, object] = {
        "host": server.host,
        "port": server.port,
        "sender": "watch@example.org",
        "user": server.user,
        "password_secret": "mail",
        "ca_file": str(server.ca),
        "deadline": PATIENCE,
        **options,
    }
    secrets = {"mail": server.password, "wrong": "not-the-password"}
    return CHANNELS["mail"](Channel("mail", "mail", tuple(all_options.items())), secrets)


def test_mail_arrives_with_its_headers(mail_server: MailServer) -> None:
    """Over STARTTLS and log-in a mail arrives with subject, time, thread, mark and body."""
    assert Delivery("accepted", "2.0.0 taken") == channel(mail_server).send(message())
    (mail,) = mail_server.messages
    assert "Ostrel watch <watch@example.org>" == mail["From"]
    assert "Tavrin <tavrin@example.org>" == mail["To"]
    assert "URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18, header 37cm falling." == mail["Subject"]
    assert LOCAL == parsedate_to_datetime(mail["Date"])
    assert "-0500" == mail["Date"][-5:]
    assert "auto-generated" == mail["Auto-Submitted"]
    assert mail["In-Reply-To"] == mail["References"] != mail["Message-ID"]
    assert BODY == mail.get_content().splitlines()[0]
    (envelope,) = mail_server.envelopes
    assert "watch@example.org" == envelope.mail_from
    assert ["tavrin@example.org"] == envelope.rcpt_tos


def test_mail_says_how_to_answer(mail_server: MailServer) -> None:
    """A reply is asked for only where one is read; else the command on the board is named."""
    body = "Siphon broken. Reply OK 41."
    sender = channel(mail_server)
    for is_heard in (True, False):
        assert "accepted" == sender.send(replace(message(body=body), is_heard=is_heard)).outcome
    heard, unheard = (mail.get_content().splitlines() for mail in mail_server.messages)
    assert ["Siphon broken. Reply OK 41.", ""] == heard[:2]
    assert heard[2].startswith("Reply to this mail with one line: OK 41")
    assert ["Siphon broken. Take 41 on the board.", ""] == unheard[:2]
    assert "A reply to this mail is not read. On the board of the watch:" == unheard[2]
    assert "holdwater take 41 --as YOUR-NAME" == unheard[3]


def test_texts_of_one_event_are_one_thread(mail_server: MailServer) -> None:
    """Two texts of one event share a root; the same text sent again has the same Message-ID."""
    mail = channel(mail_server)
    for number in (7, 7, 8):
        assert "accepted" == mail.send(message(number)).outcome
    first, again, other = mail_server.messages
    assert first["Message-ID"] == again["Message-ID"] != other["Message-ID"]
    assert first["References"] == other["References"]


def test_lines_that_begin_with_a_dot_arrive_whole(mail_server: MailServer) -> None:
    """A dot at the start of a line neither ends the mail nor gets lost."""
    assert "accepted" == channel(mail_server).send(message(body="a\n.\n..b\n.c")).outcome
    assert ["a", ".", "..b", ".c"] == mail_server.messages[0].get_content().splitlines()[:4]


def test_tls_from_the_first_byte(tls_mail_server: MailServer) -> None:
    """security = "tls" speaks TLS at once."""
    assert "accepted" == channel(tls_mail_server, security="tls").send(message()).outcome
    assert 1 == len(tls_mail_server.messages)


@pytest.mark.parametrize("ca_file", ["other", "system"])
def test_untrusted_certificate(mail_server: MailServer, ca_file: str) -> None:
    """An untrusted certificate ends the attempt before the log-in; a later one may find it well."""
    options = {"ca_file": str(mail_server.other_ca) if ca_file == "other" else ""}
    mail_server.misbehave("AUTH", "250 the log-in was sent, which it must not be")
    delivery = channel(mail_server, **options).send(message())
    assert "retry" == delivery.outcome
    assert f"certificate of {HOST} not trusted" in delivery.detail


def test_certificate_of_another_name(mail_server: MailServer) -> None:
    """A good certificate of another name is not trusted either."""
    delivery = channel(mail_server, host="localhost").send(message())
    assert "retry" == delivery.outcome
    assert "certificate of localhost not trusted: Hostname mismatch" in delivery.detail


def test_server_without_starttls_is_not_talked_to_in_clear(mail_server: MailServer) -> None:
    """No STARTTLS, no mail: the password is never sent in clear."""
    with socket.create_server((HOST, 0)) as listener:
        heard: list[bytes] = []
        thread = threading.Thread(target=_speak_plain, args=(listener, heard))
        thread.start()
        port = listener.getsockname()[1]
        delivery = channel(mail_server, port=port).send(message())
        thread.join(PATIENCE)
    assert Delivery("retry", "STARTTLS: STARTTLS extension not supported by server.") == delivery
    assert [b"ehlo [127.0.0.1]\r\n"] == heard


def _speak_plain(listener: socket.socket, heard: list[bytes]) -> None:
    connection, _ = listener.accept()
    with connection, connection.makefile("rwb") as lines:
        lines.write(b"220 plain\r\n")
        lines.flush()
        for line in lines:
            heard.append(line)
            lines.write(b"250 AUTH PLAIN\r\n")
            lines.flush()


def test_wrong_password(mail_server: MailServer) -> None:
    """A refused log-in is refused for good, says so, and does not show the password."""
    delivery = channel(mail_server, password_secret="wrong").send(message())
    assert "refused" == delivery.outcome
    assert delivery.detail.startswith("wrong user or password. log-in: 535 ")
    assert "not-the-password" not in delivery.detail


@pytest.mark.parametrize(
    "step", ["connect", "EHLO", "STARTTLS", "AUTH", "MAIL", "RCPT", "DATA", "dot"]
)
@pytest.mark.parametrize(
    ("reply", "outcome"), [("451 4.3.0 try later", "retry"), ("554 5.7.1 not here", "refused")]
)
def test_reply_at_each_step(mail_server: MailServer, step: str, reply: str, outcome: str) -> None:
    """At every step 4yz is worth another attempt and 5yz is not; once over, mail goes."""
    mail_server.misbehave(step, reply, times=1)
    delivery = channel(mail_server).send(message())
    assert outcome == delivery.outcome
    assert reply in delivery.detail
    assert [] == mail_server.messages
    assert "accepted" == channel(mail_server).send(message()).outcome
    assert 1 == len(mail_server.messages)


@pytest.mark.parametrize(
    ("step", "outcome"),
    [
        ("connect", "retry"),
        ("EHLO", "retry"),
        ("STARTTLS", "retry"),
        ("AUTH", "retry"),
        ("MAIL", "retry"),
        ("RCPT", "retry"),
        ("DATA", "retry"),
        ("dot", "unknown"),
        ("QUIT", "accepted"),
    ],
)
def test_connection_dropped_at_each_step(mail_server: MailServer, step: str, outcome: str) -> None:
    """Before the final dot nothing was sent; after it nobody knows; answered, it is taken."""
    mail_server.misbehave(step, "drop")
    assert outcome == channel(mail_server).send(message()).outcome
    assert int(outcome == "accepted") == len(mail_server.messages)


@pytest.mark.parametrize(
    ("step", "outcome"),
    [("connect", "retry"), ("AUTH", "retry"), ("DATA", "retry"), ("dot", "unknown")],
)
def test_server_that_hangs(mail_server: MailServer, step: str, outcome: str) -> None:
    """A silent server is left at the deadline, with what is known by then."""
    mail_server.misbehave(step, "hang")
    delivery = channel(mail_server, deadline=0.3).send(message())
    assert outcome == delivery.outcome
    assert delivery.detail.endswith("no answer in 0.3 s")


def test_server_that_hangs_after_taking(mail_server: MailServer) -> None:
    """Once the mail is taken, a server that says no goodbye holds nobody up."""
    mail_server.misbehave("QUIT", "hang")
    mail = channel(mail_server, deadline=1.0)
    assert Delivery("accepted", "2.0.0 taken") == mail.send(message())


def test_endless_answer_to_the_final_dot(mail_server: MailServer) -> None:
    """An answer that is no answer leaves open whether the mail was taken."""
    mail_server.misbehave("dot", "250 " + "x" * 9000)
    delivery = channel(mail_server).send(message())
    assert "unknown" == delivery.outcome
    assert "Line too long" in delivery.detail


def wait_for_attempts() -> None:
    """Wait until every attempt that was left alone has ended."""
    for thread in threading.enumerate():
        if thread.name == "mail attempt":
            thread.join(PATIENCE)
            assert not thread.is_alive()


def test_name_server_that_hangs(mail_server: MailServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """A look-up that takes too long is left at the deadline, and what it finds is not used."""
    go_on = threading.Event()
    look_up = socket.getaddrinfo

    def slow(*args: Any, **options: Any) -> Any:
        go_on.wait(PATIENCE)
        return look_up(*args, **options)

    with monkeypatch.context() as resolver:
        resolver.setattr(socket, "getaddrinfo", slow)
        delivery = channel(mail_server, deadline=0.2).send(message())
        assert Delivery("retry", "connection: no answer in 0.2 s") == delivery
        go_on.set()
        wait_for_attempts()
    assert [] == mail_server.messages


def test_slow_reply_cannot_stretch_the_deadline(mail_server: MailServer) -> None:
    """A server that sends a byte now and then gets no more time than a silent one."""
    with socket.create_server((HOST, 0)) as listener:
        stop = threading.Event()
        thread = threading.Thread(target=_drip, args=(listener, stop))
        thread.start()
        port = listener.getsockname()[1]
        delivery = channel(mail_server, port=port, deadline=0.4).send(message())
        wait_for_attempts()
        stop.set()
        thread.join(PATIENCE)
    assert Delivery("retry", "greeting: no answer in 0.4 s") == delivery


def _drip(listener: socket.socket, stop: threading.Event) -> None:
    """Greet, then answer without ever ending the line."""
    connection, _ = listener.accept()
    with connection:
        connection.sendall(b"220 slow\r\n")
        while not stop.wait(0.05):
            try:
                connection.sendall(b"2")
            except OSError:
                return


def test_nobody_listens(mail_server: MailServer) -> None:
    """A refused connection and a name that does not resolve are worth another attempt."""
    with socket.create_server((HOST, 0)) as listener:
        port = listener.getsockname()[1]
    assert "retry" == channel(mail_server, port=port).send(message()).outcome
    assert "retry" == channel(mail_server, host="mail.invalid").send(message()).outcome


def test_person_without_an_address(mail_server: MailServer) -> None:
    """A person without a usable address is refused before any connection."""
    mail = channel(mail_server)
    for address in ("", "tavrin", "tavrin@example.org\nBcc: x@example.org", "a b@example.org"):
        nobody = replace(message(), person=Person("tavrin", "Tavrin", address))
        assert Delivery("refused", "tavrin has no usable mail address") == mail.send(nobody)
    assert [] == mail_server.messages


def test_thread_repeats_until_accepted(mail_server: MailServer) -> None:
    """The sender thread tries again after 4yz and after silence, and reports each turn of it."""
    mail_server.misbehave("RCPT", "451 4.3.0 try later", times=1)
    mail_server.misbehave("dot", "hang", times=1)
    clock = VirtualClock(WRITTEN)
    reports: list[DeliveryReport] = []
    thread = SenderThread(channel(mail_server, deadline=1.0), clock, reports.append)
    thread.offer(message())
    for wait in (0.0, 5.0, 60.0):
        clock.advance_to(clock.now().elapsed + wait)
        thread.work()
    assert ["retry", "unknown", "accepted"] == [report.outcome for report in reports]
    assert [500.0, 505.0, 565.0] == [report.moment.elapsed for report in reports]
    assert 1 == len(mail_server.messages)
