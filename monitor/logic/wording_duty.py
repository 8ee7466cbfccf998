"""The texts about duty and storm footing: questions with a number, and what came of them.

They follow the rules of all texts (see `wording`): 160 places, clock times, how to answer last.
"""

from dataclasses import replace

from monitor.logic.duty_records import Question, Storm
from monitor.logic.gsm import Part, fit
from monitor.logic.scan import Scan
from monitor.logic.tale import dated
from monitor.logic.wording_care import person_name


def _head(scan: Scan, first: str) -> Part:
    return Part(f"{dated(scan, first, scan.setup.rig.label)}.")


def _from(scan: Scan, utc: float) -> str:
    return scan.site_clock(scan.t + utc - scan.now.utc)


def _wait(scan: Scan, question: Question) -> str:
    return scan.site_clock(question.wait)


def _reply(question: Question) -> Part:
    return Part(f"Reply OK {question.number}, or NO {question.number}.")


def question_text(scan: Scan, question: Question, then: str) -> str:
    """A question to one person; then: who is asked next, "" for nobody."""
    return fit(_QUESTIONS[question.kind](scan, question, then))


def _duty(scan: Scan, question: Question, then: str) -> list[Part]:
    begins, ends = _from(scan, question.start), _from(scan, question.end)
    if question.behalf:
        silent = person_name(scan, question.behalf)
        asked = Part(f"{silent} does not answer. Can you be first on duty from {begins}?")
    else:
        asked = Part(
            f"You are on duty from {begins} to {ends}.", 9, f"You are on duty from {begins}."
        )
    return [_head(scan, "DUTY"), asked, _no_answer(scan, question, then), _reply(question)]


def _no_answer(scan: Scan, question: Question, then: str) -> Part:
    wait = _wait(scan, question)
    if not then:
        return Part(f"No answer by {wait}: all are told.", 5)
    return Part(f"No answer by {wait}: {person_name(scan, then)} is asked.", 5)


def _swap(scan: Scan, question: Question, then: str) -> list[Part]:
    begins, ends = _from(scan, question.start), _from(scan, question.end)
    asker = person_name(scan, question.behalf)
    return [
        _head(scan, "SWAP"),
        Part(f"{asker} asks you to take the duty from {begins} to {ends}."),
        Part(f"No answer by {_wait(scan, question)}: {asker} stays on duty.", 5),
        _reply(question),
    ]


def _sign(scan: Scan, question: Question, then: str) -> list[Part]:
    return [
        _head(scan, "STORM"),
        Part("Are you well, and is the tank?"),
        _no_answer(scan, question, then),
        Part(f"Reply OK {question.number}."),
    ]


_QUESTIONS = {"duty": _duty, "swap": _swap, "sign": _sign}


def stands_in(scan: Scan, question: Question) -> str:
    """To who was first: somebody else is now."""
    return fit(
        [
            _head(scan, "DUTY"),
            Part(
                f"{person_name(scan, question.who)} is on duty from {_from(scan, question.start)}"
            ),
            Part("in your place. Nothing to do."),
        ]
    )


def nobody_answers(scan: Scan, question: Question, silent: list[str]) -> str:
    """To the lab manager, or to all: the night has nobody who said that he is there."""
    names = ", ".join(person_name(scan, person) for person in silent)
    what = "NO SIGN OF LIFE" if question.kind == "sign" else "NOBODY ANSWERS for duty"
    return fit(
        [
            _head(scan, "DUTY" if question.kind == "duty" else "STORM"),
            Part(f"{what} from {_from(scan, question.start)}."),
            Part(f"Asked: {names}.", 5),
            Part("Ring them, and go and look if nobody can be reached."),
        ]
    )


def swap_failed(scan: Scan, question: Question, said_no: bool) -> str:
    """To who asked for a swap: nothing has changed."""
    why = "cannot" if said_no else "has not answered"
    return fit(
        [
            _head(scan, "SWAP"),
            Part(f"{person_name(scan, question.who)} {why}."),
            Part(f"You stay on duty from {_from(scan, question.start)}."),
        ]
    )


def storm_began(scan: Scan, storm: Storm) -> str:
    """To all on the list: what is stricter now, and until when."""
    return fit(
        [
            _head(scan, "STORM FOOTING"),
            Part(
                f"By {person_name(scan, storm.who)}, till {_from(scan, storm.until)}.",
            ),
            Part(
                "Mains is told at once, nothing waits for the morning, you are asked for a sign of "
                "life each 2 hours.",
                9,
                "Mains told at once, nothing waits, a sign of life each 2 hours.",
            ),
            Part("Batteries, torch, primer?", 4),
        ]
    )


def storm_over(scan: Scan) -> str:
    """To all on the list: the usual footing again."""
    return fit([_head(scan, "STORM OVER"), Part("The usual footing again. Nothing to do.")])


def duty_texts(scan: Scan, number: int) -> list[tuple[str, str]]:
    """Every text about duty, as (turn, text), with times that have a day before them: as long as
    each can be."""
    people = list(scan.setup.person)
    who, other = people[0], people[-1]
    start, end = scan.now.utc + 90_000.0, scan.now.utc + 180_000.0
    asked = {
        kind: Question(number, kind, who, scan.t, scan.t + 90_000.0, start, end, behalf)
        for kind, behalf in (("duty", ""), ("swap", other), ("sign", other))
    }
    stand_in = replace(asked["duty"], behalf=other)
    return [
        *((f"asked: {kind}", question_text(scan, item, other)) for kind, item in asked.items()),
        ("asked: duty", question_text(scan, stand_in, "")),
        ("stands in", stands_in(scan, stand_in)),
        ("swap failed", swap_failed(scan, asked["swap"], said_no=False)),
        *(
            ("nobody answers", nobody_answers(scan, asked[kind], people))
            for kind in ("duty", "sign")
        ),
        ("storm footing", storm_began(scan, Storm(who, scan.t, end, scan.t))),
        ("storm over", storm_over(scan)),
    ]
