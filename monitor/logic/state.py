"""What the watch remembers between two steps.

`Durable` must survive a crash and is replaced (never changed in place) only when something in it
changed, so the loop commits exactly then. `Running` (filters, delays in progress) is rebuilt from
new readings after a restart. All times are elapsed seconds of watch time.
"""

from dataclasses import dataclass, field
from typing import Any

from monitor.errors import HoldwaterError
from monitor.logic.aside import AsideRecord, FuelRecord, SuppressedRecord, WorksRecord
from monitor.logic.books import Books
from monitor.logic.change import Followed
from monitor.logic.duty_records import Exchange, Question, Sleeper, Storm
from monitor.logic.path_records import Lines, PathRecord
from monitor.logic.plaindata import must_be, plain, restore
from monitor.logic.slow import Minutes, Slow


@dataclass(frozen=True, slots=True)
class Bucket:
    """Sums of the accepted readings of ten seconds: count, values, times."""

    key: int
    count: int
    value_sum: float
    time_sum: float

    @property
    def value(self) -> float:
        return self.value_sum / self.count

    @property
    def at(self) -> float:
        return self.time_sum / self.count


@dataclass(frozen=True, slots=True)
class TagState:
    """What is known of one tag.

    value: the last accepted value in SI, smoothed by the tag's median; at: when it was read.
    heard: when anything last arrived, good or bad. window: last accepted values for the median.
    last: the last three judged values with their times, for the spike test.
    candidates: rejected values that agree with each other (a real step, if enough of them do).
    bad_run: bad readings in a row, since bad_since; bad_word: what was wrong with the first.
    bad_minutes: (minute, bad, all) readings of the last ten minutes.
    fault: the name of the fault in force ("" when none), since fault_since; good_since: start of
    the present unbroken row of good readings. changed: when the value last became what it is.
    """

    value: float | None = None
    at: float = float("-inf")
    heard: float = float("-inf")
    window: tuple[float, ...] = ()
    last: tuple[tuple[float, float], ...] = ()
    candidates: tuple[tuple[float, float], ...] = ()
    trail: tuple[Bucket, ...] = ()
    bad_run: int = 0
    bad_since: float = 0.0
    bad_word: str = ""
    bad_minutes: tuple[tuple[int, int, int], ...] = ()
    fault: str = ""
    fault_since: float = 0.0
    good_since: float = float("-inf")
    changed: float = float("-inf")


@dataclass(frozen=True, slots=True)
class ConditionState:
    """Truth of one condition with the times of its last changes; active is after the on-delay."""

    truth: bool
    since: float
    active: bool
    first_sign: float


@dataclass(frozen=True, slots=True)
class FlowState:
    """Flow to the larvae through one line: since when in band, since when none."""

    in_band_since: float | None = None
    outside: int = 0
    none_since: float | None = None
    seen_at: float = float("-inf")


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """State of one alarm (ISA-18.2 abbreviation), the event it belongs to, and its occurrence.

    beneath: whether the condition of an alarm that is hidden is true.
    """

    state: str
    since: float
    event: int = 0
    occurrence: int = 0
    grade: str = "record"
    beneath: bool = False


@dataclass(frozen=True, slots=True)
class SupplyRecord:
    """Supply into one header: lost or not, and how far the header is from full.

    short: m3 missing in the header at `changed`; it grows by outflow while lost and shrinks by
    the surplus while back. flow_before: siphon flow before the loss referred to the lip, m3/s.
    mains_not_off: whether supply went although the mains was on, or was not sensed.
    """

    lost_since: float | None = None
    back_since: float | None = None
    short: float = 0.0
    changed: float = 0.0
    flow_before: float | None = None
    float_open_since: float | None = None
    mains_not_off: bool = False


@dataclass(frozen=True, slots=True)
class SiphonRecord:
    """A siphon that lost its prime: latched until flow is proven.

    since: when flow ended. presumed: inferred, not seen. how: in words, for texts and record.
    """

    since: float
    presumed: bool
    how: str


@dataclass(frozen=True, slots=True)
class HoldRecord:
    """A feeding hold on one line: flow reduced or off by intent, with an end.

    lengthened: whether its end has been put off, which is done once.
    """

    line: str
    who: str
    start: float
    end: float
    lengthened: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """One turn that was told: its name and when."""

    turn: str
    at: float


@dataclass(frozen=True, slots=True)
class EventRecord:
    """One event from its first sign to its proven end; `number` is what people answer to.

    stage: "open", "taken", "on site", "flow proven", "closed". rank: how bad the worst turn was.
    called: people texted, in order, with the time. next_call: when the next person is due.
    losses: how many times supply was lost within it. asked: when a person's proof is asked again.
    led_by: in a flood, the graver event it goes with (0: none); it is not told for itself then.
    clear_since: since when no alarm of it is active; milder_since: none of those that call people.
    """

    number: int
    group: str
    vessel: str
    first_out: str
    first_sign: float
    opened: float
    grade: str
    stage: str = "open"
    rank: int = 0
    alarms: tuple[str, ...] = ()
    told: tuple[Told, ...] = ()
    called: tuple[Told, ...] = ()
    first_call: float | None = None
    next_call: float | None = None
    calls: int = 0
    taken_by: str = ""
    taken_at: float = 0.0
    promise: float | None = None
    reminded: float | None = None
    on_site: float | None = None
    losses: int = 0
    lost_since: float | None = None
    back_since: float | None = None
    no_flow_since: float | None = None
    no_flow_presumed: bool = False
    flow_since: float | None = None
    proven: float | None = None
    proven_by: str = ""
    asked: float | None = None
    clear_since: float | None = None
    milder_since: float | None = None
    owed: tuple[str, ...] = ()
    nagged: bool = False
    closed: float | None = None
    held: tuple[str, ...] = ()
    led_by: int = 0


def called_now(event: EventRecord) -> set[str]:
    """People texted since its calling began; an event that comes again begins a new one."""
    since = event.first_call if event.first_call is not None else event.opened
    return {item.turn for item in event.called if item.at >= since}


@dataclass(frozen=True, slots=True)
class Durable:
    """All that must last: alarms, events, latches, holds, what is put aside, duty, counters.

    aside, suppressed: by alarm. works: by place. asked_of: UTC start of the latest turn
    of duty whose people were asked. paths: by channel.
    """

    alarms: dict[str, AlarmRecord] = field(default_factory=dict)
    events: dict[int, EventRecord] = field(default_factory=dict)
    supplies: dict[str, SupplyRecord] = field(default_factory=dict)
    siphons: dict[str, SiphonRecord] = field(default_factory=dict)
    holds: dict[str, HoldRecord] = field(default_factory=dict)
    aside: dict[str, AsideRecord] = field(default_factory=dict)
    suppressed: dict[str, SuppressedRecord] = field(default_factory=dict)
    works: dict[str, WorksRecord] = field(default_factory=dict)
    fuel: FuelRecord | None = None
    slow: Slow = field(default_factory=Slow)
    next_event: int = 1
    next_text: int = 1
    exchanges: tuple[Exchange, ...] = ()
    questions: dict[int, Question] = field(default_factory=dict)
    sleeper: Sleeper | None = None
    storm: Storm | None = None
    asked_of: float = 0.0
    paths: dict[str, PathRecord] = field(default_factory=dict)
    lines: Lines = field(default_factory=Lines)


@dataclass(frozen=True, slots=True)
class Coming:
    """An alarm that came, and when; again: while it had not been over yet."""

    alarm: str
    at: float
    again: bool = False


@dataclass(frozen=True, slots=True)
class Running:
    """What is rebuilt after a restart.

    started: when this run of the watch began. duty_due, paths_due: elapsed time at which the duty
    list, and the ways to people, must be looked at again. dips: since when the flow of a line is
    down.
    comings: alarms that came lately, oldest first; flood: since when there are too many; freed:
    when one of the events that went with a graver one was last called for itself.
    """

    started: float
    tags: dict[str, TagState] = field(default_factory=dict)
    conditions: dict[str, ConditionState] = field(default_factory=dict)
    flows: dict[str, FlowState] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    followed: dict[str, Followed] = field(default_factory=dict)
    duty_due: float = float("-inf")
    paths_due: float = float("-inf")
    minutes: Minutes = field(default_factory=Minutes)
    dips: dict[str, float] = field(default_factory=dict)
    comings: tuple[Coming, ...] = ()
    flood: float | None = None
    freed: float = float("-inf")
    books: dict[str, Books] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class State:
    """Everything a step starts from."""

    durable: Durable
    running: Running


def fresh(first_event: int = 1) -> Durable:
    """Durable state of a watch that has never run; its first event gets this number."""
    return Durable(next_event=first_event)


def encode(durable: Durable) -> dict[str, Any]:
    """Durable state as plain JSON data (dict, list, str, float, int, bool, None)."""
    document = plain(durable)
    assert isinstance(document, dict)
    return document


def decode(data: dict[str, Any]) -> Durable:
    """Durable state from `encode`'s data; keys added by a later version are ignored.

    What cannot be read of the alarms put aside is left out, and they count as in force. Raises
    HoldwaterError when the data cannot be durable state.
    """
    try:
        document = must_be(data, dict)
        kept = {word: _readable(kind, document.get(word)) for word, kind in _PUT_ASIDE.items()}
        restored = restore(Durable, document | kept)
    except (TypeError, ValueError, OverflowError) as error:
        raise HoldwaterError(f"stored state cannot be read: {error}") from error
    assert isinstance(restored, Durable)
    return restored


_PUT_ASIDE: dict[str, type] = {"aside": AsideRecord, "suppressed": SuppressedRecord}


def _readable(kind: type, data: Any) -> dict[str, Any]:
    """The items of a table that can be read as this kind."""
    found = {}
    for key, item in data.items() if isinstance(data, dict) else ():
        try:
            restore(kind, item)
        except (TypeError, ValueError, OverflowError):
            continue
        found[key] = item
    return found
