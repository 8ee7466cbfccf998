"""A sign of life: what a watch says of itself, once a minute, to whoever listens elsewhere. Pure.

It is made by the loop after a full pass, never by a timer: a timer would go on over a dead loop.
One document of JSON, the same over every way. docs/reference/signs-of-life.md describes it.
"""

import json
import math
from dataclasses import asdict, dataclass, fields
from typing import Any

LONGEST = 2048
"""Bytes of a sign that are looked at; a true one has some 200."""


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign. boot, elapsed, utc, trusted: the moment of the pass, as in inputs.Moment.

    every: seconds between two signs. open, untaken: open events, and those nobody has. faults:
    parts of the watch that fail. storm: whether the watch is on storm footing.
    """

    board: str
    rig: str
    boot: int
    elapsed: float
    utc: float
    trusted: bool
    every: float
    open: int
    untaken: int
    faults: int
    storm: bool


def to_json(sign: Sign) -> bytes:
    """The sign as it travels."""
    return json.dumps(asdict(sign), separators=(",", ":")).encode("utf-8")


def from_json(data: bytes) -> Sign:
    """The sign in a document. ValueError with words fit for a log where it is none.

    Keys that a later version has added are passed over.
    """
    if len(data) > LONGEST:
        raise ValueError(f"longer than {LONGEST} bytes")
    try:
        document = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise ValueError("no JSON") from error
    if not isinstance(document, dict):
        raise ValueError("no JSON object")
    values: dict[str, Any] = {
        item.name: _checked(item.name, item.type, document) for item in fields(Sign)
    }
    return Sign(**values)


def _checked(name: str, kind: Any, document: dict[str, object]) -> object:
    value = document.get(name)
    if kind is float and type(value) is int:
        value = float(value)
    if type(value) is not kind or (isinstance(value, float) and not math.isfinite(value)):
        raise ValueError(f"{name} is missing or no {kind.__name__}")
    return value


def is_newer(sign: Sign, last: Sign | None) -> bool:
    """Whether a sign shows that the loop went on since the last one; one that is repeated, or
    comes late, does not. A board whose archive was lost begins its count anew, at a later time."""
    if last is None:
        return True
    now, before = (sign.boot, sign.elapsed), (last.boot, last.elapsed)
    return now > before or (now != before and sign.utc > last.utc)
