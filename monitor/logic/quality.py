"""Is a reading to be believed? QARTOD tests and flags, and the faults of a sensor.

Flags are those of UNESCO IOC Manuals and Guides 54, vol. 3: 1 pass, 2 not evaluated, 3 suspect,
4 fail, 9 missing. Tests follow the IOOS QARTOD manual for real-time water level data, v2.1
(2021), tests 1, 4, 6, 7 and 8; every comparison is strict, so a value equal to a limit passes.
A flag once given is never rewritten: the spike test judges the last reading but one when the
next arrives, and until then the newest reading counts as not evaluated by it.
"""

import math
from dataclasses import replace
from statistics import median

from monitor.effects import Flag
from monitor.inputs import Moment, Reading
from monitor.logic.scaling import to_si
from monitor.logic.state import Bucket, TagState
from monitor.rig import Tag
from monitor.units import STATES

PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9

BUCKET = 10.0
"""Seconds of one bucket of the trail: short enough for a 30 s mean."""
TRAIL = 90
"""Buckets kept, 15 min: the longest mean used is the flow of the 10 min before a loss."""
BAD_IN_A_ROW = 3
BAD_SHARE = 0.2
BAD_WINDOW_MINUTES = 10
BAD_AT_LEAST = 5
"""Three bad readings in a row, or over 20 % of ten minutes, make a faulty sensor (common
practice, no source); at least five, so that one bad reading of a slow sensor is none."""
GOOD_AGAIN = 600.0
"""Seconds without a bad reading after which a fault is over (common practice, no source)."""
REAL_STEP = 4
"""So many readings that agree with each other, not with the past, are a real step."""


Minutes = tuple[tuple[int, int, int], ...]
"""(minute, bad readings, all readings) of the last ten minutes."""


def gross_range(
    value: float, fail: tuple[float, float] | None, suspect: tuple[float, float] | None
) -> int:
    """QARTOD test 4: 4 outside what the sensor can say, 3 outside what is credible here."""
    if not math.isfinite(value) or (fail is not None and not fail[0] <= value <= fail[1]):
        return FAIL
    if suspect is not None and not suspect[0] <= value <= suspect[1]:
        return SUSPECT
    return PASS


def spike(before: float, value: float, after: float, low: float, high: float) -> int:
    """QARTOD test 6 on the middle one of three: distance from the mean of its neighbours."""
    distance = abs(value - (before + after) / 2.0)
    if distance > high:
        return FAIL
    return SUSPECT if distance > low else PASS


def too_fast(value: float, last: float, seconds: float, step: float, rate: float) -> bool:
    """QARTOD test 7 with physical bounds: a change beyond one step plus the fastest true rate."""
    return abs(value - last) > step + rate * seconds


def flat_line(seconds_unchanged: float, suspect_after: float) -> int:
    """QARTOD test 8 by time: 3 when the value has not moved for longer than this.

    Steady water is legitimately flat, so a flat line is recorded and never silences a limit.
    """
    return SUSPECT if seconds_unchanged > suspect_after else PASS


def take(tag: Tag, state: TagState, reading: Reading) -> tuple[TagState, tuple[Flag, ...]]:
    """Judge one reading: the new state of its tag, and the flags that are not 1.

    A reading older than one already taken changes nothing (it is still kept in the record). One
    that has a value and a word of doubt from its driver is suspect: its value is used, so that a
    contact that chatters still opens, and if doubt comes often the word is the sensor's fault.
    """
    at, boot = reading.moment.elapsed, reading.moment.boot
    if at < state.heard:
        return state, ()
    if reading.value is None:
        flag, test = (FAIL, reading.problem) if reading.problem else (MISSING, "no answer")
        return _refuse(state, at, test), (Flag(tag.id, at, flag, test, boot),)
    value, flag, test = _first_look(tag, reading.value)
    if flag == FAIL:
        return _refuse(state, at, test), (Flag(tag.id, at, FAIL, test, boot),)
    word = reading.problem
    if word:
        flag, test = SUSPECT, word
    flags = () if flag == PASS else (Flag(tag.id, at, flag, test, boot),)
    if tag.measures in STATES:
        return _accept_state(state, at, 1.0 if value >= 0.5 else 0.0, word), flags
    if _jumps(tag, state, value, at):
        rejected, real = _candidate(tag, state, value, at)
        if not real:
            return rejected, (Flag(tag.id, at, SUSPECT, "rate of change", boot),)
        state = replace(rejected, candidates=(), last=(), window=())
    return _accept(tag, state, at, value, word), flags + _look_back(
        tag, state, value, reading.moment
    )


def _first_look(tag: Tag, delivered: float) -> tuple[float, int, str]:
    if not math.isfinite(delivered):
        return delivered, FAIL, "not a number"
    if delivered in tag.start_up_values:
        return delivered, FAIL, "power-on value"
    value = to_si(tag, delivered)
    flag = gross_range(value, tag.sensor_range, tag.usual_range)
    return value, flag, "" if flag == PASS else "gross range"


def _jumps(tag: Tag, state: TagState, value: float, at: float) -> bool:
    if (tag.max_step is None and tag.max_rate is None) or not state.last:
        return False
    last, last_at = state.last[-1]
    return too_fast(value, last, at - last_at, tag.max_step or 0.0, tag.max_rate or 0.0)


def _candidate(tag: Tag, state: TagState, value: float, at: float) -> tuple[TagState, bool]:
    """A value that jumps: rejected, unless it is one of enough that agree with each other."""
    kept = state.candidates
    if kept and too_fast(
        value, kept[-1][0], at - kept[-1][1], tag.max_step or 0.0, tag.max_rate or 0.0
    ):
        kept = ()
    kept = (*kept, (value, at))
    refused = _refuse(state, at, "jumps", kept)
    return refused, len(kept) >= REAL_STEP


def _look_back(tag: Tag, state: TagState, value: float, now: Moment) -> tuple[Flag, ...]:
    """Flags that this reading allows: the spike test of the one before, and the flat line."""
    found: tuple[Flag, ...] = ()
    at, boot = now.elapsed, now.boot
    if tag.spike is not None and len(state.last) >= 2:
        (before, _), (middle, middle_at) = state.last[-2], state.last[-1]
        flag = spike(before, middle, value, *tag.spike)
        if flag != PASS:
            found += (Flag(tag.id, middle_at, flag, "spike", boot),)
    if tag.flat_after is not None and state.last and state.last[-1][0] == value:
        flag = flat_line(at - state.changed, tag.flat_after)
        if flag != PASS:
            found += (Flag(tag.id, at, flag, "flat line", boot),)
    return found


def _accept(tag: Tag, state: TagState, at: float, value: float, word: str) -> TagState:
    """The state after a good reading of a quantity. Built in one go: this runs for every one."""
    window = (*state.window, value)[-tag.median :]
    last = state.last
    fault, fault_since, good_since, minutes = _after_good(state, at, word)
    return TagState(
        value=value if tag.median == 1 else median(window),
        at=at,
        heard=at,
        window=window,
        last=(last[-1], (value, at)) if last else ((value, at),),
        trail=_trail(state.trail, at, value),
        bad_minutes=minutes,
        fault=fault,
        fault_since=fault_since,
        good_since=good_since,
        changed=state.changed if last and last[-1][0] == value else at,
    )


def _accept_state(state: TagState, at: float, value: float, word: str) -> TagState:
    fault, fault_since, good_since, minutes = _after_good(state, at, word)
    return TagState(
        value=value,
        at=at,
        heard=at,
        bad_minutes=minutes,
        fault=fault,
        fault_since=fault_since,
        good_since=good_since,
        changed=state.changed if state.value == value else at,
    )


def _after_good(state: TagState, at: float, word: str) -> tuple[str, float, float, Minutes]:
    """Fault, its start, start of the row of good readings, and counts after a usable reading.

    word: the driver's doubt about it, "" for none; a doubted reading counts as bad here.
    """
    minutes = _count(state.bad_minutes, at, bad=bool(word))
    good_since = at if state.bad_run or word else state.good_since
    fault, since = state.fault, state.fault_since
    if not fault and word and _often_bad(minutes):
        fault, since = word, at
    elif fault and at - good_since >= GOOD_AGAIN and not _often_bad(minutes):
        fault = ""
    return fault, since, good_since, minutes


def _refuse(
    state: TagState, at: float, why: str, candidates: tuple[tuple[float, float], ...] = ()
) -> TagState:
    """The state after a bad reading: counted, and a fault once there are enough of them."""
    run = state.bad_run + 1
    bad_since, word = (at, why) if run == 1 else (state.bad_since, state.bad_word)
    minutes = _count(state.bad_minutes, at, bad=True)
    fault, fault_since = state.fault, state.fault_since
    if not fault and (run >= BAD_IN_A_ROW or _often_bad(minutes)):
        fault, fault_since = word or "bad readings", bad_since
    return replace(
        state,
        heard=at,
        candidates=candidates,
        bad_run=run,
        bad_since=bad_since,
        bad_word=word,
        bad_minutes=minutes,
        good_since=at,
        fault=fault,
        fault_since=fault_since,
    )


def _count(minutes: Minutes, at: float, bad: bool) -> Minutes:
    """Bad and total readings by minute, the last ten kept."""
    minute = int(at // 60.0)
    if minutes and minutes[-1][0] == minute:
        _, bads, total = minutes[-1]
        return (*minutes[:-1], (minute, bads + bad, total + 1))
    kept = tuple(entry for entry in minutes if entry[0] > minute - BAD_WINDOW_MINUTES)
    return (*kept, (minute, int(bad), 1))


def _often_bad(minutes: Minutes) -> bool:
    bads = sum(entry[1] for entry in minutes)
    return bads >= BAD_AT_LEAST and bads > BAD_SHARE * sum(entry[2] for entry in minutes)


def _trail(trail: tuple[Bucket, ...], at: float, value: float) -> tuple[Bucket, ...]:
    key = int(at // BUCKET)
    if trail and trail[-1].key == key:
        last = trail[-1]
        grown = Bucket(key, last.count + 1, last.value_sum + value, last.time_sum + at)
        return (*trail[:-1], grown)
    return (*trail[-(TRAIL - 1) :], Bucket(key, 1, value, at))
