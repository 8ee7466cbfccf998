"""Many alarms at once, and alarms that come and go: what keeps people able to read what is told.

A flood begins when more than ten alarms come within ten minutes, and ends when fewer than five
have (ISA-18.2 as quoted by others; the standard's own text not seen). In it one text says how many
there are and names the worst first; events that are high or notices go with that event, and are
called for themselves, one by one, once it or the flood has ended. Urgent ones always are at once.
"""

from dataclasses import replace

from monitor.logic import quiet, telling, wording_care
from monitor.logic.events import calling
from monitor.logic.plan import RANK_OF_GRADE, Spec
from monitor.logic.scan import Scan
from monitor.logic.state import Coming, EventRecord

WITHIN, BEGINS, ENDS = wording_care.FLOOD_WITHIN, 10, 5
"""Seconds, and alarms in them: more than BEGINS is a flood, fewer than ENDS is none any more."""
LEAST_EVENTS = 3
"""Events from which one text says more than each its own (common practice, no source)."""
CHATTERS, CHATTERS_WITHIN = 3, 3600.0
"""An alarm that comes so often within so many seconds comes and goes (common practice, no source;
three changes a minute is the usual count for an attended desk, from memory)."""


def count(scan: Scan, spec: Spec, again: bool = False) -> None:
    """An alarm has come that people are to see: keep when. again: it was not over yet."""
    if spec.grade == "record" or (again and not spec.calm):
        return
    before = calm_for(scan, spec)
    kept = [item for item in scan.running.comings if scan.t - item.at < CHATTERS_WITHIN]
    scan.set_comings((*kept[-MOST:], Coming(spec.id, scan.t, again)))
    if calm_for(scan, spec) and not before:
        scan.journal("condition", spec.id, "comes and goes", grade=spec.grade)


MOST = 300
"""Comings that are kept: more than that within an hour are a flood in any case."""


def calm_for(scan: Scan, spec: Spec) -> float:
    """Seconds that an alarm must stay away before it is over, for one that comes and goes."""
    if not spec.calm:
        return 0.0
    came = [item for item in scan.running.comings if item.alarm == spec.id]
    recent = sum(scan.t - item.at < CHATTERS_WITHIN for item in came)
    return spec.calm if recent >= CHATTERS else 0.0


def follow(scan: Scan) -> None:
    """Begin and end a flood, let events go with its worst, and call them when that has ended."""
    recent = [item.at for item in scan.running.comings if not item.again]
    recent = [at for at in recent if scan.t - at < WITHIN]
    if recent:
        scan.due(recent[0] + WITHIN)
    flood = scan.running.flood
    if flood is None and len(recent) > BEGINS:
        _journal(scan, "began", len(recent))
        scan.set_flood(scan.t)
    elif flood is not None and len(recent) < ENDS:
        _journal(scan, "over", len(recent))
        scan.set_flood(None)
    _free(scan)
    if scan.running.flood is not None:
        _gather(scan, scan.running.flood)


def _free(scan: Scan) -> None:
    """Call events for themselves: at once where the graver one has ended, else, once the flood is
    over, one each five minutes, the worst first."""
    led = [event for event in scan.durable.events.values() if event.led_by]
    for event in led:
        if not _is_led(scan, event):
            _call_for_itself(scan, event)
    left = [event for event in led if _is_led(scan, event)]
    if scan.running.flood is not None or not left:
        return
    ready = scan.running.freed + FREED_EACH
    if scan.t < ready:
        scan.due(ready)
        return
    _call_for_itself(scan, max(left, key=lambda event: RANK_OF_GRADE[event.grade]))
    scan.set_freed(scan.t)
    scan.due(scan.t + FREED_EACH)


FREED_EACH = 300.0
"""Seconds between two events that are called for themselves (common practice, no source)."""


def _journal(scan: Scan, state: str, alarms: int) -> None:
    evidence = (("alarms", f"{alarms} in {WITHIN / 60.0:.0f} min"),)
    scan.journal("alarm", "flood", state, evidence=evidence)


def _is_led(scan: Scan, event: EventRecord) -> bool:
    """Whether an event still goes with a graver one for which people are called."""
    lead = scan.durable.events.get(event.led_by)
    return lead is not None and calling(lead) and calling(event) and event.grade != "urgent"


def _call_for_itself(scan: Scan, event: EventRecord) -> None:
    scan.set_event(replace(event, led_by=0, held=event.alarms, rank=0))


def _gather(scan: Scan, since: float) -> None:
    """Let the milder events go with the worst, and tell once that there are many."""
    own = [event for event in scan.durable.events.values() if calling(event) and not event.led_by]
    if not own:
        return
    lead = max(own, key=lambda event: (RANK_OF_GRADE[event.grade], event.rank, -event.number))
    milder = [
        event
        for event in own
        if event is not lead and event.stage == "open" and event.grade != "urgent"
    ]
    led = sum(event.led_by == lead.number for event in scan.durable.events.values())
    told = any(item.turn == "flood" and item.at >= since for item in lead.told)
    if not milder or 1 + led + len(milder) < LEAST_EVENTS:
        return
    for event in milder:
        scan.set_event(replace(event, led_by=lead.number, next_call=None))
    if not told and scan.t >= quiet.grade_waits_until(scan, lead.grade):
        telling.tell(scan, lead.number, "flood", None)
