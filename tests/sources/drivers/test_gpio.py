"""Pins: contacts and pulses on a chip without hardware, and the way to a real chip."""

import errno
from pathlib import Path
from unittest.mock import MagicMock, create_autospec

import gpiod
import pytest
from gpiod.line import Bias, Direction, Edge

from monitor.rig import Tag
from monitor.setup import SourceSetup
from monitor.sources import gpio_lines
from monitor.sources.base import Source
from monitor.sources.gpio import gpio_on
from monitor.sources.gpio_lines import KernelLines, LineSpec
from monitor.sources.polled import NoReading
from sources.drivers.stage import StageClock, listen, rig, tag
from sources.drivers.worlds import Pins

FLOAT = tag("LHf", "float", "6 pull=up active_low=true", every=10.0)


def source(pins: Pins, *tags: Tag, **options: object) -> Source:
    """A source on played pins."""
    setup = SourceSetup("bus", "gpio", tuple(options.items()))
    return gpio_on(lambda _chip: pins, setup, rig(*tags), {})


def test_a_normally_closed_float_and_a_cut_wire() -> None:
    """A float that closes to ground reads closed; open it, or cut its wire, and it reads open."""
    clock = StageClock(15.0)
    pins = Pins(clock)
    pins.happen({"lines": {"6": True}})
    clock.plan(4.0, lambda: pins.happen({"edges": [["6", False, 1]]}))
    heard = listen(source(pins, FLOAT), clock)
    assert [(0.0, 1.0), (4.0, 0.0), (10.0, 0.0)] == [(s, value) for s, _, value, _ in heard]
    assert ["open LHf", "close LHf"] == pins.log


def test_how_lines_are_asked_for() -> None:
    """Pull, sense and debounce reach the chip; contacts have a debounce by themselves."""
    clock = StageClock(1.0)
    pins = Pins(clock)
    pins.happen({"lines": {"6": True, "WITNESS": True, "26": True}})
    seen: list[dict[str, LineSpec]] = []
    clock.plan(0.5, lambda: seen.append(dict(pins.opened)))
    listen(
        source(
            pins,
            FLOAT,
            tag("QW", "flow witness", "WITNESS debounce_ms=200"),
            tag("QS", "flow", "26 pull=down pulses_per_litre=450"),
        ),
        clock,
    )
    assert {
        "LHf": LineSpec(6, "up", True, 0.05, counts=False),
        "QW": LineSpec("WITNESS", "as-is", False, 0.2, counts=False),
        "QS": LineSpec(26, "down", False, 0.0, counts=True),
    } == seen[0]


def test_a_line_that_fails_is_asked_for_again() -> None:
    """A line that is gone gives its word each turn, and is asked for again each five seconds."""
    clock = StageClock(20.0)
    pins = Pins(clock)
    pins.happen({"lines": {"6": True, "13": False}})
    witness = tag("QW", "flow witness", "13", every=2.0)
    clock.plan(3.0, lambda: pins.happen({"faults": {"13": "read error"}}))
    clock.plan(13.0, lambda: pins.happen({"faults": {"13": ""}}))
    heard = listen(source(pins, FLOAT, witness), clock)
    found = [(s, value, problem) for s, name, value, problem in heard if name == "QW"]
    assert [(2.0, 0.0, ""), (4.0, None, "read error"), (6.0, None, "read error")] == found[1:4]
    assert [(16.0, None, "read error"), (18.0, 0.0, "")] == found[-2:]
    assert 4 == pins.log.count("open QW")
    assert [1.0, 1.0] == [value for _, name, value, _ in heard if name == "LHf"]


def test_a_chattering_contact_does_not_flood() -> None:
    """Over its limit a contact is read at its own pace only, with a word, until it is quiet."""
    clock = StageClock(100.0)
    pins = Pins(clock)
    pins.happen({"lines": {"6": True}})
    edges = [["6", number % 2 == 0, number] for number in range(1, 1001)]
    clock.plan(4.0, lambda: pins.happen({"edges": edges}))
    heard = listen(source(pins, FLOAT, chatter=20), clock)
    assert 1 + 20 == len([item for item in heard if item[0] < 10.0])
    assert ["chatters"] * 6 == [problem for s, *_, problem in heard if 10.0 <= s <= 64.0]
    assert ["", "", ""] == [problem for s, *_, problem in heard if s > 64.0]
    assert 30 == len(heard)


def test_pulses_are_counted_by_the_kernel() -> None:
    """Pulses that came too fast to be kept are in the kernel's own number, so none is lost."""
    clock = StageClock(25.0)
    pins = Pins(clock)
    pins.happen({"lines": {"26": True}})
    clock.plan(5.0, lambda: pins.happen({"edges": [["26", True, 3], ["26", True, 450]]}))
    clock.plan(15.0, lambda: pins.happen({"edges": [["26", True, 900]]}))
    heard = listen(source(pins, tag("Q", "flow", "26 pulses_per_litre=450")), clock)
    assert [(10.0, "Q", 6.0, ""), (20.0, "Q", 6.0, "")] == heard


def test_a_chip_that_is_not_there_is_told_and_looked_for(tmp_path: Path) -> None:
    """On this very computer: without the chip the word says so, and the source stays alive."""
    clock = StageClock(25.0)
    setup = SourceSetup("bus", "gpio", (("chip", str(tmp_path / "gpiochip0")),))
    heard = listen(gpio_on(KernelLines, setup, rig(FLOAT), {}), clock)
    assert [(0.0, "no such chip"), (10.0, "no such chip"), (20.0, "no such chip")] == [
        (s, problem) for s, _, _, problem in heard
    ]


@pytest.mark.parametrize("chip", ["/dev/null", "/etc/hostname", "no-such-label"])
def test_files_that_are_no_chip(chip: str) -> None:
    """A device file of something else, a plain file and an unknown label are no chip."""
    with pytest.raises(NoReading, match="no such chip"):
        KernelLines(chip).open("T", LineSpec(6, "up", True, 0.05, counts=False))


@pytest.fixture
def chip(monkeypatch: pytest.MonkeyPatch) -> MagicMock:
    """In place of the hardware: a chip with the signatures of the library's own."""
    played: MagicMock = create_autospec(gpiod.Chip, instance=True)
    played.__enter__.return_value = played
    played.get_info.return_value.num_lines = 54
    played.line_offset_from_id.return_value = 6
    monkeypatch.setattr(gpiod, "Chip", lambda _path: played)
    return played


SPEC = LineSpec("FLOAT1", "up", True, 0.2, counts=False)


def test_what_the_library_is_asked(chip: MagicMock) -> None:
    """A line is asked for as input, with pull, sense, debounce and both edges; pulses with one."""
    lines = KernelLines("/dev/gpiochip0")
    lines.open("LHf", SPEC)
    lines.open("QS", LineSpec(26, "none", False, 0.0, counts=True))
    chip.line_offset_from_id.assert_any_call("FLOAT1")
    contact, turbine = (call.args[0][6] for call in chip.request_lines.call_args_list)
    assert (Direction.INPUT, Edge.BOTH, Bias.PULL_UP, True, 0.2) == (
        contact.direction,
        contact.edge_detection,
        contact.bias,
        contact.active_low,
        contact.debounce_period.total_seconds(),
    )
    assert (Edge.RISING, Bias.DISABLED, False) == (
        turbine.edge_detection,
        turbine.bias,
        turbine.active_low,
    )
    assert {"consumer", "event_buffer_size"} == set(chip.request_lines.call_args.kwargs)


@pytest.mark.parametrize(
    ("error", "problem"),
    [
        (OSError(errno.EBUSY, "busy"), "line in use"),
        (PermissionError(errno.EACCES, "no"), "no permission"),
        (OSError(errno.ENODEV, "gone"), "no such chip"),
        (OSError(errno.EIO, "odd"), "read error"),
    ],
)
def test_errors_of_a_request(chip: MagicMock, error: OSError, problem: str) -> None:
    """Each error of asking for a line has its word."""
    chip.request_lines.side_effect = error
    with pytest.raises(NoReading, match=problem):
        KernelLines("/dev/gpiochip0").open("LHf", SPEC)


@pytest.mark.parametrize(
    "error", [OSError(errno.ENOENT, "no"), ValueError("line offset of out range")]
)
def test_a_line_that_is_not_there(chip: MagicMock, error: Exception) -> None:
    """An unknown name and a number beyond the chip are no line; the log says which there are."""
    chip.line_offset_from_id.side_effect = error
    with pytest.raises(NoReading, match="no such line") as caught:
        KernelLines("/dev/gpiochip0").open("LHf", SPEC)
    assert "lines 0 to 53" in str(caught.value.detail)


def test_states_and_changes_of_a_request(chip: MagicMock, monkeypatch: pytest.MonkeyPatch) -> None:
    """States and changes come through with their tag; a line that breaks is closed, not fatal."""
    requests = [create_autospec(gpiod.LineRequest, instance=True) for _ in range(2)]
    chip.request_lines.side_effect = requests
    rising = gpiod.EdgeEvent.Type.RISING_EDGE.value
    requests[0].offsets = [6]
    requests[0].get_value.return_value = gpiod.line.Value.ACTIVE
    requests[0].read_edge_events.return_value = [gpiod.EdgeEvent(rising, 5, 6, 9, 7)]
    requests[1].read_edge_events.side_effect = OSError(errno.ENODEV, "gone")
    monkeypatch.setattr(
        "monitor.sources.gpio_lines.select.select", lambda ready, *_: (ready, [], [])
    )
    lines = KernelLines("/dev/gpiochip0")
    lines.open("LHf", SPEC)
    lines.open("QW", SPEC)
    assert lines.is_active("LHf")
    assert [gpio_lines.Edge("LHf", True, 7)] == lines.wait(0.0)
    requests[1].release.assert_called_once()
    with pytest.raises(NoReading, match="read error"):
        lines.is_active("QW")
    lines.close("LHf")
    requests[0].release.assert_called_once()
