"""What a text says about answering, by the way it goes."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from monitor.channels.base import BY_MAIL, Message
from monitor.effects import Text
from monitor.inputs import Moment
from monitor.logic.gsm import LIMIT, places
from monitor.setup import Person

NOW = Moment(1, 5.0, 1_792_304_400.0)
TEXT = Text(7, 41, "tavrin", "no flow", "urgent", "NO FLOW. Reply OK 41.", NOW, 99.0)
MESSAGE = Message(TEXT, Person("tavrin", "Tavrin"), "Ostrel", datetime.fromtimestamp(0, UTC))


def test_reply_is_asked_for_where_it_is_read() -> None:
    """On a way that is heard the words go out as they were written."""
    assert "NO FLOW. Reply OK 41." == replace(MESSAGE, is_heard=True).body


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("NO FLOW. Reply OK 41.", "NO FLOW. Take 41 on the board."),
        ("On duty? Reply OK 41, or NO 41.", "On duty? Take 41 on the board."),
        ("Reply OK 410.", "Reply OK 410."),
        ("No reply needed.", "No reply needed."),
        ("x" * 148 + "Reply OK 41.", "x" * 148 + "Event 41."),
    ],
)
def test_reply_that_nobody_would_read(body: str, expected: str) -> None:
    """Elsewhere the place to answer is named, or only the number where there is no room."""
    message = replace(MESSAGE, text=replace(TEXT, body=body))
    assert expected == message.body
    assert (places(message.body) or 0) <= LIMIT


def test_mail_that_is_read_is_named() -> None:
    """A person whose mail is read is pointed to it."""
    assert "NO FLOW. Take 41 by mail." == replace(MESSAGE, instead=BY_MAIL).body
