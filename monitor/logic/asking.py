"""Questions about duty: are you there tonight, will you swap; and what an answer or silence does.

On the first evening of a turn, and on each evening of storm footing, people are asked before the
night. No answer means that the next of the list is asked, while there is still time. A question
has a number of its own, so an answer to it never takes an event.
"""

from collections.abc import Iterable
from dataclasses import replace
from math import inf

from monitor.errors import RefusedInput
from monitor.inputs import Answer
from monitor.logic import duty, events, quiet, storm, telling, wording_duty
from monitor.logic.duty_records import Exchange, Question, Sleeper
from monitor.logic.scan import DAYS, Scan
from monitor.setup import DAY

BEFORE = 900.0
"""Seconds before a turn at which its people are asked (common practice, no source)."""
WAIT = 1800.0
"""Seconds until no answer counts as no (common practice, no source)."""
BEFORE_QUIET = 5400.0
"""Seconds before the quiet hours at which is asked for a turn that begins within them."""
LATE = 3 * 3600.0
"""Seconds after its beginning for which a turn is still asked about, after a restart."""


def follow(scan: Scan, anew: bool) -> None:
    """Carry questions, turns and storm footing on. anew: something happened, so look again."""
    if not scan.watch_set or not scan.setup.people:
        return
    if not anew and scan.t < scan.running.duty_due:
        scan.due(scan.running.duty_due)
        return
    before = scan.durable
    _forget_past(scan)
    for question in tuple(scan.durable.questions.values()):
        if scan.t >= question.wait:
            _pass_on(scan, question, said_no=False)
    asks = scan.now.trusted and scan.setup.duty.asks
    due = _ask_for_duty(scan) if asks else inf
    due = min(due, storm.follow(scan, ask), _ends(scan))
    due = min((due, *(item.wait for item in scan.durable.questions.values())))
    scan.set_duty_due(scan.t if scan.durable is not before else due)
    scan.due(due)


def _forget_past(scan: Scan) -> None:
    """Exchanges and a sleeper whose time is over, by a clock that is known to be right."""
    if not scan.now.trusted:
        return
    now, durable = scan.now.utc, scan.durable
    kept = tuple(item for item in durable.exchanges if now < item.end)
    sleeps = durable.sleeper is not None and now < durable.sleeper.until
    scan.keep(exchanges=kept, sleeper=durable.sleeper if sleeps else None)


def _ends(scan: Scan) -> float:
    """When, in elapsed seconds, the next of these ends."""
    ends = [item.end for item in scan.durable.exchanges]
    ends += [scan.durable.sleeper.until] if scan.durable.sleeper is not None else []
    return min((scan.t + end - scan.now.utc for end in ends), default=inf)


def _ask_for_duty(scan: Scan) -> float:
    """Ask for the next turn or storm evening once it is time; when, in elapsed seconds, that is."""
    now = scan.now.utc
    if scan.durable.asked_of == 0.0:
        scan.keep(asked_of=now)  # turns that began before the watch are not asked about
    after = max(scan.durable.asked_of, now - LATE)
    turn = duty.next_turn(scan.setup, scan.durable, after)
    evening = storm.next_evening(scan, after)
    if evening is not None and (turn is None or evening.start <= turn.start):
        turn = evening
    if turn is None:
        return inf
    at = _asked_at(scan, turn.start)
    if now < at:
        return scan.t + at - now
    if quiet.is_quiet(scan) and not storm.is_on(scan):
        return quiet.morning(scan)  # the watch was away at the time; nobody is woken for it
    scan.keep(asked_of=turn.start)
    both = storm.is_on(scan, turn.start)
    for person in turn.order[: 2 if both else 1]:
        ask(scan, Question(0, "duty", person, scan.t, scan.t + WAIT, turn.start, turn.end))
    return scan.t


def _asked_at(scan: Scan, start: float) -> float:
    """When is asked for a turn: shortly before it, or before the night in which it begins."""
    at = start - BEFORE
    begin, end = scan.setup.quiet
    clock = scan.setup.seconds_into_day(at)
    if begin <= end:
        return at
    if clock < end or clock >= begin:
        since = clock - begin if clock >= begin else clock + DAY - begin
        return at - since - BEFORE_QUIET
    return at


def ask(scan: Scan, question: Question) -> None:
    """Put a question to its person; it is given its number here."""
    question = replace(question, number=scan.take_event_number())
    scan.keep(questions={**scan.durable.questions, question.number: question})
    body = wording_duty.question_text(scan, question, next((i for i in _left(scan, question)), ""))
    turn = f"asked: {question.kind}"
    telling.say(scan, turn, "notice", (question.who,), body, question.number)


def tell(scan: Scan, turn: str, people: Iterable[str], body: str) -> None:
    """News about duty to each of these people."""
    telling.say(scan, turn, "notice", dict.fromkeys(people), body)


def _left(scan: Scan, question: Question) -> list[str]:
    """Who can still be asked, in the order of the list."""
    if question.kind == "swap":
        return []
    asked = {question.who, *question.passed}
    asked |= {
        item.who
        for item in scan.durable.questions.values()
        if (item.kind, item.start) == (question.kind, question.start)
    }
    order = duty.listed(scan.setup, scan.durable, question.start)
    return [name for name in order if name in scan.setup.person and name not in asked]


def _drop(scan: Scan, question: Question) -> None:
    left = {key: item for key, item in scan.durable.questions.items() if key != question.number}
    scan.keep(questions=left)


def _pass_on(scan: Scan, question: Question, said_no: bool) -> None:
    """No, or no answer: the next is asked, and once nobody is left the lab manager hears it."""
    _drop(scan, question)
    state = "no" if said_no else "no answer"
    scan.journal("answer", str(question.number), state, who=question.who, cause=question.kind)
    if question.kind == "swap":
        body = wording_duty.swap_failed(scan, question, said_no)
        tell(scan, "swap failed", (question.behalf,), body)
        return
    passed = (*question.passed, question.who)
    left = _left(scan, question)
    if left:
        behalf = question.behalf or question.who
        wait = scan.t + (question.wait - question.asked)
        ask(
            scan,
            replace(question, who=left[0], asked=scan.t, wait=wait, behalf=behalf, passed=passed),
        )
        return
    body = wording_duty.nobody_answers(scan, question, list(passed))
    manager = scan.setup.manager if question.kind == "duty" else ""
    people = (manager,) if manager in scan.setup.person else tuple(scan.setup.person)
    called = duty.order_at(scan.setup, scan.durable, scan.now.utc)
    tell(scan, "nobody answers", people if question.kind == "duty" else called, body)


# Answers of people


def question_for(scan: Scan, said: Answer) -> Question | None:
    """The question that an OK or NO is about: by its number, or the only one to this person while
    no event is open."""
    if said.kind not in ("take", "cannot", "here"):
        return None
    if said.event is not None:
        return scan.durable.questions.get(said.event)
    own = [item for item in scan.durable.questions.values() if item.who == said.who]
    open_events = any(map(events.is_open, scan.durable.events.values()))
    return own[0] if len(own) == 1 and not open_events else None


def settle(scan: Scan, question: Question, said: Answer) -> None:
    """An answer to a question. RefusedInput for one that was put to somebody else."""
    if said.who != question.who:
        asked = scan.setup.person[question.who].name if question.who in scan.setup.person else "?"
        raise RefusedInput(f"question {question.number} is put to {asked}")
    if said.kind == "cannot":
        _pass_on(scan, question, said_no=True)
        return
    _drop(scan, question)
    scan.journal("answer", str(question.number), "yes", who=said.who, cause=question.kind)
    if question.behalf and question.kind != "sign":
        change = Exchange(question.start, question.end, question.behalf, question.who)
        scan.keep(exchanges=(*scan.durable.exchanges, change))
        told = wording_duty.stands_in(scan, question)
        tell(scan, "stands in", (question.behalf,), told)


def swap(scan: Scan, said: Answer) -> None:
    """Ask somebody to take a night: `OSKEL`, `OSKEL SAT`, or nothing for the next of the list."""
    words = said.text.replace(",", " ").split()
    days = [place for word in words if (place := _weekday(word)) is not None]
    names = [_person(scan, word) for word in words if _weekday(word) is None]
    if len(days) > 1 or len(names) > 1:
        raise RefusedInput("a swap names one person and one day, such as SWAP OSKEL SAT")
    start, end = duty.night_of(scan.setup, scan.now.utc, days[0] if days else None)
    order = duty.listed(scan.setup, scan.durable, max(start, scan.now.utc))
    if said.who not in order:
        raise RefusedInput("you are not on the duty list of that night")
    others = [name for name in order if name != said.who]
    other = names[0] if names else next(iter(others), "")
    if other == said.who or other not in scan.setup.person:
        raise RefusedInput("name whom you ask, such as SWAP OSKEL")
    wait = scan.t + WAIT
    ask(scan, Question(0, "swap", other, scan.t, wait, start, end, behalf=said.who))


def _weekday(word: str) -> int | None:
    short = word[:3].capitalize()
    return DAYS.index(short) if short in DAYS and len(word) in (3, *_FULL[short]) else None


_FULL = {
    day: (len(full),)
    for day, full in zip(
        DAYS,
        ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"),
        strict=True,
    )
}


def _person(scan: Scan, word: str) -> str:
    """The person that a word names, by id or by a word of the name."""
    wanted = word.casefold()
    found = [
        person.id
        for person in scan.setup.people
        if wanted in (person.id.casefold(), *person.name.casefold().split())
    ]
    if len(found) != 1:
        raise RefusedInput(f"{word!r} is {'nobody' if not found else 'several people'} here")
    return found[0]


def sleep(scan: Scan, said: Answer) -> None:
    """Somebody sleeps on site tonight: called first, there in two minutes."""
    until = scan.setup.next_time_of_day(scan.now.utc, scan.setup.quiet[1])
    scan.keep(sleeper=Sleeper(said.who, until))
    scan.journal("answer", "sleep", "on site", who=said.who, cause=said.way)


def begin_storm(scan: Scan, said: Answer) -> None:
    """Storm footing begins, or gets another end; all on the list are told."""
    begun = storm.begin(scan, said)
    people = duty.order_at(scan.setup, scan.durable, scan.now.utc)
    tell(scan, "storm footing", people, wording_duty.storm_began(scan, begun))


def end_storm(scan: Scan, said: Answer) -> None:
    """Storm footing is over before its time."""
    if scan.durable.storm is None:
        raise RefusedInput("there is no storm footing to end")
    storm.end(scan, said.way, said.who)
    people = duty.order_at(scan.setup, scan.durable, scan.now.utc)
    tell(scan, "storm over", people, wording_duty.storm_over(scan))
