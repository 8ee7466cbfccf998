"""What a person can do on the page: for each action its fields, and the request it becomes.

Limits are not changed here, nothing is deleted and the watch is not stood down: those need a desk.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from monitor.page.access import Denied

Fields = Mapping[str, str]
Request = dict[str, object]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do. said: what is confirmed, with the fields in it."""

    request: Callable[[Fields], Request]
    said: str
    role: str = "act"


def minutes_of(fields: Fields, key: str = "minutes", most: float = 600.0) -> float | None:
    """Minutes as typed, None where the field is empty; Denied when they are none."""
    typed = fields.get(key, "").strip().replace(",", ".")
    if not typed:
        return None
    try:
        minutes = float(typed)
    except ValueError:
        raise Denied(f"{typed!r} is no number of minutes.") from None
    if not 0.0 <= minutes <= most:
        raise Denied(f"Minutes are between 0 and {most:.0f}.")
    return minutes


def _event(fields: Fields) -> int:
    typed = fields.get("event", "").strip()
    if not typed.isascii() or not typed.isdigit() or len(typed) > 9:
        raise Denied("The number of the event is missing.")
    return int(typed)


def _on_event(kind: str) -> Callable[[Fields], Request]:
    def request(fields: Fields) -> Request:
        return {"ask": "answer", "kind": kind, "event": _event(fields)}

    return request


def _take(fields: Fields) -> Request:
    return _on_event("take")(fields) | {"minutes": minutes_of(fields)}


def _done(fields: Fields) -> Request:
    line, value = fields.get("line", "").strip(), fields.get("value", "").strip()
    if not line:
        raise Denied("Which owed line is done?")
    return _on_event("done")(fields) | {"text": f"{line}: {value}" if value else line}


def _hold(fields: Fields) -> Request:
    minutes = minutes_of(fields, most=240.0)
    if not minutes:
        raise Denied("A hold needs its length in minutes.")
    return {"ask": "answer", "kind": "hold", "text": fields.get("water", ""), "minutes": minutes}


def _hold_end(fields: Fields) -> Request:
    return {"ask": "answer", "kind": "hold end", "text": fields.get("water", "")}


def _note(fields: Fields) -> Request:
    text = fields.get("text", "").strip()
    if not text:
        raise Denied("The note is empty.")
    return {"ask": "answer", "kind": "note", "text": text}


ACTIONS: dict[str, Action] = {
    "take": Action(_take, "You have event {event}."),
    "here": Action(_on_event("here"), "You are on site for event {event}."),
    "cannot": Action(_on_event("cannot"), "Event {event} is passed on; the next person is called."),
    "flow": Action(_on_event("flow"), "Flow seen and measured, event {event}."),
    "done": Action(_done, "Done: {line}, event {event}."),
    "hold": Action(_hold, "Feeding hold of {minutes} minutes."),
    "hold-end": Action(_hold_end, "The feeding hold is over."),
    "note": Action(_note, "Noted: {text}"),
}
"""Every action by the last part of its address."""


def confirmation(action: Action, fields: Fields) -> str:
    """What was done, in words; a field left empty leaves nothing behind."""
    words = action.said
    for key, value in fields.items():
        words = words.replace(f"{{{key}}}", value.strip()[:200])
    return words
