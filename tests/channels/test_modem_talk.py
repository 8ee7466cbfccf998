"""The conversation with a modem on a scripted line, and the trouble that is told of it."""

from collections.abc import Callable

import pytest

from monitor.channels.gsm_pdu import StatusReport
from monitor.channels.hearing import Hooks, Trouble
from monitor.channels.modem_ear import SentTexts
from monitor.channels.modem_talk import LONGEST_LINE, ModemError, NoPrompt, Silent, Talk
from monitor.clock import VirtualClock
from monitor.inputs import Fault, Moment


class Script:
    """A line whose other end says these things, piece by piece; time passes while it is silent."""

    def __init__(self, *pieces: bytes) -> None:
        self.written = b""
        self.time = 0.0
        self._pieces = list(pieces)

    def read(self, size: int = 1, /) -> bytes:
        if self._pieces:
            return self._pieces.pop(0)
        self.time += 0.1
        return b""

    def write(self, data: bytes, /) -> object:
        self.written += data
        return len(data)

    def close(self) -> None:
        """Nothing to close."""


def talk(*pieces: bytes) -> tuple[Talk, Script]:
    """A conversation with a script."""
    script = Script(*pieces)
    return Talk(script, lambda: script.time), script


def by_letters(answer: bytes) -> list[bytes]:
    """The same answer, letter by letter."""
    return [bytes([letter]) for letter in answer]


@pytest.mark.parametrize("cut", [lambda data: [data], by_letters])
def test_lines_come_whole_however_they_are_cut(cut: Callable[[bytes], list[bytes]]) -> None:
    """An answer is the same in one piece and letter by letter, with and without echo."""
    answer = b'AT+CSQ\r\r\n+CMTI: "SM",3\r\n\r\n+CSQ: 17,99\r\n\r\nOK\r\n'
    conversation, script = talk(*cut(answer))
    assert ["+CSQ: 17,99"] == conversation.ask("AT+CSQ", 1.0)
    assert [('+CMTI: "SM",3', "")] == list(conversation.unasked)
    assert b"AT+CSQ\r" == script.written


@pytest.mark.parametrize(
    ("answer", "code", "is_equipment", "words"),
    [
        (b"+CMS ERROR: 38\r\n", 38, False, "AT+CMGS: CMS 38 network out of order"),
        (b"+CMS ERROR:38\r\n", 38, False, "AT+CMGS: CMS 38 network out of order"),
        (b"+CME ERROR: 10\r\n", 10, True, "AT+CMGS: CME 10 no SIM"),
        (b"+CMS ERROR\r\n", None, False, "AT+CMGS: error without a number"),
        (b"+CME ERROR: SIM busy\r\n", None, True, "AT+CMGS: error without a number"),
        (b"ERROR\r\n", None, False, "AT+CMGS: ERROR"),
    ],
)
def test_errors_are_understood(
    answer: bytes, code: int | None, is_equipment: bool, words: str
) -> None:
    """Errors with a number, without one, and in words are errors, told without the phone number."""
    conversation, _ = talk(answer)
    with pytest.raises(ModemError) as caught:
        conversation.ask('AT+CMGS="+19405550141"', 1.0)
    assert (code, is_equipment, words) == (
        caught.value.code, caught.value.is_equipment, str(caught.value),
    )  # fmt: skip


@pytest.mark.parametrize("prompt", [b"\r\n> ", b"> ", b">", b"AT+CMGS=23\r\r\n> "])
def test_text_is_handed_over_at_the_prompt(prompt: bytes) -> None:
    """The text follows the prompt and ends with Control-Z; the reference comes back."""
    conversation, script = talk(prompt, b"\r\n+CMGS: 24\r\n\r\nOK\r\n")
    told: list[bytes] = []
    lines = conversation.hand_over(
        "AT+CMGS=23", "00FF", 1.0, 1.0, lambda: told.append(script.written)
    )
    assert ["+CMGS: 24"] == lines
    assert b"AT+CMGS=23\r00FF\x1a" == script.written
    assert [b"AT+CMGS=23\r"] == told


def test_no_prompt_drops_the_text() -> None:
    """Without a prompt the command is dropped with escape, and the text never went."""
    conversation, script = talk(b"\r\n")
    with pytest.raises(NoPrompt):
        conversation.hand_over("AT+CMGS=23", "00FF", 1.0, 1.0, lambda: None)
    assert b"AT+CMGS=23\r\x1b" == script.written


@pytest.mark.parametrize("answer", [b"", b"\r\n\r\n", b"\xff" * 50_000, b"noise\r\n" * 50])
def test_silence_and_noise_come_to_an_end(answer: bytes) -> None:
    """A modem that says nothing, or no line with an end, is silent after the time-out."""
    conversation, script = talk(*[answer[at : at + 512] for at in range(0, len(answer), 512)])
    with pytest.raises(Silent):
        conversation.ask("AT", 1.0)
    assert 1.0 <= script.time
    assert 2 * LONGEST_LINE >= len(conversation._buffer)


def test_long_list_loses_no_line() -> None:
    """Forty stored texts in one burst are all there."""
    lines = [f"+CMGL: {at},1,,150" if at % 2 else f"{at:03d}" * 100 for at in range(80)]
    burst = "".join(f"{line}\r\n" for line in [*lines, "OK"]).encode()
    conversation, _ = talk(*[burst[at : at + 1000] for at in range(0, len(burst), 1000)])
    assert lines == conversation.ask("AT+CMGL=4", 1.0)


def test_report_comes_with_its_body() -> None:
    """A report that comes by itself is kept together with the line that follows it."""
    conversation, _ = talk(b"\r\n+CDS: 25\r\n0006AB\r\nRING\r\n")
    conversation.pick_up(0.5)
    assert [("+CDS: 25", "0006AB"), ("RING", "")] == list(conversation.unasked)


@pytest.mark.parametrize(
    ("recipient", "expected"),
    [("+19405550141", 7), ("19405550141", 7), ("9405550141", 7), ("+19405550142", None),
     ("0141", None), ("", None)],
)  # fmt: skip
def test_report_is_matched_by_reference_and_number(recipient: str, expected: int | None) -> None:
    """A reference alone is used again after 256 texts, so the number must fit."""
    sent = SentTexts()
    sent.note(24, "+19405550141", 7)
    assert expected == sent.match(StatusReport(24, recipient, 0, None, None))
    assert None is sent.match(StatusReport(25, "+19405550141", 0, None, None))


def test_trouble_is_told_once_it_lasts() -> None:
    """Short trouble is nobody's business; lasting trouble is told, its change, and its end."""
    told: list[tuple[str, bool]] = []

    def tell(fault: Fault) -> None:
        told.append((fault.wrong, fault.over))

    clock = VirtualClock(Moment(1, 0.0, 0.0))
    hooks = Hooks(lambda _heard: None, lambda _report: None, tell)
    trouble = Trouble("modem", hooks, clock, 60.0)
    for at, wrong in (
        (0.0, "no network"), (30.0, ""), (31.0, "no network"), (90.0, "no network"),
        (91.0, "no network"), (95.0, "no network"), (96.0, "no SIM"), (97.0, "no network"),
        (150.0, "no SIM"), (151.0, "no SIM"), (152.0, ""), (153.0, ""),
    ):  # fmt: skip
        clock.advance_to(at)
        trouble.look(wrong)
    assert [("no network", False), ("no SIM", False), ("", True)] == told
