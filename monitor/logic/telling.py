"""To whom a turn of an event is told, and the text that goes out."""

from collections.abc import Iterable
from dataclasses import replace

from monitor.effects import Text
from monitor.logic import duty, wording
from monitor.logic.plan import RANK_OF_GRADE, Spec
from monitor.logic.quiet import is_quiet
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord, Told

LIFE = 7200.0
"""Seconds after which an undelivered text would mislead; a newer one has replaced it by then."""


def holder(event: EventRecord) -> str:
    """The person who has the event now ("" when nobody has)."""
    return event.taken_by if event.stage in ("taken", "on site") else ""


def order(scan: Scan) -> tuple[str, ...]:
    """The call order now; everybody known if the duty list is empty."""
    return duty.order_at(scan.setup, scan.durable, scan.now.utc)


def night_to_tell(scan: Scan, end: float, said: float | None) -> bool:
    """Whether those on duty must now hear of something that lasts till `end`: once a night, half
    an hour before the quiet hours it reaches into, or in them. said: when they last did."""
    begin = scan.setup.next_time_of_day(scan.now.utc, scan.setup.quiet[0]) - scan.now.utc
    night = scan.t if is_quiet(scan) else scan.t + begin
    if end <= night or (said is not None and scan.t - said < ONE_NIGHT):
        return False
    scan.due(night - BEFORE_NIGHT)
    return scan.t >= night - BEFORE_NIGHT


BEFORE_NIGHT = 1800.0
ONE_NIGHT = 57_600.0
"""Seconds in which one night is told once: longer than a night, shorter than a day."""


def say(
    scan: Scan,
    turn: str,
    grade: str,
    people: Iterable[str],
    body: str,
    asks: int = 0,
    channel: str = "",
) -> None:
    """Send a text that belongs to no event to these people. asks: number of its question.
    channel: the only way it goes by, "" for all of each person."""
    for person in people:
        if person in scan.setup.person:
            number, expires = scan.take_text_number(), scan.t + LIFE
            scan.effects.append(
                Text(number, asks, person, turn, grade, body, scan.now, expires, channel)
            )
            scan.journal("text", str(asks or ""), turn, grade=grade, who=person, text=body)


def tell(scan: Scan, number: int, turn: str, spec: Spec | None) -> None:
    """Tell a turn to whoever has the event, else to all called so far, else call the first."""
    event = scan.durable.events[number]
    if event.led_by:
        scan.journal("event", str(number), f"goes with {event.led_by}", cause=turn)
        return
    calls = RANK_OF_GRADE[event.grade] >= RANK_OF_GRADE["high"]
    known = scan.setup.person
    if (person := holder(event)) in known:
        recipients: Iterable[str] = (person,)
    else:
        called = event.called if event.calls else ()
        found = dict.fromkeys(item.turn for item in called if item.turn in known)
        recipients = tuple(found) or order(scan)[:1]
    if spec is not None and spec.name == "hold overrun":
        recipients = _holder_of_hold(scan, spec) or recipients
    send(scan, number, turn, recipients, spec)
    event = scan.durable.events[number]
    if calls and event.calls == 0 and not holder(event):
        scan.set_event(
            replace(event, first_call=scan.t, calls=1, next_call=next_call(scan, scan.t, 1))
        )


def _holder_of_hold(scan: Scan, spec: Spec) -> tuple[str, ...]:
    hold = scan.durable.holds.get(spec.subject)
    return (hold.who,) if hold is not None and hold.who in scan.setup.person else ()


def tell_everyone(scan: Scan, number: int, turn: str) -> None:
    """Tell a turn to everybody who was called for this event."""
    event = scan.durable.events[number]
    people = dict.fromkeys((*reversed([item.turn for item in event.called]), event.proven_by))
    send(scan, number, turn, [person for person in people if person], None)


def send(scan: Scan, number: int, turn: str, recipients: Iterable[str], spec: Spec | None) -> None:
    """Tell a turn to these people: one text each, kept in the event and the journal."""
    event = scan.durable.events[number]
    told = Told(turn, scan.t)
    event = replace(event, told=(*event.told, told))
    scan.set_event(event)
    for person in recipients:
        if person not in scan.setup.person:
            continue
        body = _body(scan, event, turn, person, spec)
        text = Text(
            scan.take_text_number(),
            number,
            person,
            turn,
            event.grade,
            body,
            scan.now,
            scan.t + LIFE,
        )
        scan.effects.append(text)
        scan.journal(
            "text", str(number), turn, grade=event.grade, who=person, text=body, event=event.number
        )
        event = replace(event, called=(*event.called, Told(person, scan.t)))
    scan.set_event(event)


def _body(scan: Scan, event: EventRecord, turn: str, person: str, spec: Spec | None) -> str:
    """The text of a turn. One that cannot be worded goes out plain, and the fault is recorded."""
    try:
        return wording.compose(scan, event, turn, person, spec)
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        wrong = f"{turn}: {type(error).__name__}: {error}"
        scan.journal("fault", "wording", "began", text=wrong)
        return wording.plain(scan, event, turn)


def next_call(scan: Scan, since: float, calls: int) -> float:
    """When the call after `calls` calls is due, from the first call or the last one."""
    after = scan.setup.delays.call_after
    if calls <= len(after):
        gap = after[calls - 1] - (after[calls - 2] if calls > 1 else 0.0)
        return since + gap
    return since + scan.setup.delays.repeat_call
