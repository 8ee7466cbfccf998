"""From the payload of a message to one number: the address of a tag, and the parser. No I/O.

Whatever a payload holds, `parse` returns; it raises nothing. A payload comes from a network and
may be anything at all.
"""

import json
import math
import re
from dataclasses import dataclass
from typing import Any

LONGEST_PAYLOAD = 65_536
"""Bytes; longer payloads are not even decoded. A status of a small board has under 2,000 (common
practice, no source); 64 KiB bounds the time of one parse to a few milliseconds."""

PROBLEMS = (
    "empty",
    "too long",
    "not text",
    "not JSON",
    "nested too deep",
    "address names no field",
    "no such field",
    "field given twice",
    "not a number",
    "number too large",
    "not a state",
)
"""Every word that `parse` may give as the problem of a reading."""

STATE_WORDS = {"on": 1.0, "true": 1.0, "closed": 1.0, "off": 0.0, "false": 0.0, "open": 0.0}

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_KEY = re.compile(r'"([^"]+)"|([^."]+)')
_PLACE = re.compile(r"0|[1-9][0-9]{0,4}")
_MISSING = object()
_TWICE = object()

Result = tuple[float | None, str]


@dataclass(frozen=True, slots=True)
class Address:
    """Where the value of a tag comes from: a topic, and the way to a field of its JSON payload."""

    topic: str
    path: tuple[str, ...] = ()


def parse_address(text: str) -> Address:
    """Read `topic` or `topic#key.key`; a key that holds a dot stands in double quotes.

    `#` cannot occur in the name of a topic (MQTT 5.0, section 4.7.1: it is a wildcard), so it
    parts the two without doubt. Raises ValueError with words fit to be shown.
    """
    topic, parted, path = text.partition("#")
    if "+" in topic or (parted and (not path or not topic or topic.endswith("/"))):
        raise ValueError("is a wildcard, which would mix readings of several sensors in one tag")
    if not topic:
        raise ValueError("names no topic")
    if not topic.isprintable() or len(topic.encode("utf-8", "replace")) > 65_535:
        raise ValueError("holds characters that no topic can have, or is too long")
    if topic.startswith("$share/"):
        raise ValueError("is a shared subscription, which would hand readings to somebody else")
    return Address(topic, _split(path) if parted else ())


def _split(path: str) -> tuple[str, ...]:
    keys: list[str] = []
    at = 0
    while found := _KEY.match(path, at):
        keys.append(found[1] or found[2])
        at = found.end()
        if at == len(path):
            return tuple(keys)
        if path[at] != ".":
            break
        at += 1
    raise ValueError(f"has a field {path!r} that is not written as key.key")


def parse(payload: bytes, path: tuple[str, ...], state: bool) -> Result:
    """The value of a payload, or None and the problem in a word of PROBLEMS.

    Without a path the payload is one plain number or state word; with one it is JSON (RFC 8259)
    and the path leads to the field. Numbers are finite; `state` asks for 1.0 or 0.0.
    """
    if len(payload) > LONGEST_PAYLOAD:
        return None, "too long"
    try:
        text = payload.decode("utf-8")
        if not path:
            return _from_word(text, state)
        return _from_field(_walk(_load(text), path), state)
    except UnicodeDecodeError:
        return None, "not text"
    except RecursionError:
        return None, "nested too deep"
    except ValueError:
        return None, "not JSON"


def _load(text: str) -> Any:
    """JSON of which one sick field leaves the others legible.

    Integers are read as floats, so that no length of digits is refused by the interpreter; NaN
    and Infinity, which JSON does not have but small boards send, become a NaN.
    """
    return json.loads(
        text, parse_int=float, parse_constant=lambda _: math.nan, object_pairs_hook=_mark_twice
    )


def _mark_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A JSON object; a key that occurs twice has no value that could be trusted."""
    fields: dict[str, Any] = {}
    for key, value in pairs:
        fields[key] = _TWICE if key in fields else value
    return fields


def _walk(value: Any, path: tuple[str, ...]) -> Any:
    for key in path:
        if isinstance(value, dict):
            value = value.get(key, _MISSING)
        elif isinstance(value, list):
            place = int(key) if _PLACE.fullmatch(key) else len(value)
            value = value[place] if place < len(value) else _MISSING
        else:
            return value if value is _TWICE else _MISSING
    return value


def _from_field(field: Any, state: bool) -> Result:
    if field is _MISSING:
        return None, "no such field"
    if field is _TWICE:
        return None, "field given twice"
    if field is None:
        return None, "empty"
    if isinstance(field, str):
        return _from_word(field, state)
    if isinstance(field, bool):
        return (float(field), "") if state else (None, "not a number")
    if isinstance(field, float):
        return _from_number(field, state)
    return None, _unfit(state)


def _from_word(text: str, state: bool) -> Result:
    word = text.strip()
    if not word:
        return None, "empty"
    if state and word.lower() in STATE_WORDS:
        return STATE_WORDS[word.lower()], ""
    if _NUMBER.fullmatch(word):
        return _from_number(float(word), state)
    return None, "address names no field" if word[0] in "{[" else _unfit(state)


def _from_number(number: float, state: bool) -> Result:
    if math.isnan(number):
        return None, _unfit(state)
    if math.isinf(number):
        return None, "number too large"
    if state and number not in (0.0, 1.0):
        return None, "not a state"
    return number + 0.0, ""  # which turns -0.0 into 0.0


def _unfit(state: bool) -> str:
    return "not a state" if state else "not a number"
