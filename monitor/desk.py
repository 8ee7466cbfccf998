"""What is answered on the control socket: requests of people become inputs, or views of the state.

Runs in the short-lived threads of the control socket. It touches nothing but the inbox and the
published snapshot, so a request never delays a scan.
"""

import threading
from collections.abc import Callable, Mapping
from typing import Any

from monitor.clock import Clock
from monitor.config import load_texts
from monitor.control import Handler, Request
from monitor.entering import by_bucket, entered, moment_at
from monitor.errors import ControlError, RefusedInput
from monitor.inputs import ANSWER_KINDS, DETAILS, Answer, SetupChange
from monitor.live import Inbox
from monitor.logic.rota import duty_lines
from monitor.logic.scene import scene
from monitor.logic.screen import event_lines, now_lines, why_lines
from monitor.logic.standing import aside_lines
from monitor.loop import Snapshot
from monitor.setup import Setup
from monitor.units import L_PER_MIN

LONGEST_TEXT = 500
"""Characters of free text in an answer; a text message has 160."""


LONGEST_DETAIL = 100
"""Characters of one detail of an answer, such as the name of an alarm."""


class Desk:
    """Serves people: answers, views and changes of the set-up.

    check: raises HoldwaterError where a valid set-up cannot be run here.
    """

    def __init__(
        self,
        inbox: Inbox,
        clock: Clock,
        snapshot: Callable[[], Snapshot],
        check: Callable[[Setup], object],
    ) -> None:
        self._inbox = inbox
        self._clock = clock
        self._snapshot = snapshot
        self._check = check
        self._changing = threading.Lock()

    @property
    def handlers(self) -> Mapping[str, Handler]:
        """What can be asked, by its word."""
        return {
            "answer": self._answer,
            "snapshot": self._view,
            "why": self._why,
            "apply": self._apply,
            "enter": self._enter,
        }

    def _answer(self, request: Request) -> dict[str, Any]:
        data = request.data
        kind = data.get("kind")
        if kind not in ANSWER_KINDS:
            raise ControlError(f"kind: it is one of {', '.join(ANSWER_KINDS)}")
        answer = Answer(
            self._clock.now(),
            kind,
            self.person(request),
            _event(data),
            _minutes(data),
            _text(data, "text", LONGEST_TEXT),
            _way(data),
            _details(data),
        )
        self._put(answer, None)
        return {"who": answer.who, "lines": self._lines(event_lines)}

    def _enter(self, request: Request) -> dict[str, Any]:
        """A value that a person measured: the note of who and why first, then the reading."""
        data, setup = request.data, self._snapshot().setup
        name, unit = _text(data, "tag", 20), _text(data, "unit", 20)
        at, why = _text(data, "at", 20), _text(data, "reason", LONGEST_TEXT)
        bucket = data.get("bucket")
        if bucket is not None:
            value, unit = by_bucket(*_pair(bucket)) / L_PER_MIN, "L/min"
        else:
            value = _number(data.get("value"), "value")
        who, now = self.person(request), self._clock.now()
        moment = moment_at(at, now, setup.rig.zone) if at else now
        reading = entered(setup, name, value, unit, moment)
        tag = setup.rig.tag[name]
        told = f"entered {name} {reading.value:.6g} {tag.unit.name}".rstrip()
        if at:
            told += f" at {at}"
        text = f"{told}: {why}" if why else told
        self._put(Answer(now, "note", who, text=text[:LONGEST_TEXT], way=_way(data)), None)
        self._inbox.reading(reading)
        return {"who": who, "told": told}

    def _view(self, request: Request) -> dict[str, Any]:
        if request.data.get("view") == "scene":
            snapshot = self._snapshot()
            return {"scene": scene(snapshot.setup, snapshot.state, self._clock.now())}
        views = {"now": now_lines, "events": event_lines, "aside": aside_lines, "duty": duty_lines}
        view = views.get(str(request.data.get("view", "now")))
        if view is None:
            raise ControlError(f"view: it is one of {', '.join(views)}, scene")
        return {"lines": self._lines(view)}

    def _why(self, request: Request) -> dict[str, Any]:
        number = _event(request.data)
        if number is None:
            raise ControlError("event: give the number of the event")
        snapshot = self._snapshot()
        lines = why_lines(snapshot.setup, snapshot.state, number, self._clock.now())
        return {"lines": lines}

    def _lines(self, view: Callable[..., list[str]]) -> list[str]:
        snapshot = self._snapshot()
        return view(snapshot.setup, snapshot.state, self._clock.now())

    def _apply(self, request: Request) -> dict[str, Any]:
        """Check a whole configuration and bring it in as the next version, or leave the old."""
        files = request.data.get("files")
        if not isinstance(files, dict) or not all(
            isinstance(part, str) for pair in files.items() for part in pair
        ):
            raise ControlError("files: give an object of file names and their texts")
        reason = _text(request.data, "reason", LONGEST_TEXT).strip()
        if not reason:
            raise ControlError("reason: say why; it is kept with the version")
        who = self.person(request)
        with self._changing:
            version = self._snapshot().setup.version + 1
            setup = load_texts(files, version)
            self._check(setup)
            self._put(SetupChange(self._clock.now(), setup, who, reason), files)
        return {"who": who, "version": version}

    def person(self, request: Request) -> str:
        """The user at the other end if that is a person of the set-up, else who is named."""
        people = self._snapshot().setup.person
        named = _text(request.data, "as", 100)
        if request.user in people:
            if named not in ("", request.user):
                raise RefusedInput(f"you are {request.user} here and cannot answer as {named}")
            return request.user
        if not named:
            known = ", ".join(people) or "nobody yet"
            raise RefusedInput(f"user {request.user} is nobody here: add --as PERSON ({known})")
        if named not in people:
            raise RefusedInput(f"{named!r} is nobody here; there are {', '.join(people)}")
        return named

    def _put(self, item: Answer | SetupChange, files: Mapping[str, str] | None) -> None:
        """Bring an input in and wait for its fate; an error tells why it was refused."""
        refused = self._inbox.settle(item, files)
        if refused is None:
            raise ControlError(
                "the watch has it, but did not get to it in time; look with: holdwater events"
            )
        if refused:
            raise RefusedInput(refused)


def _number(value: object, key: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ControlError(f"{key}: give a number, such as 34.1")
    try:
        return float(value)
    except OverflowError as error:
        raise ControlError(f"{key}: give a number, such as 34.1") from error


def _pair(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise ControlError("bucket: give litres and seconds, such as 10 98")
    return _number(value[0], "bucket"), _number(value[1], "bucket")


def _event(data: Mapping[str, Any]) -> int | None:
    number = data.get("event")
    if number is None or (isinstance(number, int) and not isinstance(number, bool)):
        return number
    raise ControlError("event: give a whole number, such as 41")


def _way(data: Mapping[str, Any]) -> str:
    way = data.get("way", "command")
    if way not in ("command", "page"):
        raise ControlError("way: it is command or page")
    return str(way)


def _minutes(data: Mapping[str, Any]) -> float | None:
    minutes = data.get("minutes")
    if minutes is None:
        return None
    if isinstance(minutes, bool) or not isinstance(minutes, int | float):
        raise ControlError("minutes: give a number, such as 30")
    if not 0 <= minutes <= 100_000:
        raise ControlError("minutes: give a number from 0 to 100000")
    return float(minutes)


def _details(data: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """What an answer names besides, by word; words without a value are left out."""
    details = data.get("details", {})
    if not isinstance(details, dict):
        raise ControlError("details: give an object of words and texts")
    for word in details:
        if word not in DETAILS:
            raise ControlError(f"details: its words are {', '.join(DETAILS)}")
    named = ((word, _text(details, word, LONGEST_DETAIL)) for word in DETAILS)
    return tuple((word, value) for word, value in named if value)


def _text(data: Mapping[str, Any], key: str, longest: int) -> str:
    text = data.get(key, "")
    if not isinstance(text, str):
        raise ControlError(f"{key}: give text")
    if len(text) > longest:
        raise ControlError(f"{key}: longer than {longest} characters")
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
