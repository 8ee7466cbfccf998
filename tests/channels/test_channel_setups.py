"""Text gateway, modem, mailbox and siren before any connection: their set-up and their pages."""

from collections.abc import Callable
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

import pytest

from monitor.channels import CHANNELS
from monitor.channels.mailbox import MailboxOptions
from monitor.channels.modem import ModemOptions
from monitor.channels.siren import SirenOptions
from monitor.channels.templates import Form, Json, Url, at_path, fill, strange_place
from monitor.channels.text_service import TextGatewayOptions
from monitor.config.keys import ADDRESS_FOR, CHANNEL_KINDS
from monitor.errors import SetupError
from monitor.setup import Channel

REFERENCE = Path(__file__).parents[2] / "docs" / "reference"
SECRETS = {
    "key": "secret-word", "pin": "1234", "word": "12", "umlaut": "gro\xdfe", "line": "a\r\nX: y",
}  # fmt: skip
GATEWAY: dict[str, object] = {
    "url": "https://text.example.org/send",
    "json": '{"to": "{to}", "text": "{text}"}',
}
GOOD: dict[str, dict[str, object]] = {
    "text_gateway": GATEWAY,
    "modem": {"device": "/dev/ttyUSB0"},
    "mailbox": {"host": "mail.example.org", "user": "watch", "password_secret": "key"},
    "siren": {"line": 17},
}
OPTIONS: dict[str, Any] = {
    "text_gateway": TextGatewayOptions,
    "modem": ModemOptions,
    "mailbox": MailboxOptions,
    "siren": SirenOptions,
}
PAGES = {kind: f"channels-{kind.replace('_', '-')}.md" for kind in GOOD}


def build(kind: str, options: dict[str, object]) -> None:
    """Build a channel of a kind with secrets at hand."""
    CHANNELS[kind](Channel("x", kind, tuple(options.items())), SECRETS)


def test_every_kind_may_stand_in_the_configuration() -> None:
    """The kinds that the configuration knows are the ones there are."""
    assert set(CHANNELS) == set(CHANNEL_KINDS)
    assert set(ADDRESS_FOR) < set(CHANNEL_KINDS)


@pytest.mark.parametrize("kind", GOOD)
def test_good_set_up_is_built(kind: str) -> None:
    """The least that is needed builds a channel, and opens nothing."""
    build(kind, GOOD[kind])


@pytest.mark.parametrize(
    ("kind", "options", "key"),
    [
        ("text_gateway", {"url": "text.example.org"}, "url"),
        ("text_gateway", {"url": "https:///send"}, "url"),
        ("text_gateway", {"url": "https://text.example.org:0/"}, "url"),
        ("text_gateway", {"url": "https://text.example.org:x/"}, "url"),
        ("text_gateway", {"url": "https://a:b@text.example.org/"}, "url"),
        ("text_gateway", {"url": "https://text.example.org/a b"}, "url"),
        ("text_gateway", {"url": "https://text.example.org/\xe4"}, "url"),
        ("text_gateway", {"url": "https://{to}.example.org/"}, "url"),
        ("text_gateway", {"url": "http://text.example.org/"}, "url"),
        ("text_gateway", {"url": "https://text.example.org/{phone}"}, "url"),
        ("text_gateway", {"json": "{"}, "json"),
        ("text_gateway", {"json": "[" * 100_000}, "json"),
        ("text_gateway", {"json": '{"{to}": "{text}"}'}, "json"),
        ("text_gateway", {"json": '{"text": "{text}"}'}, "json"),
        ("text_gateway", {"json": "", "form": "to={to}"}, "json"),
        ("text_gateway", {"json": "", "form": "to"}, "form"),
        ("text_gateway", {"json": "", "form": "{to}={text}&x={to}"}, "form"),
        ("text_gateway", {"form": "to={to}&text={text}"}, "form"),
        ("text_gateway", {"method": "GET"}, "method"),
        ("text_gateway", {"method": "DELETE"}, "method"),
        ("text_gateway", {"headers": ("X-Key",)}, "headers"),
        ("text_gateway", {"headers": ("X Key: y",)}, "headers"),
        ("text_gateway", {"headers": ("X-Key: \xe4",)}, "headers"),
        ("text_gateway", {"headers": ("X-Key: a\r\nX: b",)}, "headers"),
        ("text_gateway", {"headers": ("X-To: {to}",)}, "headers"),
        ("text_gateway", {"headers": ("Authorization: Bearer secret-word",)}, "headers"),
        ("text_gateway", {"headers": ("X-Key: {token}",)}, "token_secret"),
        ("text_gateway", {"token_secret": "key"}, "token_secret"),
        ("text_gateway", {"headers": ("K: {token}",), "token_secret": "none"}, "token_secret"),
        ("text_gateway", {"headers": ("K: {token}",), "token_secret": "line"}, "token_secret"),
        ("text_gateway", {"headers": ("K: {token}",), "token_secret": "umlaut"}, "token_secret"),
        ("text_gateway", {"user": "u"}, "user"),
        ("text_gateway", {"password_secret": "key"}, "user"),
        ("text_gateway", {"user": "u", "password_secret": "none"}, "password_secret"),
        ("text_gateway", {"plus": "x"}, "plus"),
        ("text_gateway", {"ok_equals": "sent"}, "ok_equals"),
        ("text_gateway", {"ca_file": "ca.pem"}, "ca_file"),
        ("text_gateway", {"deadline": 0}, "deadline"),
        ("text_gateway", {"password": "secret-word"}, "password"),
        ("modem", {"device": "ttyUSB0"}, "device"),
        ("modem", {"baud": 100}, "baud"),
        ("modem", {"pin_secret": "none"}, "pin_secret"),
        ("modem", {"pin_secret": "word"}, "pin_secret"),
        ("modem", {"pin_secret": "umlaut"}, "pin_secret"),
        ("modem", {"mode": "fax"}, "mode"),
        ("modem", {"validity_h": 0}, "validity_h"),
        ("modem", {"validity_h": 7}, "validity_h"),
        ("modem", {"country": "1"}, "country"),
        ("modem", {"trunk": "0"}, "trunk"),
        ("modem", {"ring_s": 300}, "ring_s"),
        ("modem", {"ring_from": "9:00"}, "ring_from"),
        ("modem", {"ring_to": "24:00"}, "ring_to"),
        ("mailbox", {"password_secret": "none"}, "password_secret"),
        ("mailbox", {"password_secret": "umlaut"}, "password_secret"),
        ("mailbox", {"user": 'a"b'}, "user"),
        ("mailbox", {"user": "a\r\nb"}, "user"),
        ("mailbox", {"folder": 'IN"BOX'}, "folder"),
        ("mailbox", {"security": "none"}, "security"),
        ("mailbox", {"every": 0}, "every"),
        ("mailbox", {"ca_file": "ca.pem"}, "ca_file"),
        ("siren", {"line": -1}, "line"),
        ("siren", {"line": True}, "line"),
        ("siren", {"chip": "gpiochip0"}, "chip"),
        ("siren", {"mute_line": 17}, "mute_line"),
        ("siren", {"mute_s": 601}, "mute_s"),
        ("siren", {"sound_s": 0}, "sound_s"),
    ],
)
def test_options_that_are_refused(kind: str, options: dict[str, object], key: str) -> None:
    """Each wrong option is named by its key, and no secret stands in the error."""
    with pytest.raises(SetupError) as caught:
        build(kind, GOOD[kind] | options)
    assert key in {problem.key.split(".")[0] for problem in caught.value.problems}
    assert "secret-word" not in str(caught.value)


def test_every_problem_of_a_service_is_named_at_once() -> None:
    """Address, body and secrets that are wrong come up together."""
    with pytest.raises(SetupError) as caught:
        build("text_gateway", {"url": "ftp://x", "json": "{", "token_secret": "none", "user": "u"})
    assert {"url", "json", "token_secret", "user"} == {
        problem.key for problem in caught.value.problems
    }


@pytest.mark.parametrize("kind", GOOD)
def test_reference_names_every_option_and_its_default(kind: str) -> None:
    """The page of a kind lists each of its options with the default that holds."""
    page = (REFERENCE / PAGES[kind]).read_text("utf-8")
    assert f'kind = "{kind}"' in page
    for option in fields(OPTIONS[kind]):
        _, found, rest = page.partition(f"\n| `{option.name}` |")
        assert found, option.name
        default = "required" if option.default is MISSING else str(option.default)
        default = default.lower() if isinstance(option.default, bool) else default
        told = rest.partition("\n")[0]
        assert default in ("", "()", "None") or default in told, option.name


VALUES = {"to": "+1", "text": 'a"&{to}\n', "number": "7", "token": "t"}


@pytest.mark.parametrize(
    ("make", "template", "expected"),
    [
        (
            Json,
            '["{text}", {"n": "no. {number}"}, 1, null]',
            rb'["a\"&{to}\n", {"n": "no. 7"}, 1, null]',
        ),
        (Json, '"{unknown}"', b'"{unknown}"'),
        (Form, "a={text}&b=&c={to}", b"a=a%22%26%7Bto%7D%0A&b=&c=%2B1"),
        (Form, "a=1%262&a={number}", b"a=1%262&a=7"),
    ],
)
def test_what_is_filled_in_stays_a_value(
    make: Callable[[str], Json | Form], template: str, expected: bytes
) -> None:
    """Nothing that is filled in becomes a part of the form, or is looked at again."""
    assert expected == make(template).filled(VALUES)


def test_address_is_filled_in_encoded() -> None:
    """In an address every sign that could end a part of it is encoded."""
    url = Url("https://text.example.org/{to}/x?m={text}#f")
    assert "https://text.example.org/%2B1/x?m=a%22%26%7Bto%7D%0A#f" == url.filled(VALUES)


def test_places_are_told_from_other_braces() -> None:
    """A word in braces that is no place is found; braces of JSON are not taken for one."""
    assert "phone" == strange_place("{to} {phone}")
    assert "" == strange_place('{"to": "{to}", "n": {"x": 1}}')
    assert "{}7{x}" == fill("{}{number}{x}", VALUES)


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("a.0.b", 1),
        ("a.1", None),
        ("a.-1", None),
        ("a.b", None),
        ("c", None),
        ("d.x", None),
        ("a.\u0660", None),
    ],
)
def test_ways_into_a_document(path: str, expected: object) -> None:
    """A way leads to a value or to nothing, whatever the document is."""
    assert expected == at_path({"a": [{"b": 1}], "c": None, "d": "text"}, path)
