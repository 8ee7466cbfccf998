"""The line of the morning: what waited through the quiet hours, as one text.

One notice that waited is told by its own text; several are told together, each with the number
that is answered to, so that nobody reads five texts over breakfast.
"""

from dataclasses import replace
from datetime import timedelta

from monitor.logic import alarms, duty, events, quiet, telling
from monitor.logic.gsm import Part, fit
from monitor.logic.names import WORDS
from monitor.logic.plan import Spec
from monitor.logic.scan import Scan
from monitor.logic.state import EventRecord, Told
from monitor.logic.tale import dated

Waiting = tuple[EventRecord, list[Spec]]


def follow(scan: Scan) -> None:
    """Tell what waited, once the quiet hours are over, if that is more than one event."""
    if quiet.is_quiet(scan) or not any(event.held for event in scan.durable.events.values()):
        return
    found = waiting(scan, _last_morning(scan))
    first = telling.order(scan)[:1]
    if len(found) < 2 or not first:
        return
    telling.say(scan, "morning", "notice", first, line(scan, found))
    for event, specs in found:
        told = {spec.id for spec in specs}
        scan.set_event(
            replace(
                event,
                held=tuple(alarm for alarm in event.held if alarm not in told),
                rank=max(event.rank, *(spec.rank for spec in specs)),
                told=(*event.told, Told("morning", scan.t)),
                called=(*event.called, Told(first[0], scan.t)),
            )
        )


def _last_morning(scan: Scan) -> float:
    """Elapsed time at which the quiet hours ended last."""
    day, end = scan.setup.local_day(scan.now.utc), scan.setup.quiet[1]
    at = duty.wall(scan.setup, day, end)
    if at > scan.now.utc:
        at = duty.wall(scan.setup, day - timedelta(days=1), end)
    return scan.t + at - scan.now.utc


def waiting(scan: Scan, until: float) -> list[Waiting]:
    """Open events with notices that are true, could have been told by `until`, and were not."""
    found: list[Waiting] = []
    for event in scan.durable.events.values():
        specs = [
            spec
            for alarm in event.held
            if (spec := scan.plan.spec(alarm)) is not None and _waits(scan, spec, until)
        ]
        if specs and events.is_open(event):
            found.append((event, specs))
    return found


def _waits(scan: Scan, spec: Spec, until: float) -> bool:
    condition = scan.running.conditions.get(spec.id)
    if spec.grade != "notice" or condition is None or not condition.active:
        return False
    return not alarms.is_hidden(scan, spec.id) and condition.first_sign + spec.tell_after <= until


def line(scan: Scan, found: list[Waiting]) -> str:
    """All that waited in one text: number, what, where, since when; the newest give way first."""
    items = []
    for event, specs in found:
        spec = max(specs, key=lambda item: item.rank)
        what = WORDS.get(spec.name, (spec.name.upper(), ""))[0]
        since = scan.running.conditions[spec.id].first_sign
        items.append(f"{event.number} {what} {spec.subject} {scan.site_clock(since)}.")
    return fit(
        [
            Part(f"{dated(scan, 'NOTICE', scan.setup.rig.label)}. {len(items)} waited:"),
            *(Part(item, 8 - min(place, 7)) for place, item in enumerate(items)),
            Part("See to them today. Reply OK and the number."),
        ]
    )
