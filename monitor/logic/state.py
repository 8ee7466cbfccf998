"""What the watch remembers between two steps.

`Durable` must survive a crash and is replaced (never changed in place) only when something in it
changed, so the loop commits exactly then. `Running` (filters, delays in progress) is rebuilt from
new readings after a restart. All times are elapsed seconds of watch time.
"""

from dataclasses import dataclass, field, fields, is_dataclass
from math import isfinite
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from monitor.errors import HoldwaterError
from monitor.logic.change import Followed


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
    """State of one alarm (ISA-18.2 abbreviation), the event it belongs to, and its occurrence."""

    state: str
    since: float
    event: int = 0
    occurrence: int = 0
    grade: str = "record"


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
    """A feeding hold on one line: flow reduced or off by intent, with an end."""

    line: str
    who: str
    start: float
    end: float


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


def called_now(event: EventRecord) -> set[str]:
    """People texted since its calling began; an event that comes again begins a new one."""
    since = event.first_call if event.first_call is not None else event.opened
    return {item.turn for item in event.called if item.at >= since}


@dataclass(frozen=True, slots=True)
class Durable:
    """All that must last: alarms, events, latches, holds and the counters."""

    alarms: dict[str, AlarmRecord] = field(default_factory=dict)
    events: dict[int, EventRecord] = field(default_factory=dict)
    supplies: dict[str, SupplyRecord] = field(default_factory=dict)
    siphons: dict[str, SiphonRecord] = field(default_factory=dict)
    holds: dict[str, HoldRecord] = field(default_factory=dict)
    next_event: int = 1
    next_text: int = 1


@dataclass(frozen=True, slots=True)
class Running:
    """What is rebuilt after a restart. started: when this run of the watch began."""

    started: float
    tags: dict[str, TagState] = field(default_factory=dict)
    conditions: dict[str, ConditionState] = field(default_factory=dict)
    flows: dict[str, FlowState] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    followed: dict[str, Followed] = field(default_factory=dict)


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
    plain = _plain(durable)
    assert isinstance(plain, dict)
    return plain


def decode(data: dict[str, Any]) -> Durable:
    """Durable state from `encode`'s data; keys added by a later version are ignored.

    Raises HoldwaterError when the data cannot be durable state.
    """
    try:
        restored = _restore(Durable, data)
    except (TypeError, ValueError, OverflowError) as error:
        raise HoldwaterError(f"stored state cannot be read: {error}") from error
    assert isinstance(restored, Durable)
    return restored


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: _plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


def _restore(wanted: Any, data: Any) -> Any:
    """A value of the wanted type; TypeError or ValueError where the data is of another kind."""
    origin, arguments = get_origin(wanted), get_args(wanted)
    if origin in (Union, UnionType):
        if data is None:
            return None
        return _restore(next(kind for kind in arguments if kind is not NoneType), data)
    if is_dataclass(wanted) and isinstance(wanted, type):
        held, hints = _must_be(data, dict), get_type_hints(wanted)
        return wanted(**{key: _restore(hints[key], held[key]) for key in hints if key in held})
    if origin is dict:
        key_kind, item_kind = arguments
        return {
            key_kind(key): _restore(item_kind, item) for key, item in _must_be(data, dict).items()
        }
    if origin is tuple:
        return tuple(_restore(arguments[0], item) for item in _must_be(data, list))
    if wanted is float:
        return _number(data)
    if isinstance(data, bool) and wanted is not bool:
        raise TypeError(f"{data!r} is not {wanted.__name__}")
    return _must_be(data, wanted)


def _must_be(data: Any, kind: type) -> Any:
    if not isinstance(data, kind):
        raise TypeError(f"{data!r} is not {kind.__name__}")
    return data


def _number(data: Any) -> float:
    """A time or an amount; what is not finite would never come due."""
    if isinstance(data, bool) or not isinstance(data, int | float) or not isfinite(data):
        raise TypeError(f"{data!r} is not a finite number")
    return float(data)
