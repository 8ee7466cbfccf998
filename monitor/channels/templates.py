"""Requests of a text service as they are written in the set-up, with places to fill in. Pure.

A template is taken apart once; what is filled in later is a value in it and can never become a
part of its form: not a second parameter of a form, not another key of a JSON document, not
another host of an address, not a line of a header.
"""

import json
import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

PLACES = ("to", "text", "number", "token")
"""What can be filled in: the phone number, the text, its running number, a secret."""

_PLACE = re.compile(r"\{(" + "|".join(PLACES) + r")\}")
_STRANGE = re.compile(r"\{([a-z_]{1,20})\}")
Values = Mapping[str, str]


def fill(template: str, values: Values) -> str:
    """A plain string with its places filled in; what is filled in is not looked at again."""
    return _PLACE.sub(lambda place: values[place[1]], template)


def strange_place(template: str) -> str:
    """The first word in braces that is no place, "" if there is none."""
    return next((word for word in _STRANGE.findall(template) if word not in PLACES), "")


def places(template: str) -> set[str]:
    """The places that a template has."""
    return set(_PLACE.findall(template))


class Json:
    """A JSON document with places in its strings. ValueError if it is no JSON."""

    content_type = "application/json"

    def __init__(self, template: str) -> None:
        self._document = json.loads(template)
        if _has_place_in_key(self._document):
            raise ValueError("a key of the document cannot be filled in")

    def filled(self, values: Values) -> bytes:
        return json.dumps(_fill_strings(self._document, values)).encode("ascii")


def _fill_strings(part: Any, values: Values) -> Any:
    if isinstance(part, str):
        return fill(part, values)
    if isinstance(part, list):
        return [_fill_strings(item, values) for item in part]
    if isinstance(part, dict):
        return {key: _fill_strings(item, values) for key, item in part.items()}
    return part


def _has_place_in_key(part: Any) -> bool:
    if isinstance(part, dict):
        return any(places(key) for key in part) or any(map(_has_place_in_key, part.values()))
    return isinstance(part, list) and any(map(_has_place_in_key, part))


class Form:
    """A form such as `to={to}&text={text}`. ValueError if it is none."""

    content_type = "application/x-www-form-urlencoded"

    def __init__(self, template: str) -> None:
        self._pairs = parse_qsl(template, keep_blank_values=True, strict_parsing=True)
        if any(places(name) for name, _ in self._pairs):
            raise ValueError("a name of the form cannot be filled in")

    def filled(self, values: Values) -> bytes:
        return urlencode([(name, fill(value, values)) for name, value in self._pairs]).encode()


class Url:
    """An address of the web with places in its path or query. ValueError where they may not be."""

    def __init__(self, template: str) -> None:
        self.parts = urlsplit(template)
        if self.parts.scheme not in ("http", "https") or not self.parts.hostname:
            raise ValueError("is not an address such as https://text.example.org/send")
        if self.parts.port == 0 or not template.isprintable() or not template.isascii():
            raise ValueError("holds a port or letters that no address has")
        if " " in template:
            raise ValueError("holds a blank; write %20")
        if self.parts.username is not None or self.parts.password is not None:
            raise ValueError("holds a user or password; give user and password_secret")
        if places(self.parts.netloc):
            raise ValueError("has a place in the name of the host")
        self._template = template

    def filled(self, values: Values) -> str:
        return fill(self._template, {name: quote(value, safe="") for name, value in values.items()})


def at_path(document: Any, path: str) -> Any:
    """What stands at `messages.0.status` of a document; None where the way leads nowhere."""
    for step in path.split("."):
        if isinstance(document, list) and step.isascii() and step.isdigit():
            document = document[int(step)] if int(step) < len(document) else None
        elif isinstance(document, dict):
            document = document.get(step)
        else:
            return None
    return document
