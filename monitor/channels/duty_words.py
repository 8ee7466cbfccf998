"""What may stand behind SWAP, SLEEP and STORM in an answer. Pure.

Each reads the words behind its command: (kind, text) of an Answer, or None if they are talk.
"""

import re
from collections.abc import Callable

LONGEST = 60
"""Letters that are looked at."""

_SWAP = re.compile(r"(?:(?:with\s+)?([^\W\d][\w.-]*))?(?:[\s,]+(?:on\s+)?([^\W\d]+))?")
_SLEEP = re.compile(r"(?:(?:here|on site|in)\b)?\s*(?:tonight)?", re.I)
_STORM = re.compile(r"(?:(?:till|until)\s+)?((?:[a-z]+\s+)?[0-9]{1,2}[:.][0-9]{2})", re.I | re.A)
_OVER = re.compile(r"(?:end|off|over|stop)", re.I)


def _swap(tail: str) -> tuple[str, str] | None:
    found = _SWAP.fullmatch(tail)
    return ("swap", " ".join(word for word in found.groups() if word)) if found else None


def _sleep(tail: str) -> tuple[str, str] | None:
    return ("sleep", "") if _SLEEP.fullmatch(tail) else None


def _storm(tail: str) -> tuple[str, str] | None:
    if _OVER.fullmatch(tail):
        return "storm end", ""
    found = _STORM.fullmatch(tail)
    return ("storm", found[1]) if found else None


READ: dict[str, Callable[[str], tuple[str, str] | None]] = {
    "swap": _swap,
    "sleep": _sleep,
    "storm": _storm,
}
"""The reader of each command."""

HOW = {
    "swap": "Send SWAP and the name, as SWAP OSKEL, with the day if it is not tonight.",
    "sleep": "Send SLEEP alone if you sleep on site tonight.",
    "storm": "Send STORM and its end, as STORM SAT 22:00, or STORM END.",
}
"""What is asked back."""
