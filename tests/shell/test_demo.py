"""The demo: the whole night on the simulated rig, and what can be typed into it."""

import io
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.archive import Reader
from monitor.config import load
from monitor.demo import Wishes, play
from monitor.demo.hands import understand
from monitor.demo.play import EVENT, sample
from monitor.demo.screen import Screen
from monitor.errors import HoldwaterError, RefusedInput
from monitor.inputs import Answer, Moment
from monitor.past import told
from monitor.simulator import Action

pytestmark = pytest.mark.long

HANG = 60.0
"""Seconds after which a failing test gives up."""
NOW = Moment(1, 1980.0, 1_792_304_280.0)
FULL = 1e-4


class Terminal(io.StringIO):
    """A terminal that is none."""

    def isatty(self) -> bool:
        return True


def texts(folder: Path) -> list[str]:
    """Who was told which turn, in order, from the files in the outbox."""
    found = []
    for path in sorted((folder / "outbox").glob("*.txt")):
        headers = dict(line.split(": ", 1) for line in path.read_text().splitlines()[:7])
        found.append(f"{headers['To']}: {headers['About']}")
    return found


@pytest.fixture(scope="module", params=["ostrel-hill", "first-night"])
def night(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, str]:
    """The night on each sample rig, played once: its folder, and what was printed."""
    folder, out = tmp_path_factory.mktemp("night"), io.StringIO()
    play(Wishes(sample(request.param, None), folder, speed=0.0), out, [])
    return folder, out.getvalue()


def test_night_is_played_to_its_proven_end(night: tuple[Path, str]) -> None:
    """Both sample rigs see the outage, call the first, remind, call the second, and prove flow."""
    folder, told = night

    assert [
        "Tavrin: supply lost",
        "Tavrin: siphon broken",
        "Tavrin: reminder",
        "Oskel: next call",
        "Oskel: power back, no flow",
        "Oskel: still no flow",
        "Oskel: flow proven",
        "Tavrin: flow proven",
    ] == texts(folder)
    assert f"The night is over: event {EVENT} is closed." in told


def test_what_the_demo_prints_suits_any_terminal(night: tuple[Path, str]) -> None:
    """Plain ASCII, no control signs, lines of at most 90 places but for names of folders."""
    folder, told = night

    assert told.isascii()
    assert "\r" not in told
    assert [] == [line for line in told.splitlines() if len(line) > 90 and str(folder) not in line]


def test_record_of_the_night_is_whole(night: tuple[Path, str]) -> None:
    """Set-up, readings, journal and deliveries are in the record."""
    with Reader(night[0] / "record.db") as reader:
        assert [1] == [version.version for version in reader.setups()]
        assert "closed" == reader.journal(event=EVENT)[-1].state
        assert reader.readings("MP")
        assert {"accepted"} == {row.state for row in reader.outbox()}


def test_why_is_told_from_the_record(night: tuple[Path, str]) -> None:
    """The record alone tells why it called, from the first sign to the end."""
    lines = told(night[0], EVENT)

    assert "01:18:10 condition mains lost/B1 true" in lines[0]
    assert any("to tavrin (supply lost): URGENT" in line for line in lines)
    assert any("condition siphon broken/S1 true" in line for line in lines)
    assert "event     41 closed by oskel [owed lines done]" in lines[-1]


class Stage(io.StringIO):
    """Output that lets the keyboard know when a word has been printed."""

    def __init__(self) -> None:
        super().__init__()
        self.third_call, self.taken = threading.Event(), threading.Event()

    def write(self, words: str) -> int:
        if "3RD CALL" in words:
            self.third_call.set()
        if "Lendow answers" in words:
            self.taken.set()
        return super().write(words)


def test_by_hand_nobody_answers_but_the_keyboard(tmp_path: Path) -> None:
    """Nobody takes the event by itself; what is typed is done or refused, and quit ends it."""
    out = Stage()

    def keyboard() -> Iterator[str]:
        yield from ["take 41", "nonsense", "", "oskel here 41", "open", "help"]
        assert out.third_call.wait(HANG)
        yield "lendow take 41 20"
        assert out.taken.wait(HANG)
        yield "quit"

    play(Wishes(sample("ostrel-hill", None), tmp_path, by_hand=True, speed=0.0), out, keyboard())
    shown = out.getvalue()

    assert "REFUSED: there is no event 41" in shown
    assert "'nonsense' is not known here; type help" in shown
    assert "(the siphon valve is set by hand)" in shown
    assert "Lendow answers: take 41 in 20 min" in shown
    assert "Tavrin answers: take 41" in shown
    assert f"event {EVENT} is taken." in shown


def test_terminal_has_one_line_of_progress() -> None:
    """Progress is drawn over itself and makes way for lines that stay."""
    out = Terminal()
    screen = Screen(out, shows_progress=True)
    screen.progress("01:30", 0.5)
    screen.line("01:41  SIPHON BROKEN")

    assert out.getvalue().startswith("\r01:30  [")
    assert out.getvalue().endswith("\r01:41  SIPHON BROKEN\n")
    assert " 50%" in out.getvalue()


@pytest.mark.parametrize(("out", "wanted"), [(io.StringIO(), True), (Terminal(), False)])
def test_progress_is_for_terminals_that_want_it(out: io.StringIO, wanted: bool) -> None:
    """A file gets no progress, and neither does a terminal in which somebody types."""
    Screen(out, shows_progress=wanted).progress("01:30", 0.5)

    assert "" == out.getvalue()


@pytest.mark.parametrize(
    ("line", "meant"),
    [
        ("take 41 30", Answer(NOW, "take", "tavrin", 41, 30.0, way="script")),
        ("Oskel TAKE 41", Answer(NOW, "take", "oskel", 41, way="script")),
        ("here", Answer(NOW, "here", "tavrin", way="script")),
        ("done 41 dead count", Answer(NOW, "done", "tavrin", 41, text="dead count", way="script")),
        ("prime", Action(NOW.elapsed, "prime", value=FULL)),
        ("shut", Action(NOW.elapsed, "valve", value=0.0)),
        ("open", Action(NOW.elapsed, "valve", value=FULL)),
        ("quit", None),
    ],
)
def test_typed_lines_are_understood(line: str, meant: object) -> None:
    """A line is an answer of whoever was texted last, or of the person named, or a hand's work."""
    setup = load(sample("ostrel-hill", None))

    assert meant == understand(setup, line, "tavrin", NOW, FULL)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("tak 41", "'tak' is not known here"),
        ("oskel", "what does oskel say"),
        ("take forty", "'forty' is no number"),
        ("take 41 soon", "'soon' is no number"),
        ("take 99999999999999", "is no number"),
        ("take \N{SUPERSCRIPT TWO}", "is no number"),
    ],
)
def test_typed_lines_that_mean_nothing_are_told(line: str, words: str) -> None:
    """What is not understood is told and changes nothing."""
    setup = load(sample("ostrel-hill", None))
    with pytest.raises(RefusedInput, match=words):
        understand(setup, line, "tavrin", NOW, FULL)


def test_missing_sample_is_told_with_the_remedy(tmp_path: Path) -> None:
    """Without the checkout the demo says which folder it wants."""
    with pytest.raises(HoldwaterError, match="sample_config of the checkout with --config"):
        sample("ostrel-hill", tmp_path)
