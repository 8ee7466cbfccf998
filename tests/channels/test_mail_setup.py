"""The mail channel before any connection: its set-up, and the page that tells of it."""

from dataclasses import fields
from pathlib import Path

import pytest

from monitor.channels import CHANNELS
from monitor.channels.folder import FolderOptions
from monitor.channels.mail import MailChannel, MailOptions
from monitor.errors import SetupError
from monitor.setup import Channel

REFERENCE = Path(__file__).parents[2] / "docs" / "reference"
GOOD: dict[str, object] = {"host": "mail.example.org", "sender": "watch@example.org"}
SECRETS = {"mail": "secret-word", "umlaut": "gro\xdfe"}


def build(options: dict[str, object]) -> MailChannel:
    """Build the channel with two secrets at hand."""
    return MailChannel(Channel("mail", "mail", tuple(options.items())), SECRETS)


def test_table_builds_it() -> None:
    """The table of channels gives the mail channel under its kind."""
    assert "mail" == CHANNELS["mail"](Channel("mail", "mail", tuple(GOOD.items())), {}).id


def test_every_problem_is_named_at_once() -> None:
    """Wrong options come up together, without showing what may be a password."""
    with pytest.raises(SetupError) as caught:
        build({"host": "", "port": "587", "password": "secret-word"})
    assert ["host", "sender", "port", "password"] == [
        problem.key for problem in caught.value.problems
    ]
    assert "secret-word" not in str(caught.value)


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({"sender": "watch"}, "sender"),
        ({"sender": "Watch <watch@example.org>"}, "sender"),
        ({"port": 0}, "port"),
        ({"security": "none"}, "security"),
        ({"user": "u"}, "password_secret"),
        ({"password_secret": "mail"}, "user"),
        ({"user": "u", "password_secret": "none"}, "password_secret"),
        ({"user": "u", "password_secret": "umlaut"}, "user"),
        ({"ca_file": "ca.pem"}, "ca_file"),
        ({"deadline": 0}, "deadline"),
        ({"deadline": float("inf")}, "deadline"),
        ({"deadline": float("nan")}, "deadline"),
        ({"deadline": True}, "deadline"),
    ],
)
def test_options_that_are_refused(options: dict[str, object], key: str) -> None:
    """Each wrong option is named by its key."""
    with pytest.raises(SetupError) as caught:
        build(GOOD | options)
    assert {key} == {problem.key.split(".")[0] for problem in caught.value.problems}


def test_reference_names_every_option() -> None:
    """The reference page lists each option of each kind of channel."""
    page = (REFERENCE / "channels.md").read_text("utf-8")
    options = (*fields(MailOptions), *fields(FolderOptions))
    assert [] == [option.name for option in options if f"\n| `{option.name}` |" not in page]
    assert [] == [kind for kind in CHANNELS if f'kind = "{kind}"' not in page]
