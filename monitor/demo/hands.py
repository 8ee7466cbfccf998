"""What somebody types into the demo by hand: answers to the watch, and hands on the siphon."""

from collections.abc import Callable, Iterable
from queue import SimpleQueue
from threading import Thread

from monitor.errors import RefusedInput
from monitor.inputs import Answer, Moment
from monitor.setup import Setup
from monitor.simulator import Action

HELP = (
    "  take 41 30      you take event 41 and will be there in 30 minutes",
    "  here 41         you are on site",
    "  cannot 41       you cannot come",
    "  prime           open the siphon valve and prime by hand;  shut, open: only the valve",
    "  flow 41         you have seen it run, by bucket",
    "  done 41 dead count    an owed line;  then: cause, timers",
    "  quit            end the demo",
    "A name in front answers for that person: oskel take 41. Else it is who was texted last.",
)

WAY = "script"
"""How the record says such answers came: they belong to the demo, not to a real person."""

_ACTIONS = {"prime": "prime", "shut": "valve", "open": "valve"}
_ANSWERS = ("take", "here", "cannot", "flow", "done")

Typed = Answer | Action | None


class Prompt:
    """Lines from the keyboard, read by a thread of their own so that the night goes on."""

    def __init__(self, lines: Iterable[str]) -> None:
        self._typed: SimpleQueue[str] = SimpleQueue()
        self._lines = lines
        Thread(target=self._read, name="keyboard", daemon=True).start()

    def _read(self) -> None:
        for line in self._lines:
            self._typed.put(line)

    def take(self, done: Callable[[str], None]) -> None:
        """Hand on every line typed since the last time."""
        while not self._typed.empty():
            line = self._typed.get().strip()
            if line:
                done(line)


def understand(setup: Setup, line: str, texted: str, now: Moment, full: float) -> Typed:
    """A typed line as an answer or an action on the rig; None is the wish to end.

    texted: who answers where no name is given. full: flow of the open valve, m3/s. RefusedInput
    tells what was not understood.
    """
    words = line.lower().split()
    who = words.pop(0) if words[0] in setup.person else texted
    if not words:
        raise RefusedInput(f"and what does {who} say?")
    word = words.pop(0)
    if word == "quit":
        return None
    if word in _ACTIONS:
        return Action(now.elapsed, _ACTIONS[word], value=0.0 if word == "shut" else full)
    if word not in _ANSWERS:
        raise RefusedInput(f"{word!r} is not known here; type help")
    event = _number(words.pop(0)) if words else None
    if word == "take":
        minutes = _number(words.pop(0)) if words else None
        return Answer(now, word, who, event, minutes, way=WAY)
    return Answer(now, word, who, event, text=" ".join(words), way=WAY)


def _number(word: str) -> int:
    if not (word.isascii() and word.isdigit() and len(word) <= 6):
        raise RefusedInput(f"{word!r} is no number")
    return int(word)
