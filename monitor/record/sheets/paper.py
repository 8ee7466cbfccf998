"""What a sheet is made of: headings, words, tables with cells to write in. No HTML here."""

from dataclasses import dataclass

from monitor.setup import Setup

Cells = tuple[str, ...]
BLANK = ""
"""A cell to write in."""


@dataclass(frozen=True, slots=True)
class Block:
    """A part of a sheet. wide: share of the width of each column; empty: as the words need it.

    tall: rows have room for writing by hand.
    """

    title: str
    words: tuple[str, ...] = ()
    head: Cells = ()
    rows: tuple[Cells, ...] = ()
    wide: tuple[int, ...] = ()
    tall: bool = False
    small: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page. caution: where work on it can hurt. sign: lines to be signed at the foot."""

    name: str
    title: str
    about: str
    blocks: tuple[Block, ...]
    caution: tuple[str, ...] = ()
    sign: tuple[str, ...] = ()
    on_its_side: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """What stands at the head of every sheet. utc: when it was made."""

    setup: Setup
    utc: float

    @property
    def about(self) -> str:
        """Place, tank, age and version in one line."""
        run, dph = self.setup.run, self.setup.dph(self.utc)
        parts = [self.setup.rig.label]
        if run is not None:
            parts += [run.tank, f"run {run.id}"]
        if dph is not None:
            parts.append(f"dph {dph}")
        if self.setup.version:
            parts.append(f"set-up version {self.setup.version}")
        return f"{', '.join(parts)}. Made {self.date} {self.clock(self.utc)}, local time."

    @property
    def date(self) -> str:
        return f"{self.setup.local(self.utc):%a %d %b %Y}"

    def clock(self, utc: float) -> str:
        return f"{self.setup.local(utc):%H:%M}"

    def time(self, utc: float) -> str:
        """Day and clock time."""
        return f"{self.setup.local(utc):%a %d %b %H:%M}"


WET = (
    "Water on the floor near anything live: stay out, have the power cut upstream.",
    "Unplug a pump before hands go in: it starts when power returns.",
)
STEP = "Header and lamps: from a fixed step, not a bucket; tell somebody when you work alone."
LOCAL = "Local codes and licensed people prevail. This is no safety system for people."
