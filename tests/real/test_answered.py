"""An outage from the broker to the phone and back: real processes, servers, and a modem line."""

from collections.abc import Iterator
from datetime import UTC, datetime
from email.message import EmailMessage
from email.policy import SMTP
from pathlib import Path

import pytest

from monitor.archive import Reader
from real import mailboxes
from real.modem_emulator import Modem, delivered
from real.outage import HANG, OUT, RUNNING, Watch, publish, until, watching, write_config
from real.servers import Broker, Certificates, MailServer

pytestmark = pytest.mark.long

TAVRIN, STRANGER = "+19405550141", "+19405550199"


@pytest.fixture
def modem(tmp_path: Path) -> Iterator[Modem]:
    """A modem that is plugged in."""
    plugged = Modem(tmp_path)
    plugged.plug_in()
    yield plugged
    plugged.unplug()


@pytest.fixture
def inbox() -> Iterator[mailboxes.MailServer]:
    """The mailbox of the watch."""
    running = mailboxes.MailServer(None)
    yield running
    running.stop()


@pytest.fixture
def front(inbox: mailboxes.MailServer, certificates: Certificates) -> Iterator[mailboxes.TlsFront]:
    """TLS before that mailbox."""
    running = mailboxes.TlsFront(certificates, inbox.port)
    yield running
    running.stop()


@pytest.fixture
def config(
    tmp_path: Path,
    broker: Broker,
    mail_server: MailServer,
    front: mailboxes.TlsFront,
    modem: Modem,
) -> Path:
    """A rig with all its ways to reach people, and to be answered."""
    write_config(tmp_path / "config", broker, mail_server, front, modem)
    return tmp_path / "config"


def outage(watch: Watch, broker: Broker) -> None:
    """The water runs, then the mains goes."""
    until(lambda: watch.ask(ask="snapshot"), watch.log)
    broker.wait_for("SUBSCRIBE", 30)
    for _ in range(3):
        publish(broker, RUNNING)
    for _ in range(3):
        publish(broker, OUT)


def reply(to: EmailMessage, words: str) -> bytes:
    """What a mail program sends when somebody answers a mail."""
    letter = EmailMessage(policy=SMTP)
    letter["From"] = "Tavrin <tavrin@example.org>"
    letter["To"] = str(to["From"])
    letter["Subject"] = f"Re: {to['Subject']}"
    letter["Message-ID"] = "<answer-1@example.org>"
    letter["In-Reply-To"] = str(to["Message-ID"])
    letter["References"] = f"{to['References']} {to['Message-ID']}"
    quoted = "\n".join(f"> {line}" for line in to.get_content().splitlines())
    letter.set_content(f"{words}\n\nOn Sunday, Ostrel watch wrote:\n{quoted}\n")
    return letter.as_bytes()


def stamp_now() -> str:
    """The time stamp of a text that comes in now, in UTC (3GPP TS 23.040, section 9.2.3.11)."""
    digits = f"{datetime.now(UTC):%y%m%d%H%M%S}00"
    return "".join(digits[at + 1] + digits[at] for at in range(0, len(digits), 2))


def texts_to(modem: Modem, number: str) -> list[str]:
    """What has been sent to a phone."""
    with modem.lock:
        return [text.text for text in modem.texts if text.number == number]


def mails_to(server: MailServer, name: str) -> list[EmailMessage]:
    """What has been mailed to somebody."""
    return [mail for mail in server.messages if mail["To"].startswith(name)]


def test_outage_is_told_answered_and_confirmed_once(
    config: Path,
    tmp_path: Path,
    broker: Broker,
    mail_server: MailServer,
    inbox: mailboxes.MailServer,
    modem: Modem,
) -> None:
    """Text out, OK by text in, HERE by mail: each confirmed once; a stranger changes nothing."""
    state = tmp_path / "state"
    with watching(config, state) as watch:
        outage(watch, broker)
        until(lambda: texts_to(modem, TAVRIN), watch.log)
        (told,) = until(lambda: mails_to(mail_server, "Tavrin"), watch.log)
        assert texts_to(modem, TAVRIN)[0].endswith("Reply OK 1.")
        assert "Reply to this mail with one line: OK 1" in told.get_content()

        modem.receive(delivered("OK 1", STRANGER))
        until(lambda: not modem.store, watch.log)
        assert "NOBODY HAS IT" in watch.events()

        modem.receive(delivered("ok 1 40", TAVRIN))
        until(lambda: "Tavrin has it" in watch.events(), watch.log)
        until(lambda: len(texts_to(modem, TAVRIN)) == 2 and not modem.store, watch.log)

        inbox.deliver(reply(told, "here 1"))
        until(lambda: "Tavrin is on site" in watch.events(), watch.log)
        until(lambda: len(mails_to(mail_server, "Tavrin")) == 2, watch.log)
        until(lambda: inbox.unseen() == 0, watch.log)
        watch.kill()

    with watching(config, state) as again:
        until(lambda: "Tavrin is on site" in again.events(), again.log)
        again.end()

    confirmed = texts_to(modem, TAVRIN)[1]
    assert confirmed.startswith("Ostrel: you have 1, due ")
    assert 2 == len(texts_to(modem, TAVRIN))
    assert [] == texts_to(modem, STRANGER)
    on_site = mails_to(mail_server, "Tavrin")[1].get_content()
    assert on_site.startswith("Ostrel: 1: on site noted.")
    with Reader(state / "record.db") as reader:
        answers = [(row.state, row.who) for row in reader.journal() if row.what == "answer"]
        settled = {(row.channel, row.state) for row in reader.outbox()}
    assert [
        ("refused", f"unknown sender {STRANGER}"),
        ("taken", "tavrin"),
        ("on site", "tavrin"),
    ] == answers
    assert {("modem", "accepted"), ("mail", "accepted")} == settled


def test_answer_that_lay_in_the_modem_over_a_kill_is_taken_once(
    config: Path, tmp_path: Path, broker: Broker, mail_server: MailServer, modem: Modem
) -> None:
    """A text that came in while the watch was dead is taken at the start, and confirmed once."""
    state = tmp_path / "state"
    with watching(config, state) as watch:
        outage(watch, broker)
        until(lambda: texts_to(modem, TAVRIN), watch.log)
        until(lambda: not _open_texts(state), watch.log)
        watch.kill()
    modem.receive(delivered("OK 1 40", TAVRIN, stamp_now()), told=False)

    with watching(config, state) as watch:
        until(lambda: "Tavrin has it" in watch.events(), watch.log)
        until(lambda: len(texts_to(modem, TAVRIN)) == 2 and not modem.store, watch.log)
        watch.end()

    assert texts_to(modem, TAVRIN)[1].startswith("Ostrel: you have 1, due ")


def test_text_of_unknown_fate_is_sent_once_more_after_a_kill(
    config: Path, tmp_path: Path, broker: Broker, mail_server: MailServer
) -> None:
    """A mail that hung after its final dot goes out once more, under its number, by the next
    process, a minute later."""
    state = tmp_path / "state"
    mail_server.misbehave("dot", "hang")
    with watching(config, state) as watch:
        outage(watch, broker)
        until(lambda: ("mail", "unknown") in _states(state), watch.log)
        watch.kill()
    with Reader(state / "record.db") as reader:
        before = next(row for row in reader.outbox() if row.channel == "mail")
    mail_server.misbehave("dot", "", 0)
    assert before.next_try is not None

    with watching(config, state) as watch:
        # The minute until it is tried again has hardly begun.
        until(lambda: ("mail", "accepted") in _states(state), watch.log, 2.0 * HANG)
        watch.end()

    with Reader(state / "record.db") as reader:
        rows = [row for row in reader.outbox() if row.channel == "mail"]
    after = next(row for row in rows if row.text.number == before.text.number)
    mark = f"<text-{before.text.number}-"
    assert 1 == len([m for m in mail_server.messages if str(m["Message-ID"]).startswith(mark)])
    assert (1, 2) == (before.attempts, after.attempts)
    assert after.moment.elapsed >= before.next_try


def _states(state: Path) -> set[tuple[str, str]]:
    """What became of the texts by now, by channel."""
    if not (state / "record.db").exists():
        return set()
    with Reader(state / "record.db") as reader:
        return {(row.channel, row.state) for row in reader.outbox()}


def _open_texts(state: Path) -> int:
    with Reader(state / "record.db") as reader:
        return len(reader.outbox(only_open=True))
