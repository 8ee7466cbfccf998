"""The modem channel against a modem on a pseudo-terminal: what is sent, heard, lost and told."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from channels.people import EVENT, OSKEL, SmallWatch
from monitor.channels import CHANNELS, modem_ear
from monitor.channels.base import Delivery, Message
from monitor.channels.gsm_pdu import Submit
from monitor.channels.hearing import Heard, Hooks, NotTaken
from monitor.channels.modem import ModemChannel
from monitor.channels.modem_codes import EQUIPMENT_ERRORS, MESSAGE_ERRORS
from monitor.clock import Clock
from monitor.effects import Text
from monitor.inputs import DeliveryReport, Fault, Moment
from monitor.setup import Channel, Person
from real.modem_emulator import Modem, delivered, reported
from real.servers import PATIENCE

WRITTEN = Moment(1, 500.0, 1_792_304_340.0)
NIGHT = datetime.fromtimestamp(WRITTEN.utc, ZoneInfo("America/Chicago"))
BODY = "URGENT Ostrel LT1 Sun 01:19. MAINS OFF 01:18, header 37cm falling. Reply OK 41."
TAVRIN = "+19405550141"


def message(body: str = BODY, number: int = 7, grade: str = "urgent", hour: int = 1) -> Message:
    """A text to Tavrin."""
    text = Text(number, 41, "tavrin", "supply lost", grade, body, WRITTEN, 9_999.0)
    person = Person("tavrin", "Tavrin", phone="+1 940-555-0141")
    return Message(text, person, "Ostrel", NIGHT.replace(hour=hour))


@pytest.fixture
def modem(tmp_path: Path) -> Iterator[Modem]:
    """A modem that is plugged in."""
    plugged = Modem(tmp_path)
    plugged.plug_in()
    yield plugged
    plugged.unplug()


def channel(modem: Modem, **options: object) -> ModemChannel:
    """The channel under test."""
    given = {"device": str(modem.device), **options}
    secrets = {"pin": "1234"}
    made = CHANNELS["modem"](Channel("modem", "modem", tuple(given.items())), secrets)
    assert isinstance(made, ModemChannel)
    return made


class House:
    """What a listening channel tells, to be waited for."""

    def __init__(self) -> None:
        self.heard: list[Heard] = []
        self.reports: list[DeliveryReport] = []
        self.faults: list[Fault] = []
        self.is_stuck = False
        self._news = threading.Condition()
        self.hooks = Hooks(self._take, self._report, self._tell)

    def _take(self, heard: Heard) -> None:
        if self.is_stuck:
            raise NotTaken("stuck")
        with self._news:
            self.heard.append(heard)
            self._news.notify_all()

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
        found: list[object] = getattr(self, kind)
        with self._news:
            assert self._news.wait_for(lambda: len(found) >= count, PATIENCE), (kind, found)


@contextmanager
def listening(sender: ModemChannel, clock: Clock) -> Iterator[House]:
    """The channel while it listens."""
    house, stop = House(), threading.Event()
    thread = threading.Thread(target=sender.listen, args=(house.hooks, clock, stop))
    thread.start()
    try:
        yield house
    finally:
        stop.set()
        thread.join(PATIENCE)
        assert not thread.is_alive()


def test_text_is_sent_as_one_message(modem: Modem) -> None:
    """A text goes out in PDU mode, with its life and the wish for a report."""
    expected = Delivery("accepted", "the network took it, reference 24")
    sender = channel(modem, validity_h=3)
    assert expected == sender.send(message())
    assert [Submit(TAVRIN, BODY, 10_800.0, wants_report=True)] == modem.texts
    assert (
        "accepted"
        == sender.send(
            message("28.0\N{DEGREE SIGN}C in LT1, caf\N{LATIN SMALL LETTER E WITH ACUTE}")
        ).outcome
    )
    assert "28.0 C in LT1, caf\N{LATIN SMALL LETTER E WITH ACUTE}" == modem.texts[1].text
    assert "accepted" == sender.send(message("[" * 100)).outcome
    assert "[" * 80 == modem.texts[2].text
    assert 1 == modem.commands.count("ATE0")


def test_text_mode_sends_words(modem: Modem) -> None:
    """In text mode the words go out as they are, and PDU mode is back for what comes in."""
    assert "accepted" == channel(modem, mode="text").send(message()).outcome
    assert [(TAVRIN, BODY)] == modem.words
    assert "AT+CSMP=49,23,0,0" in modem.commands
    assert "AT+CMGF=0" == modem.commands[-1]


RETRY = {17, 22, 27, 31, 38, 41, 42, 47, 300, 314, 320, 322, 331, 332, 500}


def test_every_message_error_is_a_class(modem: Modem) -> None:
    """Each number after a text is tried again, or for good; one that nobody knows is for good."""
    sender = channel(modem)
    for code in [*MESSAGE_ERRORS, 512, 299]:
        modem.habits.at_text = f"+CMS ERROR: {code}"
        expected = "retry" if code in RETRY or code >= 500 else "refused"
        delivery = sender.send(message())
        assert (code, expected) == (code, delivery.outcome)
        assert f"AT+CMGS: CMS {code} " in delivery.detail


def test_every_equipment_error_is_a_class(modem: Modem) -> None:
    """The same for numbers of the modem and its SIM, here before the text is asked for."""
    sender = channel(modem)
    for code in EQUIPMENT_ERRORS:
        modem.habits.at_command = f"+CME ERROR: {code}"
        expected = "retry" if code in (14, 30, 31, 100) else "refused"
        assert (code, expected) == (code, sender.send(message()).outcome)
    for line in ("ERROR", "+CMS ERROR"):
        modem.habits.at_command = line
        assert "retry" == sender.send(message()).outcome
    assert [] == modem.texts


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Time-outs of a second, for modems that say nothing."""
    monkeypatch.setattr("monitor.channels.modem_session.QUICK", 0.5)
    monkeypatch.setattr("monitor.channels.modem_session.SLOW", 0.5)
    monkeypatch.setattr("monitor.channels.modem_session.SENDING", 0.5)


@pytest.mark.usefixtures("hasty")
def test_silence_before_the_text_has_sent_nothing(modem: Modem) -> None:
    """A modem that never asks for the text is tried again from the start."""
    modem.habits.no_prompt = True
    sender = channel(modem)
    assert Delivery("retry", "AT+CMGS: not asked for the text") == sender.send(message())
    modem.habits.no_prompt = False
    assert "accepted" == sender.send(message()).outcome
    assert 2 == modem.commands.count("AT+CMEE=1")


@pytest.mark.usefixtures("hasty")
def test_silence_after_the_text_is_unknown(modem: Modem) -> None:
    """A text that was handed over and not answered may have been sent."""
    modem.habits.at_text = ""
    assert Delivery("unknown", "AT+CMGS: no answer in time") == channel(modem).send(message())
    assert 1 == len(modem.texts)


@pytest.mark.usefixtures("hasty")
def test_modem_that_answers_nothing_is_tried_again(modem: Modem) -> None:
    """A modem that hangs costs seconds, not the thread."""
    modem.habits.silent = ("AT",)
    assert Delivery("retry", "AT: no answer in time") == channel(modem).send(message())


def test_line_lost_after_the_text_is_unknown_and_comes_back(modem: Modem) -> None:
    """A modem pulled out in the middle may have sent; plugged in again it sends."""
    modem.habits.at_text = "unplug"
    sender = channel(modem)
    delivery = sender.send(message())
    assert "unknown" == delivery.outcome
    assert "line lost" in delivery.detail
    delivery = sender.send(message())
    assert "retry" == delivery.outcome
    assert "is the modem plugged in?" in delivery.detail
    modem.habits.at_text = None
    modem.plug_in()
    assert "accepted" == sender.send(message()).outcome


def test_pin_opens_the_sim(modem: Modem) -> None:
    """A SIM that wants its PIN gets it, and it stands in no detail."""
    modem.habits.sim, modem.habits.pin = "SIM PIN", "1234"
    assert "accepted" == channel(modem, pin_secret="pin").send(message()).outcome


def test_wrong_pin_is_tried_once(modem: Modem) -> None:
    """A refused PIN is never tried again, for three refusals lock the SIM."""
    modem.habits.sim, modem.habits.pin = "SIM PIN", "9999"
    sender = channel(modem, pin_secret="pin")
    assert Delivery("refused", "AT+CPIN: CME 16 wrong PIN") == sender.send(message())
    assert "refused" == sender.send(message()).outcome
    assert "refused" == channel(modem, pin_secret="pin").send(message()).outcome
    assert 1 == modem.commands.count('AT+CPIN="1234"')


@pytest.mark.parametrize(
    ("sim", "words"),
    [("SIM PIN", "pin_secret names none"), ("SIM PUK", "wants SIM PUK"), ("", "no SIM")],
)
def test_sim_that_needs_a_person(modem: Modem, sim: str, words: str) -> None:
    """A SIM that is locked or missing is told in words, and the other path is left to carry on."""
    modem.habits.sim = sim
    delivery = channel(modem).send(message())
    assert ("refused", True) == (delivery.outcome, words in delivery.detail)


def test_old_modem_is_good_enough(modem: Modem) -> None:
    """A modem without stores, news, reports and numbered errors still sends."""
    modem.habits.refused = ("AT+CSMS", "AT+CPMS", "AT+CNMI", "AT+CPINR", "AT+CEREG")
    assert "accepted" == channel(modem).send(message()).outcome


def test_sleepy_modem_is_woken(modem: Modem) -> None:
    """A modem that misses the first command, while it guesses the speed, is asked again."""
    modem.habits.deaf = 1
    assert "accepted" == channel(modem).send(message()).outcome
    assert ["AT", "AT", "ATE0"] == modem.commands[:3]


def test_noise_between_the_lines_does_no_harm(modem: Modem) -> None:
    """What a modem says by itself in the middle of an answer is no answer."""
    modem.habits.noise = '^RSSI:18\r\n\r\n+CMTI: "SM",3\r\n\r\nRING'
    assert "accepted" == channel(modem).send(message()).outcome


@pytest.mark.parametrize(
    ("ring_s", "grade", "hour", "rings"),
    [
        (1, "urgent", 1, True),
        (1, "high", 1, False),
        (1, "urgent", 12, False),
        (0, "urgent", 1, False),
    ],
)
def test_phone_rings_for_urgent_texts_at_night(
    modem: Modem, ring_s: int, grade: str, hour: int, rings: bool
) -> None:
    """Where it is wanted the phone rings and the call is ended; the text counts, not the call."""
    delivery = channel(modem, ring_s=ring_s).send(message(grade=grade, hour=hour))
    assert "accepted" == delivery.outcome
    assert rings == (f"ATD{TAVRIN};" in modem.commands)
    assert rings == ("AT+CHUP" in modem.commands)
    assert rings == ("rang" in delivery.detail)


def test_busy_phone_leaves_the_text_sent(modem: Modem) -> None:
    """A call that fails, on a modem that knows only the old way to hang up, costs nothing."""
    modem.habits.call, modem.habits.refused = "BUSY", ("AT+CHUP",)
    assert "accepted" == channel(modem, ring_s=1).send(message()).outcome
    assert "ATH" == modem.commands[-1]


def test_texts_are_heard_and_deleted(modem: Modem, clock: Clock) -> None:
    """Texts that lay in both stores and texts that come in are taken once, and deleted then."""
    modem.receive(delivered("OK 41"), "ME", told=False)
    with listening(channel(modem), clock) as house:
        house.wait_for("heard", 1)
        modem.receive(delivered("ok41 40", "+19405550142"))
        house.wait_for("heard", 2)
        modem.receive(delivered("FREE", "FriendlyBank"))
        house.wait_for("heard", 3)
        assert modem.wait_until(lambda: not modem.store, PATIENCE)
    assert [
        Heard(TAVRIN, "OK 41", "text", "modem", written=WRITTEN.utc + 20.0),
        Heard("+19405550142", "ok41 40", "text", "modem"),
        Heard("FriendlyBank", "FREE", "text", "modem"),
    ] == house.heard


def test_national_numbers_are_completed(modem: Modem, clock: Clock) -> None:
    """Senders that come without + are completed by country and trunk prefix."""
    with listening(channel(modem, country="+1", trunk="1"), clock) as house:
        modem.receive(delivered("OK 41", "19405550141"))
        modem.receive(delivered("OK 42", "9405550141"))
        house.wait_for("heard", 2)
    assert [TAVRIN, TAVRIN] == [heard.sender for heard in house.heard]


def test_long_text_is_joined(modem: Modem, clock: Clock) -> None:
    """The parts of a long text are taken as one, in order, however they come."""
    with listening(channel(modem), clock) as house:
        modem.receive(delivered("to the pump", part=b"\x05\x00\x03\x07\x02\x02"), told=False)
        modem.receive(delivered("NOTE water ", part=b"\x05\x00\x03\x07\x02\x01"))
        house.wait_for("heard", 1)
        assert modem.wait_until(lambda: not modem.store, PATIENCE)
    assert ["NOTE water to the pump"] == [heard.text for heard in house.heard]


def test_text_whose_part_never_comes_is_told(
    modem: Modem, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a text is not taken for a whole one: its sender is asked to send it again."""
    monkeypatch.setattr(modem_ear, "PARTS_WAIT", 0.0)
    with listening(channel(modem), clock) as house:
        modem.receive(delivered("OK 41", part=b"\x05\x00\x03\x07\x02\x01"))
        house.wait_for("heard", 1)
    assert [modem_ear.INCOMPLETE] == [heard.text for heard in house.heard]


def test_text_stays_until_the_watch_has_it(
    modem: Modem, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A text that the watch did not get to stays in the store and comes again."""
    monkeypatch.setattr(modem_ear, "AGAIN", 0.05)
    with listening(channel(modem), clock) as house:
        house.is_stuck = True
        modem.receive(delivered("OK 41"))
        lists = modem.commands.count("AT+CMGL=4")
        assert modem.wait_until(lambda: modem.commands.count("AT+CMGL=4") >= lists + 4, PATIENCE)
        assert 1 == len(modem.store)
        house.is_stuck = False
        house.wait_for("heard", 1)
        assert modem.wait_until(lambda: not modem.store, PATIENCE)
    assert 1 == len(house.heard)


def test_unreadable_text_does_not_block_the_store(modem: Modem, clock: Clock) -> None:
    """What is no message is logged and deleted, and the next is heard."""
    with listening(channel(modem), clock) as house:
        modem.receive("00040B91FF", told=False)
        modem.receive("ZZ", told=False)
        modem.receive(delivered("OK 41"))
        house.wait_for("heard", 1)
        assert modem.wait_until(lambda: not modem.store, PATIENCE)


@pytest.mark.parametrize(
    ("status", "expected"),
    [
        (0x00, ("accepted", "delivered to the phone")),
        (0x46, ("refused", "not delivered to the phone (status 0x46)")),
        (0x65, ("refused", "not delivered to the phone (status 0x65)")),
    ],
)
def test_delivery_reports_are_told(
    modem: Modem, clock: Clock, status: int, expected: tuple[str, str]
) -> None:
    """A report is matched to its text by reference and number, told, and acknowledged."""
    sender = channel(modem)
    with listening(sender, clock) as house:
        assert "accepted" == sender.send(message(number=7)).outcome
        modem.say("+CDS: 26", reported(24, "+19405550199", 0))
        modem.say("+CDS: 26", reported(99, TAVRIN, 0))
        modem.say("+CDS: 26", reported(24, TAVRIN, 0x21))
        modem.say("+CDS: 26", reported(24, TAVRIN, 0x01))
        modem.say("+CDS: 26", reported(24, TAVRIN, status))
        house.wait_for("reports", 1)
        assert modem.wait_until(lambda: modem.commands.count("AT+CNMA") == 5, PATIENCE)
    (report,) = house.reports
    assert (7, "modem", *expected) == (report.text, report.channel, report.outcome, report.detail)


def test_lost_network_is_told_and_its_return(
    modem: Modem, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Trouble of the network is told once it lasts, and when it is over."""
    monkeypatch.setattr(modem_ear, "LASTING", 0.0)
    monkeypatch.setattr(modem_ear, "LOOK", 0.05)
    modem.habits.registration, modem.habits.signal = "2", 3
    with listening(channel(modem), clock) as house:
        house.wait_for("faults", 1)
        modem.habits.registration = "5"
        house.wait_for("faults", 2)
    assert [
        ("channel modem", "not registered with the network (searching, signal 3 of 31)", False),
        ("channel modem", "", True),
    ] == [(fault.part, fault.wrong, fault.over) for fault in house.faults]


def test_unplugged_modem_is_told_and_its_return(
    modem: Modem, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A modem that was pulled out is told, and after it is back texts are heard and sent."""
    monkeypatch.setattr(modem_ear, "LASTING", 0.0)
    monkeypatch.setattr(modem_ear, "AGAIN", 0.05)
    sender = channel(modem)
    with listening(sender, clock) as house:
        modem.receive(delivered("OK 41"))
        house.wait_for("heard", 1)
        modem.unplug()
        house.wait_for("faults", 1)
        assert "retry" == sender.send(message()).outcome
        modem.receive(delivered("HERE 41"), told=False)  # while nobody could be told of it
        modem.plug_in()
        house.wait_for("heard", 2)
        assert "accepted" == sender.send(message()).outcome
        house.wait_for("faults", 2)
    assert house.faults[-1].over


def test_modem_that_reset_itself_is_started_up_again(
    modem: Modem, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A modem that forgot its set-up while the line stood gets it again, and texts are heard."""
    monkeypatch.setattr(modem_ear, "AGAIN", 0.05)
    monkeypatch.setattr(modem_ear, "LOOK", 0.05)
    with listening(channel(modem), clock) as house:
        assert modem.wait_until(lambda: "AT+CMGL=4" in modem.commands, PATIENCE)
        modem.reset()
        modem.receive(delivered("OK 41"), told=False)
        house.wait_for("heard", 1)
    assert WRITTEN.utc + 20.0 == house.heard[0].written


def test_full_store_is_emptied(modem: Modem, clock: Clock) -> None:
    """A modem whose store is full is looked at once, so that it can take texts again."""
    sender = channel(modem)
    with listening(sender, clock) as house:
        assert modem.wait_until(lambda: "AT+CMGL=4" in modem.commands, PATIENCE)
        modem.receive(delivered("OK 41"), told=False)
        modem.habits.at_text = "+CMS ERROR: 322"
        assert "retry" == sender.send(message()).outcome
        house.wait_for("heard", 1)


def test_direct_text_is_heard_and_acknowledged(
    modem: Modem, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A text that comes without being stored, as a flash does, waits until the watch has it."""
    monkeypatch.setattr(modem_ear, "AGAIN", 0.05)
    with listening(channel(modem), clock) as house:
        assert modem.wait_until(lambda: "AT+CMGL=4" in modem.commands, PATIENCE)
        house.is_stuck = True
        modem.say("+CMT: ,24", delivered("OK 41"))
        lists = modem.commands.count("AT+CMGL=4")
        assert modem.wait_until(lambda: modem.commands.count("AT+CMGL=4") >= lists + 4, PATIENCE)
        assert "AT+CNMA" not in modem.commands
        house.is_stuck = False
        house.wait_for("heard", 1)
        assert modem.wait_until(lambda: "AT+CNMA" in modem.commands, PATIENCE)
    assert ["OK 41"] == [heard.text for heard in house.heard]


def test_answer_by_text_is_taken_and_confirmed(modem: Modem, clock: Clock) -> None:
    """ok41 from Oskel takes the event and is confirmed by text; a stranger's gets nothing."""
    watch, said = SmallWatch(EVENT), threading.Event()
    sender = channel(modem)

    def take(heard: Heard) -> None:
        watch.reception.take(heard)
        for number, reply in enumerate(watch.said, 1):
            sender.send(reply.message(-number, watch.setup, watch.clock.now()))
        if watch.said:
            said.set()

    hooks = Hooks(take, lambda _report: None, lambda _fault: None)
    stop = threading.Event()
    thread = threading.Thread(target=sender.listen, args=(hooks, clock, stop))
    thread.start()
    modem.receive(delivered("OK 41", "+19405550199"))
    modem.receive(delivered("ok41", OSKEL.phone.replace(" ", "").replace("-", "")))
    assert said.wait(PATIENCE)
    stop.set()
    thread.join(PATIENCE)
    assert "oskel" == watch.state.durable.events[41].taken_by
    expected = "Ostrel: you have 41, due 01:50. HERE 41 when in, NO 41 if you cannot."
    assert [("+19405550142", expected)] == [(text.number, text.text) for text in modem.texts]


@pytest.mark.parametrize(
    ("answer", "fault"),
    [
        ('+CUSD: 0,"Balance 12.40 USD, valid until 2026-12-01",15', None),
        ('+CUSD: 0,"0,85 left",15', "only 0.85 left on the SIM"),
        ('+CUSD: 0,"00420061006C0020003000200055005300440020",72', "only 0 left on the SIM"),
        ('+CUSD: 2,"Try later",15', "no amount in what the network says: Try later"),
        ("+CUSD: 4", "the network does not tell what is left on the SIM"),
    ],
)
def test_credit_is_asked_for(
    modem: Modem, clock: Clock, answer: str, fault: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is left on the SIM is asked once; too little, or no answer, is a fault of its own."""
    monkeypatch.setattr(modem_ear, "LOOK", 0.05)
    modem.habits.credit = answer
    with listening(channel(modem, credit_code="*100#", credit_low=1), clock) as house:
        if fault is not None:
            house.wait_for("faults", 1)
        asked = 'AT+CUSD=1,"*100#",15'
        assert modem.wait_until(lambda: asked in modem.commands, PATIENCE)
        assert modem.wait_until(lambda: modem.commands[-1] != asked, PATIENCE)
    assert 1 == modem.commands.count(asked)
    expected = [] if fault is None else [("channel modem credit", fault)]
    assert expected == [(item.part, item.wrong) for item in house.faults if not item.over]


def test_credit_that_nobody_tells(
    modem: Modem, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A network that never answers the short code holds up nothing else for long."""
    monkeypatch.setattr("monitor.channels.modem_credit.NETWORK", 0.1)
    with listening(channel(modem, credit_code="*100#"), clock) as house:
        house.wait_for("faults", 1)
    assert "the network does not tell what is left on the SIM" == house.faults[0].wrong
