"""The lines of a chip of pins, as the kernel gives them: the one place that touches hardware.

Uses libgpiod version 2 on the character device; the older interface below /sys is not used.
"""

import errno
import select
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from monitor.sources.polled import NoReading

if TYPE_CHECKING:
    import gpiod

PROBLEMS = ("no such chip", "no such line", "line in use", "no permission", "read error")
"""Every problem word of lines."""

CONSUMER = "holdwater"
"""What the kernel shows as the user of a line."""

BUFFER = 1024
"""Changes the kernel keeps for a line: 4 s of the fastest turbine (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LineSpec:
    """One line as it is asked of the chip. line: its number or its name. debounce: s.

    counts: whether it counts pulses, and not shows a state.
    """

    line: int | str
    pull: str
    active_low: bool
    debounce: float
    counts: bool


@dataclass(frozen=True, slots=True)
class Edge:
    """A change of a line, to active or away from it.

    number: which change of this line it is, counted by the kernel from 1, so that those are known
    too which came too fast to be kept.
    """

    tag: str
    active: bool
    number: int


class Lines(Protocol):
    """The lines of one chip. Each is opened by itself: a bad one does not hinder the others."""

    def open(self, tag: str, spec: LineSpec) -> None:
        """Ask for a line. Raises NoReading."""

    def is_active(self, tag: str) -> bool:
        """The state of a line. Raises NoReading."""

    def wait(self, seconds: float) -> list[Edge]:
        """Changes of the open lines, in their order; none after so many seconds."""

    def close(self, tag: str) -> None:
        """Give back a line, if it is open."""


class KernelLines:
    """Lines of a real chip. chip: its device file, or its label."""

    def __init__(self, chip: str) -> None:
        self._chip = chip
        self._requests: dict[str, gpiod.LineRequest] = {}

    def open(self, tag: str, spec: LineSpec) -> None:
        import gpiod

        try:
            with gpiod.Chip(self._path()) as chip:
                offset = _offset(chip, spec.line)
                self._requests[tag] = chip.request_lines(
                    {offset: _settings(spec)}, consumer=CONSUMER, event_buffer_size=BUFFER
                )
        except OSError as error:
            raise _failed(error, self._chip, spec) from error

    def is_active(self, tag: str) -> bool:
        try:
            request = self._requests[tag]
            return bool(request.get_value(request.offsets[0]).value)
        except (KeyError, OSError) as error:
            raise NoReading("read error", error) from error

    def wait(self, seconds: float) -> list[Edge]:
        ready, _, _ = select.select(list(self._requests.values()), [], [], seconds)
        edges: list[Edge] = []
        for tag, request in list(self._requests.items()):
            if request not in ready:
                continue
            try:
                edges += _edges(tag, request)
            except OSError:
                self.close(tag)  # the next look at its state tells that it is gone
        return edges

    def close(self, tag: str) -> None:
        if request := self._requests.pop(tag, None):
            request.release()

    def _path(self) -> str:
        """The device file of the chip. NoReading if no chip has this label."""
        import gpiod

        if self._chip.startswith("/"):
            return self._chip
        for path in sorted(map(str, Path("/dev").glob("gpiochip*"))):
            if gpiod.is_gpiochip_device(path):
                with gpiod.Chip(path) as chip:
                    if chip.get_info().label == self._chip:
                        return path
        raise NoReading("no such chip", f"no chip has the label {self._chip}")


def _offset(chip: "gpiod.Chip", line: int | str) -> int:
    try:
        return chip.line_offset_from_id(line)
    except (OSError, ValueError) as error:
        count = chip.get_info().num_lines
        raise NoReading("no such line", f"{line}: {error}; lines 0 to {count - 1}") from error


def _settings(spec: LineSpec) -> "gpiod.LineSettings":
    import gpiod
    from gpiod.line import Bias, Direction
    from gpiod.line import Edge as Detection

    bias = {
        "up": Bias.PULL_UP,
        "down": Bias.PULL_DOWN,
        "none": Bias.DISABLED,
        "as-is": Bias.AS_IS,
    }[spec.pull]
    return gpiod.LineSettings(
        direction=Direction.INPUT,
        edge_detection=Detection.RISING if spec.counts else Detection.BOTH,
        bias=bias,
        active_low=spec.active_low,
        debounce_period=timedelta(seconds=spec.debounce),
    )


def _edges(tag: str, request: "gpiod.LineRequest") -> list[Edge]:
    from gpiod import EdgeEvent

    return [
        Edge(tag, event.event_type is EdgeEvent.Type.RISING_EDGE, event.line_seqno)
        for event in request.read_edge_events()
    ]


def _failed(error: OSError, chip: str, spec: LineSpec) -> NoReading:
    """Why a line could not be had."""
    detail = f"{chip}, line {spec.line}: {error}"
    if isinstance(error, PermissionError):
        return NoReading("no permission", f"{detail}; is the user in the group gpio?")
    if error.errno == errno.EBUSY:
        return NoReading("line in use", detail)
    gone = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTTY, errno.EINVAL)
    return NoReading("no such chip" if error.errno in gone else "read error", detail)
