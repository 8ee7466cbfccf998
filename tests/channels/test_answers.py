"""What people write is read as one command, or not at all."""

import re
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.channels.answers import COMMANDS, Misunderstood, Said, parse
from monitor.logic.gsm import LIMIT, places

LINES = ("S1", "S2")
CLEAR: dict[str, Said] = {
    "OK 41": Said("take", 41),
    "ok41": Said("take", 41),
    "Ok 41.": Said("take", 41),
    "OK#41": Said("take", 41),
    "OK: 41": Said("take", 41),
    "OK 041": Said("take", 41),
    "  ok   41  ": Said("take", 41),
    "OK\t41": Said("take", 41),
    "OK 41 40": Said("take", 41, 40.0),
    "ok41 40": Said("take", 41, 40.0),
    "OK 41, 40 min": Said("take", 41, 40.0),
    "OK 41 40m": Said("take", 41, 40.0),
    "OK 41 in 40": Said("take", 41, 40.0),
    "OK 41 there in 40 minutes": Said("take", 41, 40.0, "there"),
    "OK 41 on my way now": Said("take", 41, None, "on my way now"),
    "OK 41 T12 looks bad": Said("take", 41, None, "T12 looks bad"),
    "hi, ok 41": Said("take", 41),
    "Tavrin here, OK 41": Said("take", 41),
    "OK": Said("take"),
    "ok!": Said("take"),
    "HERE 41": Said("here", 41),
    "here41": Said("here", 41),
    "NO 41": Said("cannot", 41),
    "No 41, not now, 2 hours away?": Said("cannot", 41, None, "not now, 2 hours away?"),
    "no": Said("cannot"),
    "FLOW 41": Said("flow", 41),
    "flow41 runs well": Said("flow", 41, None, "runs well"),
    "DONE 41 dead count 160": Said("done", 41, None, "dead count 160"),
    "done 41 cause: breaker 3, no fuse": Said("done", 41, None, "cause: breaker 3, no fuse"),
    "DONE timers": Said("done", None, None, "timers"),
    "DEAD 61": Said("done", None, None, "dead count: 61"),
    "dead61": Said("done", None, None, "dead count: 61"),
    "DEAD 41 61": Said("done", 41, None, "dead count: 61"),
    "HOLD 45": Said("hold", None, 45.0),
    "hold45 min": Said("hold", None, 45.0),
    "hold for 45": Said("hold", None, 45.0),
    "HOLD 45 feeding": Said("hold", None, 45.0),
    "HOLD s1 45": Said("hold", None, 45.0, "S1"),
    "hold 45 S2 please": Said("hold", None, 45.0, "S2"),
    "HOLD END": Said("hold end"),
    "hold off s2": Said("hold end", None, None, "S2"),
    "NOTE pump hot. OK 41": Said("note", None, None, "pump hot. OK 41"),
    "note: 12 dead\n\nand cloudy": Said("note", None, None, "12 dead and cloudy"),
    "SWAP": Said("swap"),
    "swap Oskel": Said("swap", text="Oskel"),
    "Swap with oskel, on Saturday": Said("swap", text="oskel Saturday"),
    "SLEEP": Said("sleep"),
    "sleep here tonight.": Said("sleep"),
    "STORM SAT 22:00": Said("storm", text="SAT 22:00"),
    "storm till 6.30": Said("storm", text="6.30"),
    "STORM END": Said("storm end"),
    "NOW": Said("now"),
    "now?": Said("now"),
    "WHO": Said("who"),
    "who is on tonight?": Said("who"),
    "OK 41\n\nTavrin, 555-0141, no warranty. Now read on.": Said("take", 41),
    "OK 41\n-- \nM. Tavrin\nHOLD 45": Said("take", 41),
    "> URGENT Ostrel. Reply OK 41.\n\nOK 41 40": Said("take", 41, 40.0),
    "On Sun 18 Oct 2026, Ostrel watch\n<watch@example.org> wrote:\n> Reply OK 41.\n>\nHERE 41":
        Said("here", 41),
    "OK 41\nOn Sun, Ostrel watch wrote:\n> Reply OK 41.": Said("take", 41),
    "OK 41\n\n-----Original Message-----\nReply\nOK 41.": Said("take", 41),
    "OK 41\n\n________________________________\nFrom: x\nOK 41.": Said("take", 41),
    "OK 41\n\nFrom: Ostrel watch <watch@example.org>\nNO 41": Said("take", 41),
}  # fmt: skip
UNCLEAR: dict[str, str] = {
    "": "no command in it",
    " \n\t\n ": "no command in it",
    "On my way": "no command in it",
    "I am busy right now": "no command in it",
    "Okay 41": "no command in it",
    "0K 41": "no command in it",
    "\uff2f\uff2b 41": "no command in it",
    "O\u200bK 41": "no command in it",
    "nothing 41": "no command in it",
    "knows 41": "no command in it",
    "ok thanks": "it has no event number",
    "Here is the report": "it has no event number",
    "No one is there": "it has no event number",
    "OK \u0664\u0661": "it has no event number",
    "OK 41.5": "it has no event number",
    "OK 41,40": "it has no event number",
    "OK 41x": "it has no event number",
    "OK 9999999": "it has no event number",
    "OK 41 \u0664\u0660": "a number in it has no place",
    "OK 41\u0664": "a number in it has no place",
    "OK 41 4\u00bd": "a number in it has no place",
    "OK 41 \u56db\u5341": "a number in it has no place",
    "OK 41 40 20": "a number in it has no place",
    "OK 41 -40": "a number in it has no place",
    "OK 41-40": "a number in it has no place",
    "OK 41 4000": "a number in it has no place",
    "OK 41 in 1 h": "a number in it has no place",
    "OK 41 in 1h": "a number in it has no place",
    "OK 41 by 01:52": "a number in it has no place",
    "OK 41 with 2 pumps": "a number in it has no place",
    "NO 41 42": "a number in it has no place",
    "HERE 41 40": "a number in it has no place",
    "OK 41?": "it has a question mark",
    "FLOW 41?": "it has a question mark",
    "OK 41 can't come": "it says yes and no",
    "OK 41 can\u2019t come": "it says yes and no",
    "FLOW 41 not yet": "it says yes and no",
    "OK 41 or 42": "it says yes and no",
    "OK 41 NO 42": "more than one command",
    "OK 41 OK 42": "more than one command",
    "OK 41. HERE 41": "more than one command",
    "OK 41\nHOLD 45": "more than one command",
    "OK 41\n\nHOLD 45": "more than one command",
    "OK 41. NOW": "more than one command",
    "OK 41\nNOTE air first": "more than one command",
    "no flow 41": "more than one command",
    "DONE 41 cause\nHERE 41": "more than one command",
    "DONE": "it says not what is done",
    "DONE 41": "it says not what is done",
    "DEAD": "it has no count",
    "DEAD many": "it has no count",
    "DEAD 61 2 3": "a number in it has no place",
    "NOTE": "the note is empty",
    "NOTE " + "x" * 501: "the note has over 500 letters",
    "HOLD": "it says not how long",
    "HOLD 2 h": "it says not how long",
    "HOLD 2h": "it says not how long",
    "HOLD 4500": "it says not how long",
    "HOLD 45 30": "a number in it has no place",
    "HOLD 41 45": "a number in it has no place",
    "hold on 41": "there is no line on",
    "HOLD 45?": "it has a question mark",
    "HOLD 45 s1 s2": "it names two lines",
}


@pytest.mark.parametrize("text", CLEAR)
def test_one_meaning_is_taken(text: str) -> None:
    """Small letters, missing blanks, extra words and quoted mails leave one meaning."""
    assert CLEAR[text] == parse(text, lines=LINES)


@pytest.mark.parametrize("text", UNCLEAR)
def test_two_meanings_are_asked_back(text: str) -> None:
    """Where a text could mean two things, or nothing, its sender is asked and told how."""
    said = parse(text, example=52, lines=LINES)
    assert isinstance(said, Misunderstood)
    assert UNCLEAR[text] == said.reason
    assert said.reply.startswith(f"Not taken: {said.reason}. Send")
    assert LIMIT >= (places(said.reply) or LIMIT + 1)
    assert "{" not in said.reply


def test_question_names_an_open_event() -> None:
    """The example in a question is an event that is open, not one of an old night."""
    said = parse("on my way", example=52)
    assert isinstance(said, Misunderstood)
    assert "OK 52 to go" in said.reply


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("OK", Said("take", 41)),
        ("here.", Said("here", 41)),
        ("OK 41 40", Said("take", 41, 40.0)),
        ("DONE cause fuse", Said("done", 41, None, "cause fuse")),
        ("DEAD 61", Said("done", 41, None, "dead count: 61")),
        ("HOLD 45", Said("hold", None, 45.0)),
    ],
)
def test_reply_to_a_mail_needs_no_number(text: str, expected: Said) -> None:
    """In the thread of an event its number may be left out."""
    assert expected == parse(text, thread=41)


@pytest.mark.parametrize("text", ["ok, thanks", "Here is the log you wanted", "No worries"])
def test_chat_in_a_thread_takes_nothing(text: str) -> None:
    """Words of courtesy in the thread of an event are no answer to it."""
    assert isinstance(parse(text, thread=41), Misunderstood)


def test_number_against_the_thread_is_asked_back() -> None:
    """OK 40 in the thread of 41 may be event 40 or forty minutes."""
    said = parse("OK 40", thread=41)
    assert isinstance(said, Misunderstood)
    assert "you answered 41 and wrote 40" == said.reason
    assert "OK 41 40" in said.reply


@pytest.mark.parametrize(
    "text",
    ["Sleep well", "storm is coming", "storm", "Storm 25", "swap the filter for me", "STORM 22:00?",
     "I sleep. Sleep.", "swap oskel " + "x" * 100],
)  # fmt: skip
def test_talk_changes_no_duty(text: str) -> None:
    """Words of talk that begin like a command about duty are asked back."""
    assert isinstance(parse(text), Misunderstood)


def test_every_command_in_every_dress() -> None:
    """Each command with a number is the same in any case, with any usual sign between."""
    for word, between, style in product(
        ("ok", "here", "no", "flow"), ("", " ", "  ", ": ", "#", ", ", "-"), (str.upper, str.title)
    ):
        said = parse(f"{style(word)}{between}41")
        assert Said(COMMANDS[word], 41) == said


@given(st.text(max_size=200))
def test_any_text_is_read_or_asked_back(text: str) -> None:
    """No text raises an error, and no event or minute comes out that is no plain number."""
    said = parse(text, lines=LINES)
    if isinstance(said, Said):
        assert said.event is None or 0 <= said.event <= 999_999
        assert said.minutes is None or 0.0 <= said.minutes <= 999.0


@given(st.text(alphabet="OKHERNOFLWDA 0123456789.,:?\n>-\u0664", max_size=40))
def test_take_has_its_number_in_the_text(text: str) -> None:
    """An event is only ever taken by digits that stand in the text right behind the word."""
    said = parse(text)
    if isinstance(said, Said) and said.kind == "take" and said.event is not None:
        assert re.search(rf"OK[^A-Z0-9]*0*{said.event}(?![0-9])", text.upper())


@pytest.mark.parametrize(
    "text",
    ["-" * 20_000 + "x", "> " * 10_000, "OK " * 7_000, "OK 41" + " 4" * 10_000, "no" * 10_000,
     "<" * 20_000, "\n" * 20_000, "ok41 " * 4_000, "NOTE\n" * 4_000, "OK 41 " + " " * 19_000 + "?"],
)  # fmt: skip
def test_long_and_hostile_texts_come_to_an_end(text: str) -> None:
    """Texts made to be read for ever are read like others (a bad pattern would hang here)."""
    assert isinstance(parse(text), Said | Misunderstood)
