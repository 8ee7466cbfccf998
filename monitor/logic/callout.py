"""Who is called, in which order, and when: until somebody has it and is there.

The first on duty is called at once, the others after fixed delays, then everybody. Whoever takes
an event promises a time; at a missed promise the taker is reminded and, a little later, the next
is called. A message sent counts for nothing here: the clock runs on answers.
"""

from dataclasses import replace

from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic import (
    alarms,
    asking,
    backup,
    duty,
    events,
    holds,
    paths,
    recovery,
    shelving,
    storm,
    works,
)
from monitor.logic.plan import RANK_OF_GRADE
from monitor.logic.quiet import is_quiet
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord, called_now
from monitor.logic.telling import holder, next_call, order, send


def follow(scan: Scan, number: int) -> None:
    """Carry the calling of one event on: next call, promise, reminder, question, owed lines."""
    event = scan.durable.events[number]
    if event.led_by:
        return  # people are called for the graver event it goes with
    if event.next_call is not None and scan.t >= event.next_call:
        _call_next(scan, number)
    elif event.next_call is not None:
        scan.due(event.next_call)
    _follow_promise(scan, number)
    _follow_question(scan, number)
    _follow_owed(scan, number)


def _call_next(scan: Scan, number: int, cannot: str = "") -> None:
    """Call the next on duty, or everybody once the list is through; `cannot` has just said no.

    Somebody who took the event and is not there is passed over while there is anybody else.
    """
    event = scan.durable.events[number]
    called = called_now(event)
    others = [person for person in order(scan) if person not in (event.taken_by, cannot)]
    fresh = [person for person in others if person not in called]
    everybody = event.calls >= len(scan.setup.delays.call_after) or not fresh
    if everybody:
        recipients = others if others or cannot else order(scan)
        send(scan, number, "call to all", recipients, None)
    else:
        send(scan, number, "next call", fresh[:1], None)
    event = scan.durable.events[number]
    calls = event.calls + 1
    grave = RANK_OF_GRADE[event.grade] >= RANK_OF_GRADE["high"]
    due = next_call(scan, scan.t, calls) if grave else None
    scan.set_event(replace(event, calls=calls, next_call=due))


def _follow_promise(scan: Scan, number: int) -> None:
    event = scan.durable.events[number]
    if event.stage != "taken" or event.promise is None:
        return
    if scan.t < event.promise:
        scan.due(event.promise)
    elif event.reminded is None:
        send(scan, number, "reminder", [event.taken_by], None)
        event = replace(scan.durable.events[number], reminded=scan.t)
        scan.set_event(event)
        scan.due(scan.t + scan.setup.delays.after_promise)
    elif scan.t < event.reminded + scan.setup.delays.after_promise:
        scan.due(event.reminded + scan.setup.delays.after_promise)
    else:
        scan.journal("event", str(number), "promise missed", who=event.taken_by)
        event = replace(event, stage=events.move(event.stage, "missed"))
        scan.set_event(event)
        _call_next(scan, number)


def _follow_question(scan: Scan, number: int) -> None:
    """Ask a person's proof again once; without an answer the next is called."""
    event = scan.durable.events[number]
    if event.asked is None or event.stage != "flow proven":
        return
    if scan.t < event.asked:
        scan.due(event.asked)
        return
    send(scan, number, "asked again", [event.proven_by], None)
    wait = scan.t + scan.setup.delays.ask_again_wait
    scan.set_event(replace(scan.durable.events[number], asked=None, next_call=wait))
    scan.due(wait)


def _follow_owed(scan: Scan, number: int) -> None:
    """What is still owed is asked for once, in the morning."""
    event = scan.durable.events[number]
    if not event.owed or event.nagged or event.proven is None:
        return
    proven_utc = scan.now.utc_at(event.proven)
    by = scan.setup.next_time_of_day(proven_utc, scan.setup.owed_by)
    if scan.now.utc < by:
        scan.due(scan.t + by - scan.now.utc)
        return
    scan.set_event(replace(event, nagged=True))
    send(scan, number, "owed", [event.taken_by] if event.taken_by else order(scan)[:1], None)


# Answers of people


def answer(scan: Scan, said: Answer) -> None:
    """Take what a person said. RefusedInput when it cannot be taken; then nothing changed."""
    if said.who not in scan.setup.person:
        raise RefusedInput(f"{said.who!r} is not in the list of people")
    _sort(scan, said)
    storm.heard(scan, said.who)


def _sort(scan: Scan, said: Answer) -> None:
    paths.heard(scan, said)
    if channel := paths.test_for(scan, said):
        paths.settle(scan, channel, said)
    elif (question := asking.question_for(scan, said)) is not None:
        asking.settle(scan, question, said)
    elif said.kind == "note":
        scan.journal("answer", "note", "noted", who=said.who, text=said.text)
    elif said.kind in _CARE:
        _CARE[said.kind](scan, said)
    elif said.kind == "done" and said.event is None and shelving.check_named(scan, said):
        shelving.checked(scan, said)
    elif said.kind in _ANSWERS:
        _ANSWERS[said.kind](scan, _event_named(scan, said), said)
    else:
        raise RefusedInput(f"{said.kind!r} is not an answer the watch knows")


def _event_named(scan: Scan, said: Answer) -> EventRecord:
    if said.event is None:
        unfinished = [item for item in scan.durable.events.values() if events.is_open(item)]
        if len(unfinished) != 1:
            raise RefusedInput(f"{len(unfinished)} events are open: name the number")
        return unfinished[0]
    event = scan.durable.events.get(said.event)
    if event is None:
        raise RefusedInput(f"there is no event {said.event}")
    if not events.is_open(event):
        raise RefusedInput(f"event {said.event} is closed")
    return event


def _note(scan: Scan, event: EventRecord, said: Answer, state: str) -> None:
    scan.journal("answer", str(event.number), state, who=said.who, cause=said.way, text=said.text)


def _take(scan: Scan, event: EventRecord, said: Answer) -> None:
    minutes = said.minutes
    if minutes is not None and not 0.0 <= minutes <= 600.0:
        raise RefusedInput("a promise is between 0 and 600 minutes")
    person = scan.setup.person[said.who]
    now, night = scan.now.utc, is_quiet(scan)
    bed_to_door = duty.to_door(scan.setup, scan.durable, person, now, night)
    promise = scan.t + (minutes * 60.0 if minutes is not None else bed_to_door)
    grave = RANK_OF_GRADE[event.grade] >= RANK_OF_GRADE["high"]
    stage = events.move(event.stage, "take")
    other = holder(event)
    _note(scan, event, said, "taken")
    alarms.acknowledge(scan, event.number, said.who)
    if stage != "taken":
        return
    first_is_sooner = event.promise is not None and event.promise <= promise
    if other not in ("", said.who) and event.reminded is None and first_is_sooner:
        return
    scan.set_event(
        replace(
            event,
            stage=stage,
            taken_by=said.who,
            taken_at=scan.t,
            promise=promise if grave else None,  # nobody is called after a notice
            reminded=None,
            next_call=None,
        )
    )


def _here(scan: Scan, event: EventRecord, said: Answer) -> None:
    stage = events.move(event.stage, "here")
    _note(scan, event, said, "on site")
    alarms.acknowledge(scan, event.number, said.who)
    if stage != "on site":
        return
    waiting = _called_instead(event, said.who)
    scan.set_event(replace(event, stage=stage, taken_by=said.who, on_site=scan.t, next_call=None))
    if waiting:
        send(scan, event.number, "somebody has it", waiting, None)


def _called_instead(event: EventRecord, who: str) -> list[str]:
    """People called since the reminder, who need not go now."""
    if event.reminded is None or event.stage != "open":
        return []
    since = [item.turn for item in event.called if item.at > event.reminded]
    return [person for person in dict.fromkeys(since) if person != who]


def _cannot(scan: Scan, event: EventRecord, said: Answer) -> None:
    stage = events.move(event.stage, "cannot")
    _note(scan, event, said, "cannot come")
    other = holder(event)
    if other and other != said.who:
        return
    scan.set_event(replace(event, stage=stage, taken_by="", promise=None, reminded=None))
    _call_next(scan, event.number, said.who)


def _flow(scan: Scan, event: EventRecord, said: Answer) -> None:
    """A named person has seen flow by a bucket check; refused while a sensor says otherwise."""
    water = recovery.water_of(scan, event)
    if water is not None and water.flow_none is True:
        raise RefusedInput(f"{event.vessel}: a sensor shows no flow; prime again and look")
    if event.stage == "flow proven":
        _note(scan, event, said, "flow seen again")
        scan.set_event(replace(event, asked=None, next_call=None))
        if event.proven_by and not event.owed:
            events.close(scan, event.number, "flow seen again", said.who)
        return
    if event.no_flow_since is None:
        raise RefusedInput(f"event {event.number} has no stopped flow to prove")
    events.move(event.stage, "proven")
    _note(scan, event, said, "flow proven")
    recovery.prove(scan, event.number, scan.t, said.who)


def _done(scan: Scan, event: EventRecord, said: Answer) -> None:
    line = said.text.partition(":")[0].strip().lower()
    if line not in event.owed and alarms.reset(scan, event.number, line, said.who):
        _note(scan, event, said, "looked at")
        return
    if line not in event.owed:
        owed = ", ".join(event.owed) or "nothing"
        raise RefusedInput(f"event {event.number} owes {owed}; {line!r} is not among it")
    left = tuple(item for item in event.owed if item != line)
    _note(scan, event, said, "done")
    scan.set_event(replace(event, owed=left))
    if not left and event.asked is None and event.next_call is None:
        events.close(scan, event.number, "owed lines done", said.who)


_ANSWERS = {"take": _take, "here": _here, "cannot": _cannot, "flow": _flow, "done": _done}


def _hold(scan: Scan, said: Answer) -> None:
    """A hold begins or goes on. Who gives more time to one that overran has its event till then."""
    line = holds.begin(scan, said)
    for event in tuple(scan.durable.events.values()):
        if f"hold overrun/{line}" in event.alarms and events.calling(event):
            _take(scan, event, said)


_CARE = {
    "shelve": shelving.shelve,
    "withdraw": shelving.withdraw,
    "restore": shelving.restore,
    "checked": shelving.checked,
    "works": works.begin,
    "works end": works.end,
    "fuel": backup.fuel,
    "hold": _hold,
    "hold end": holds.end,
    "swap": asking.swap,
    "sleep": asking.sleep,
    "storm": asking.begin_storm,
    "storm end": asking.end_storm,
}
"""Answers that belong to no event."""
