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


def _shelve(fields: Fields) -> Request:
    alarm, reason = _needed(fields, "alarm", "Which alarm?"), _needed(fields, "reason", "Why?")
    minutes = minutes_of(fields)
    if not minutes:
        raise Denied("For how many minutes? A shelf has an end.")
    request: Request = {"ask": "answer", "kind": "shelve", "minutes": minutes, "text": reason}
    return request | {"details": {"alarm": alarm}}


def _on_alarm(kind: str) -> Callable[[Fields], Request]:
    def request(fields: Fields) -> Request:
        details = {"alarm": _needed(fields, "alarm", "Which alarm?")}
        return {"ask": "answer", "kind": kind, "text": fields.get("found", ""), "details": details}

    return request


def _works(fields: Fields) -> Request:
    what = _needed(fields, "what", "What is worked on?")
    minutes = minutes_of(fields, most=1440.0)
    if not minutes:
        raise Denied("For how many minutes? Works have an end.")
    details = {
        "at": _needed(fields, "at", "Where? A circuit or a room."),
        "second": _needed(fields, "second", "Who else knows of it?"),
    }
    request: Request = {"ask": "answer", "kind": "works", "minutes": minutes, "text": what}
    return request | {"details": details}


def _works_end(fields: Fields) -> Request:
    left = _needed(fields, "left", "What still stands shut or unplugged? Write nothing if so.")
    return {
        "ask": "answer",
        "kind": "works end",
        "text": left,
        "details": {"at": fields.get("at", "")},
    }


def _fuel(fields: Fields) -> Request:
    minutes = minutes_of(fields, "hours", most=200.0)
    request: Request = {"ask": "answer", "kind": "fuel", "details": {"of": fields.get("of", "")}}
    return request | {"minutes": None if minutes is None else 60.0 * minutes}


def _in_words(kind: str, key: str, wanted: str) -> Callable[[Fields], Request]:
    def request(fields: Fields) -> Request:
        text = _needed(fields, key, wanted) if key else ""
        return {"ask": "answer", "kind": kind, "text": text}

    return request


def _swap(fields: Fields) -> Request:
    who = _needed(fields, "with", "With whom?")
    return {"ask": "answer", "kind": "swap", "text": f"{who} {fields.get('day', '')}".strip()}


def _fuel_over(fields: Fields) -> Request:
    return {
        "ask": "answer",
        "kind": "fuel",
        "text": "over",
        "details": {"of": fields.get("of", "")},
    }


def _needed(fields: Fields, key: str, wanted: str) -> str:
    value = fields.get(key, "").strip()
    if not value:
        raise Denied(wanted)
    return value


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
    "shelve": Action(_shelve, "{alarm} is shelved for {minutes} minutes."),
    "restore": Action(_on_alarm("restore"), "{alarm} is in force again."),
    "checked": Action(_on_alarm("checked"), "{alarm}: checked by hand."),
    "works": Action(_works, "Works: {what}, for {minutes} minutes. Alarms stay in force."),
    "works-end": Action(_works_end, "The works are over."),
    "fuel": Action(_fuel, "The backup runs."),
    "fuel-over": Action(_fuel_over, "The backup is over."),
    "swap": Action(_swap, "Asked: {with}. Until it is taken you stay on duty."),
    "sleep": Action(_in_words("sleep", "", ""), "You sleep on site and are called first."),
    "storm": Action(
        _in_words("storm", "until", "Until when? A clock time."), "Storm footing till {until}."
    ),
    "storm-end": Action(_in_words("storm end", "", ""), "Storm footing is over."),
}
"""Every action by the last part of its address."""


def confirmation(action: Action, fields: Fields) -> str:
    """What was done, in words; a field left empty leaves nothing behind."""
    words = action.said
    for key, value in fields.items():
        words = words.replace(f"{{{key}}}", value.strip()[:200])
    return words
