"""What a person wrote, read as one command: `OK 41 40`, `ok41`, `HOLD 45`, `NOTE ...`. Pure.

Tolerant where only one meaning is left (small letters, no blank, extra words, a quoted mail
below); where two are left nothing is taken and a question goes back. A wrong OK silences the
calling while nobody is on the way, a question costs a minute. docs/reference/answers.md says
the same at length.
"""

import re
from dataclasses import dataclass

from monitor.channels import duty_words
from monitor.channels.quoting import unquoted

COMMANDS = {
    "ok": "take",
    "here": "here",
    "no": "cannot",
    "flow": "flow",
    "done": "done",
    "dead": "done",
    "hold": "hold",
    "note": "note",
    "now": "now",
    "who": "who",
    "swap": "swap",
    "sleep": "sleep",
    "storm": "storm",
}
"""The first word of an answer, and the kind it is; "now" and "who" only ask."""

LONGEST_NOTE = 500
"""Letters of free text that the record takes; a text message has 160."""

LONGEST = 20_000
"""Letters that are looked at; nobody types more, and a machine may send megabytes."""

_WORD = r"(?:(?<![\w])(?<![\w]-))({})(?![^\W\d]|['\u2019-][^\W\d])".format("|".join(COMMANDS))
_COMMAND = re.compile(_WORD, re.I)
_SPACE = r"[\s,.:;#-]*"
_ENDS = r"(?![\w]|[.,:/][0-9])"
_EVENT = re.compile(rf"{_SPACE}([0-9]{{1,6}}){_ENDS}", re.A)
_UNIT = r"(?:min|mins|minutes?|m)\b"
_MINUTES = re.compile(
    rf"^(?:[\s,;]+(?:in\s+)?)([0-9]{{1,3}})(?:\s*{_UNIT}|{_ENDS}(?!\s*h))"
    rf"|\bin\s+([0-9]{{1,3}})(?:\s*{_UNIT}|{_ENDS}(?!\s*h))"
    rf"|(?<![\w.,:/-])([0-9]{{1,3}})\s*{_UNIT}",
    re.A | re.I,
)
_LOOSE_NUMBER = re.compile(r"(?<!\w)\d")
_AGAINST = re.compile(r"\b(?:not|no|never|cannot|(?:ca|wo|do)n?['\u2019]?t|or)\b", re.I)
_LENGTH = re.compile(
    rf"({_SPACE}(?:(?!for\b)[A-Za-z]\w*\s+)?)(?:for\s+)?"
    rf"([0-9]{{1,3}})(?:\s*{_UNIT}|{_ENDS}(?!\s*h))",
    re.A | re.I,
)
_TWO_NUMBERS = re.compile(rf"{_SPACE}([0-9]{{1,6}})(?:[\s,;]+([0-9]{{1,6}}))?{_ENDS}", re.A)
_STANDS_ALONE = re.compile(rf"\s*{_WORD}[\s0-9.#:-]*", re.A | re.I)


@dataclass(frozen=True, slots=True)
class Said:
    """One command. kind: one of inputs.ANSWER_KINDS, "now" or "who"; the rest as in Answer."""

    kind: str
    event: int | None = None
    minutes: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Misunderstood:
    """Nothing was taken. reason: for the record. reply: the question that goes back."""

    reason: str
    reply: str


def parse(
    text: str, thread: int | None = None, example: int = 41, lines: tuple[str, ...] = ()
) -> Said | Misunderstood:
    """The one command of a text, or why there is none.

    thread: the event whose mail this answers. example: number for the question that goes back.
    lines: names of the lines that a hold may name.
    """
    try:
        return _parse(text, thread, lines)
    except _Unclear as unclear:
        reply = unclear.reply.format(n=thread or example)
        return Misunderstood(unclear.reason, f"Not taken: {unclear.reason}. {reply}")


class _Unclear(Exception):
    """Two meanings, or none. In reply, {n} stands for the number of an event."""

    def __init__(self, reason: str, reply: str) -> None:
        self.reason, self.reply = reason, reply


HELP = "Send OK {n} to go, HERE {n}, NO {n}, FLOW {n}, HOLD 45, DONE {n} and the line, NOTE, NOW."
HOW_LONG = "Send HOLD 45 for 45 minutes, or HOLD END."
COUNT = "Send DEAD and the count, or DEAD {n} and the count."


def _parse(text: str, thread: int | None, lines: tuple[str, ...]) -> Said:
    paragraph, later = _first_paragraph(unquoted(text[:LONGEST]))
    found = _commands(paragraph)
    if not found:
        raise _Unclear("no command in it", HELP)
    word = found[0][1].lower()
    head, tail = paragraph[: found[0].start()], paragraph[found[0].end() :]
    if word == "note":
        return _note(tail, later)
    if len(found) > 1 or any(_STANDS_ALONE.fullmatch(line) for line in later):
        raise _Unclear("more than one command", "Send one thing a text, such as OK {n}.")
    if word in ("now", "who"):
        return Said(word)
    if word == "hold":
        return _hold(head, tail, lines)
    if word == "done":
        return _done(tail, thread)
    if word in duty_words.READ:
        return _duty(word, head, tail)
    if word == "dead":
        return _dead(head, tail, thread)
    return _numbered(word, head, tail, thread)


def _first_paragraph(lines: list[str]) -> tuple[str, list[str]]:
    """The lines up to the first empty one, and the lines after it."""
    filled = "\n".join(lines).strip().split("\n")
    end = next((at for at, line in enumerate(filled) if not line.strip()), len(filled))
    return "\n".join(filled[:end]), filled[end:]


def _commands(text: str) -> list[re.Match[str]]:
    """Words that are commands where they stand, and not just words of a sentence.

    That is the first word; a word with a number right behind it; a word alone in its sentence;
    and NOTE or DONE at the start of a line. What follows NOTE or DONE in its line is free.
    """
    found: list[re.Match[str]] = []
    free = -1
    for match in _COMMAND.finditer(text):
        if match.start() < free or not _is_command(text, match, may_be_first=not found):
            continue
        found.append(match)
        if match[1].lower() in ("note", "done"):
            end = text.find("\n", match.end())
            free = len(text) if end < 0 else end
    return found


def _is_command(text: str, match: re.Match[str], may_be_first: bool) -> bool:
    word = match[1].lower()
    before, after = text[: match.start()], text[match.end() :]
    if may_be_first and not re.search(r"\w", before):
        return True
    if word not in ("note", "now", "who") and _EVENT.match(after):
        return True
    starts_line = not before.rpartition("\n")[2].strip()
    if word in ("note", "done") and starts_line:
        return True
    starts_sentence = starts_line or before.rstrip()[-1:] in (".", ";", "!", "?")
    return starts_sentence and bool(re.match(r"[^\S\n]*(?:[.;!?\n]|$)", after))


def _check_clear(word: str, *texts: str) -> None:
    """Nothing may turn an answer round: a question mark, a not, a number without a place."""
    shown = word.upper()
    for text in texts:
        if "?" in text:
            raise _Unclear("it has a question mark", f"Send it without one, as {shown} {{n}}.")
        if word != "no" and _AGAINST.search(text):
            raise _Unclear("it says yes and no", f"Send only {shown} {{n}}, or NO {{n}}.")
        if _LOOSE_NUMBER.search(text) or any(
            sign.isnumeric() and not sign.isascii() for sign in text
        ):
            raise _Unclear(
                "a number in it has no place",
                f"Send {shown} {{n}}; to be there in 40 minutes, OK {{n}} 40 (digits 0 to 9).",
            )


def _numbered(word: str, head: str, tail: str, thread: int | None) -> Said:
    """OK, HERE, NO and FLOW: a number, minutes after OK, and words that change nothing."""
    number = _EVENT.match(tail)
    if number is None:
        if re.search(r"\w", head + tail):
            again = f"Send it with the number, such as {word.upper()} {{n}}."
            raise _Unclear("it has no event number", again)
        _check_clear(word, tail)
        return Said(COMMANDS[word], thread)
    event = int(number[1])
    minutes, rest = None, tail[number.end() :]
    if word == "ok" and (found := _MINUTES.search(rest)):
        minutes = float(next(group for group in found.groups() if group))
        rest = f"{rest[: found.start()]} {rest[found.end() :]}"
    # NO may be explained in any words: at worst the next is called.
    _check_clear(word, *(rest.split()[:1] if word == "no" else (head, rest)))
    if thread is not None and event != thread:
        raise _Unclear(
            f"you answered {thread} and wrote {event}",
            f"Send {word.upper()} {thread}; to be there in {event} minutes, OK {thread} {event}.",
        )
    return Said(COMMANDS[word], event, minutes, _words(rest))


def _words(text: str) -> str:
    """Free words for the record, on one line and no longer than it takes."""
    return " ".join(text.split()).strip(" .,;:!-")[:LONGEST_NOTE]


def _hold(head: str, tail: str, lines: tuple[str, ...]) -> Said:
    """HOLD 45, HOLD S1 45, HOLD END: one of the words may name the line."""
    over = re.match(rf"{_SPACE}(?:end|off|over|stop)\b", tail, re.I)
    number = over or _LENGTH.match(tail)
    if number is None:
        raise _Unclear("it says not how long", HOW_LONG)
    rest = tail[number.end() :]
    before = "" if over else number[1].strip(" \t\n,.:;#-")
    known = {line.casefold(): line for line in lines}
    if before and before.casefold() not in known:
        raise _Unclear(f"there is no line {before[:20]}", HOW_LONG)
    named = [
        known[word] for word in re.findall(r"\w+", f"{before} {rest}".casefold()) if word in known
    ]
    try:
        _check_clear("hold", head, rest)
    except _Unclear as unclear:
        raise _Unclear(unclear.reason, HOW_LONG) from None
    if len(set(named)) > 1:
        raise _Unclear("it names two lines", "Send one HOLD for each line.")
    line = named[0] if named else ""
    return Said("hold end", text=line) if over else Said("hold", None, float(number[2]), line)


def _duty(word: str, head: str, tail: str) -> Said:
    """SWAP, SLEEP and STORM: only whole, for a word of talk must not change who is called."""
    words = _words(tail)
    found = duty_words.READ[word](words) if len(words) <= duty_words.LONGEST else None
    if found is None or re.search(r"\w", head):
        raise _Unclear(f"{word.upper()} stands with other words", duty_words.HOW[word])
    kind, text = found
    return Said(kind, text=text)


def _done(tail: str, thread: int | None) -> Said:
    """DONE 41 and the owed line, with what was found behind it."""
    number = _EVENT.match(tail)
    words = _words(tail[number.end() :] if number else tail)
    if not words:
        raise _Unclear("it says not what is done", "Send DONE {n} and the line, as DONE {n} cause.")
    return Said("done", int(number[1]) if number else thread, None, words)


def _dead(head: str, tail: str, thread: int | None) -> Said:
    """DEAD 61 is a dead count of 61; DEAD 41 61 the one of event 41."""
    found = _TWO_NUMBERS.match(tail)
    if found is None:
        raise _Unclear("it has no count", COUNT)
    try:
        _check_clear("dead", head, tail[found.end() :])
    except _Unclear as unclear:
        raise _Unclear(unclear.reason, COUNT) from None
    event, count = (int(found[1]), found[2]) if found[2] else (thread, found[1])
    return Said("done", event, None, f"dead count: {int(count)}")


def _note(tail: str, later: list[str]) -> Said:
    words = " ".join(" ".join([tail, *later]).split()).strip(" :,-")
    if not words:
        raise _Unclear("the note is empty", "Send NOTE and what you saw.")
    if len(words) > LONGEST_NOTE:
        raise _Unclear(f"the note has over {LONGEST_NOTE} letters", "Send it in two.")
    return Said("note", text=words)
