"""Storm footing: a stricter watch with an end, begun and ended by a person.

Mains and supply are told at once, nothing waits for the morning, a short return of power ends
nothing before the header is full, and people are asked for a sign of life.
"""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from math import inf

from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic import duty, events
from monitor.logic.duty_records import Question, Storm
from monitor.logic.plan import Spec
from monitor.logic.scan import DAYS, Scan

SUPPLY_TEXT = 30.0
"""Seconds after which a loss of supply is told (common practice, no source)."""
MAINS_TEXT = 40.0
"""The same for a circuit without mains: right after the loss of supply that it may bring, so that
one outage stays one text."""
SIGN_EVERY, SIGN_WAIT = 7200.0, 900.0
"""Seconds between two signs of life of people, and for which one is waited (common practice)."""
LONGEST = 72 * 3600.0
"""Seconds that storm footing may last; one without an end would be forgotten."""
_END = re.compile(r"(?:([a-z]{3})[a-z]* +)?([01]?\d|2[0-3])[:.]([0-5]\d)", re.I | re.A)


def is_on(scan: Scan, utc: float | None = None) -> bool:
    """Whether storm footing holds, now or at a UTC second.

    A clock that is not known to be right ends nothing: the stricter watch goes on.
    """
    storm = scan.durable.storm
    if storm is None:
        return False
    return not scan.now.trusted or (scan.now.utc if utc is None else utc) < storm.until


def tell_after(scan: Scan, spec: Spec) -> float:
    """Seconds from its first sign before a condition may be told."""
    if not is_on(scan):
        return spec.tell_after
    sooner = {"supply lost": SUPPLY_TEXT, "mains lost": MAINS_TEXT}
    return min(spec.tell_after, sooner.get(spec.name, inf))


def next_evening(scan: Scan, after: float) -> duty.Turn | None:
    """The next evening of the storm, after a UTC second."""
    storm = scan.durable.storm
    if storm is None:
        return None
    start = scan.setup.next_time_of_day(after, scan.setup.duty.evening)
    if start >= storm.until:
        return None
    end = scan.setup.next_time_of_day(start, scan.setup.duty.evening)
    return duty.Turn(start, end, duty.listed(scan.setup, scan.durable, start))


def follow(scan: Scan, ask: Callable[[Scan, Question], None]) -> float:
    """End it at its time, ask for a sign of life; when, in elapsed seconds, to look again."""
    storm = scan.durable.storm
    if storm is None:
        return inf
    if not is_on(scan):
        end(scan, "its time is over", "")
        return scan.t
    ends = scan.t + storm.until - scan.now.utc if scan.now.trusted else inf
    if any(events.calling(event) for event in scan.durable.events.values()):
        return ends
    asked = any(item.kind == "sign" for item in scan.durable.questions.values())
    ended = [event.proven or event.closed or 0.0 for event in scan.durable.events.values()]
    at = max((storm.sign, *ended)) + SIGN_EVERY
    if asked or scan.t < at:
        return min(ends, inf if asked else at)
    order = duty.order_at(scan.setup, scan.durable, scan.now.utc)
    scan.keep(storm=replace(storm, sign=scan.t))
    now = scan.now.utc
    ask(scan, Question(0, "sign", order[0], scan.t, scan.t + SIGN_WAIT, now, now))
    return scan.t


def heard(scan: Scan, who: str) -> None:
    """Any answer of a person is a sign of life."""
    storm = scan.durable.storm
    if storm is None or who not in scan.setup.person:
        return
    left = {key: item for key, item in scan.durable.questions.items() if item.kind != "sign"}
    scan.keep(storm=replace(storm, sign=scan.t), questions=left)


def begin(scan: Scan, said: Answer) -> Storm:
    """Storm footing until a clock time, such as `SAT 22:00`. RefusedInput without a sound end."""
    until = _read_end(scan, said.text)
    storm = Storm(said.who, scan.t, until, scan.t)
    scan.keep(storm=storm)
    scan.journal("answer", "storm", "began", who=said.who, cause=said.way, text=said.text)
    return storm


def end(scan: Scan, why: str, who: str) -> None:
    """The usual footing again; questions for a sign of life fall away."""
    left = {key: item for key, item in scan.durable.questions.items() if item.kind != "sign"}
    scan.keep(storm=None, questions=left)
    scan.journal("answer", "storm", "ended", who=who, cause=why)


def _read_end(scan: Scan, text: str) -> float:
    """UTC of the clock time that is meant: the next such time, on the day named if one is."""
    found = _END.fullmatch(" ".join(text.split()))
    word = (found[1] or "").capitalize() if found is not None else ""
    if found is None or (word and word not in DAYS):
        raise RefusedInput("storm footing has an end: a clock time, such as 22:00 or SAT 22:00")
    setup, now = scan.setup, scan.now.utc
    seconds = int(found[2]) * 3600.0 + int(found[3]) * 60.0
    if not word:
        return setup.next_time_of_day(now, seconds)
    day = setup.local_day(now)
    day += timedelta(days=(DAYS.index(word) - day.weekday()) % 7)
    until = duty.wall(setup, day, seconds)
    until = until if until > now else duty.wall(setup, day + timedelta(days=7), seconds)
    if until - now > LONGEST:
        raise RefusedInput("storm footing lasts three days at most; begin it again then")
    return until
