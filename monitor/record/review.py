"""Which alarms led to an action and which never did, with a proposed cure. Pure.

An alarm that never leads to an action teaches people to wait. `review` reads the journal of a run
once, in its order; what people did is taken from the events that the alarms were part of. Counts
are those of ISA-18.2 and EEMUA 191 as others quote them (the standards' own texts not seen); their
goals are for an attended desk and far too many for people who sleep.
"""

from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from monitor.effects import JournalRow
from monitor.logic.floods import BEGINS, ENDS, WITHIN
from monitor.setup import GRADES

STALE = 86_400.0
"""Seconds: an alarm that stands longer is stale."""
CHATTER, CHATTER_WITHIN = 3, 60.0
"""So many comings within so many seconds are chatter."""
ENOUGH = 3
"""Comings, shelves or withdrawals from which a cure is proposed (common practice, no source)."""
TOP = 10
_ACTED = ("on site", "flow proven", "flow seen again", "done", "looked at")
_ANSWERED = ("taken", "cannot come", *_ACTED)


@dataclass(slots=True)
class AlarmReview:
    """One alarm over the span. longest: seconds that it stood at most.

    came: how often people were to see it; suppressed, shelved, withdrawn: how often it was hidden.
    acted, answered: in how many of its events people did something, or answered at least.
    """

    alarm: str
    grade: str = "record"
    came: int = 0
    suppressed: int = 0
    shelved: int = 0
    withdrawn: int = 0
    chattered: int = 0
    longest: float = 0.0
    events: set[int] = field(default_factory=set)
    acted: int = 0
    answered: int = 0
    _since: float | None = None
    _recent: deque[float] = field(default_factory=deque)

    @property
    def cure(self) -> str:
        """What to try first, in words; the worst habit decides."""
        sensor = self.alarm.startswith(("sensor faulty/", "sensor silent/"))
        if self.chattered:
            return "comes and goes: a longer off-delay or a wider deadband; look at its place"
        if self.longest >= STALE:
            return "stands for days: mend it, or take it out of service with a check by hand"
        if sensor and self.came >= ENOUGH:
            return "mend sensor, cable or connector"
        if self.shelved + self.withdrawn >= ENOUGH:
            return "put aside again and again: give that work its own hold, or mend the cause"
        if self.acted:
            return "keep"
        if self.suppressed and not self.came:
            return "came only with a known cause: nothing to do"
        if self.came < ENOUGH:
            return "too few to judge" if self.came else "never came: does its sensor work?"
        if self.grade in ("urgent", "high"):
            return "never led to an action: a longer on-delay, another limit, or a lower grade"
        return "never led to an action: another limit, or only a line in the record"


@dataclass(slots=True)
class Review:
    """The alarms of a span, those that need a cure first; and how the people fared.

    most: alarms in the worst ten minutes. floods: how often there were too many at once.
    by_grade: comings by grade. texts, night_texts: sent at all, and in quiet hours.
    nights, nights_acted: events with a text in quiet hours, and those in which somebody acted.
    """

    alarms: dict[str, AlarmReview] = field(default_factory=dict)
    most: int = 0
    floods: int = 0
    by_grade: Counter[str] = field(default_factory=Counter)
    texts: int = 0
    night_texts: int = 0
    nights: int = 0
    nights_acted: int = 0

    @property
    def came(self) -> int:
        return sum(self.by_grade.values())

    @property
    def top_share(self) -> float:
        """Share of all comings that the ten most frequent alarms make; 0 where none came."""
        counts = sorted((alarm.came for alarm in self.alarms.values()), reverse=True)
        return sum(counts[:TOP]) / self.came if self.came else 0.0

    def worst_first(self) -> list[AlarmReview]:
        """Alarms by how often they came without an action, then by how often they came."""
        return sorted(
            self.alarms.values(), key=lambda item: (item.acted > 0, -item.came, item.alarm)
        )


def review(rows: Iterable[JournalRow], is_night: Callable[[float], bool]) -> Review:
    """The review of these journal rows, in their order. is_night: of a moment in UTC seconds."""
    result, events = Review(), _Events(is_night)
    last = 0.0
    recent: deque[float] = deque()
    flooded = False
    for row in rows:
        at = last = row.moment.utc
        if row.what == "alarm" and "/" in row.subject and row.state != "check missed":
            alarm = result.alarms.setdefault(row.subject, AlarmReview(row.subject))
            if _came(alarm, row, at) and row.grade != "record":
                result.by_grade[row.grade] += 1
                recent.append(at)
        events.take(row)
        while recent and at - recent[0] >= WITHIN:
            recent.popleft()
        result.most = max(result.most, len(recent))
        if len(recent) > BEGINS and not flooded:
            result.floods += 1
            flooded = True
        flooded = flooded and len(recent) >= ENDS
    for alarm in result.alarms.values():
        _stood(alarm, last)
    events.tell(result)
    return result


def _came(alarm: AlarmReview, row: JournalRow, at: float) -> bool:
    """Take one move of an alarm; whether it came, so that people were to see it."""
    trigger = row.cause.partition(":")[0]
    alarm.grade = max(alarm.grade, row.grade, key=_rank)
    if row.state not in ("UNACK", "ACKED"):
        _stood(alarm, at)
    alarm.suppressed += trigger == "suppress"
    alarm.shelved += trigger == "shelve"
    alarm.withdrawn += trigger == "withdraw"
    if row.state != "UNACK" or trigger not in ("true", "show true"):
        return False
    alarm._since = at
    alarm.came += 1
    alarm._recent.append(at)
    while at - alarm._recent[0] >= CHATTER_WITHIN:
        alarm._recent.popleft()
    alarm.chattered += len(alarm._recent) == CHATTER
    return True


def _stood(alarm: AlarmReview, at: float) -> None:
    if alarm._since is not None:
        alarm.longest = max(alarm.longest, at - alarm._since)
        alarm._since = None


def _rank(grade: str) -> int:
    return GRADES.index(grade) if grade in GRADES else -1


class _Events:
    """What became of each event: its alarms, whether people answered and acted, and at night."""

    def __init__(self, is_night: Callable[[float], bool]) -> None:
        self._is_night = is_night
        self._alarms: dict[int, set[str]] = {}
        self._said: dict[int, set[str]] = {}
        self._texts = self._night_texts = 0
        self._nights: set[int] = set()

    def take(self, row: JournalRow) -> None:
        number = int(row.subject) if row.subject.isdecimal() else 0
        if row.what == "event" and row.state in ("open", "joined") and row.cause:
            self._alarms.setdefault(number, set()).add(row.cause)
        elif row.what == "answer" and number:
            self._said.setdefault(number, set()).add(row.state)
        elif row.what == "text":
            self._texts += 1
            if self._is_night(row.moment.utc):
                self._night_texts += 1
                self._nights |= {number} if number else set()

    def tell(self, result: Review) -> None:
        """Put what became of the events to their alarms."""
        for number, alarms in self._alarms.items():
            said = self._said.get(number, set())
            for name in alarms:
                alarm = result.alarms.setdefault(name, AlarmReview(name))
                alarm.events.add(number)
                alarm.acted += bool(said.intersection(_ACTED))
                alarm.answered += bool(said.intersection(_ANSWERED))
        result.texts, result.night_texts = self._texts, self._night_texts
        known = [number for number in self._nights if number in self._alarms]
        result.nights = len(known)
        result.nights_acted = sum(
            bool(self._said.get(number, set()).intersection(_ACTED)) for number in known
        )


HEAD = ("alarm", "grade", "came", "events", "acted on", "put aside", "longest h", "cure")


def table(found: Review) -> Iterator[tuple[str, ...]]:
    """The alarms as rows of words under HEAD."""
    for alarm in found.worst_first():
        yield (
            alarm.alarm,
            alarm.grade,
            str(alarm.came),
            str(len(alarm.events)),
            str(alarm.acted),
            str(alarm.shelved + alarm.withdrawn),
            f"{alarm.longest / 3600.0:.1f}",
            alarm.cure,
        )


def lines(found: Review) -> Iterator[str]:
    """The review to read: what people went through, then alarm by alarm."""
    grades = ", ".join(f"{count} {grade}" for grade, count in found.by_grade.most_common())
    yield f"Alarms that came: {found.came} ({grades or 'none'}); most in ten minutes: {found.most}."
    yield f"Floods: {found.floods}. The ten most frequent make {found.top_share:.0%}."
    yield f"Texts: {found.texts}, in quiet hours {found.night_texts}."
    idle = found.nights - found.nights_acted
    yield f"Night events with a text: {found.nights}; without an action: {idle}."
    for row in table(found):
        name, grade, came, events, acted, aside, longest, cure = row
        yield (
            f"{name} ({grade}): came {came}, events {events}, acted on {acted}, put aside {aside},"
            f" longest {longest} h: {cure}."
        )
