"""What papers on a run are made from, taken out of the archive once.

Day rows, the journal of the run, what became of texts, set-ups with their time in force, and the
calibration by which stored readings become figures. Readings themselves are fetched when needed.
"""

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from monitor.archive import OutboxRow, Reader, SetupVersion
from monitor.archive.timeline import Timeline
from monitor.config import load_texts
from monitor.effects import JournalRow
from monitor.errors import HoldwaterError
from monitor.logic.scaling import to_si
from monitor.logic.state import Durable, decode, fresh
from monitor.record.frame import Force
from monitor.record.gather import Wish, day_table, forces_of
from monitor.record.notes import Entry, notebook
from monitor.record.privacy import Veil, veil_of
from monitor.record.rows import DayRow, EventOfDay
from monitor.record.show import Site, site_of
from monitor.record.spans import Span, Spans
from monitor.record.story import Story
from monitor.rig import Tag
from monitor.setup import Setup

Told = Callable[[str], None]
"""Is told what is being done, for a line of progress."""


@dataclass(frozen=True)
class Material:
    """One run, ready to be written about."""

    reader: Reader
    forces: tuple[Force, ...]
    site: Site
    rows: tuple[DayRow, ...]
    journal: tuple[JournalRow, ...]
    texts: tuple[OutboxRow, ...]
    versions: tuple[SetupVersion, ...]
    durable: Durable
    holds: dict[str, Spans]
    entries: tuple[Entry, ...] = ()

    @property
    def setup(self) -> Setup:
        """The set-up in force last."""
        return self.forces[-1].setup

    @property
    def run(self) -> str:
        assert self.setup.run is not None, "material is of a run"
        return self.setup.run.id

    @property
    def span(self) -> Span:
        """From the first midnight of the table to the last."""
        return Span(self.rows[0].span.start, self.rows[-1].span.end)

    @property
    def events(self) -> tuple[EventOfDay, ...]:
        return tuple(event for row in self.rows for event in row.events)

    @property
    def tags(self) -> tuple[Tag, ...]:
        """Every tag that the rig of the run ever had, by its latest description."""
        found = {tag.id: tag for force in self.forces for tag in force.setup.rig.tags}
        return tuple(found.values())

    @cached_property
    def timeline(self) -> Timeline:
        return self.reader.timeline()

    @cached_property
    def _starts(self) -> list[float]:
        return [force.span.start for force in self.forces]

    def setup_at(self, utc: float) -> Setup:
        """The set-up of the run in force at a moment; before the first, the first."""
        return self.forces[max(0, bisect_right(self._starts, utc) - 1)].setup

    def dph_at(self, utc: float) -> float:
        """Days post hatch with the part of the day that has gone by, by the hatch of today."""
        for row in self.rows:
            if row.span.start <= utc < row.span.end:
                return row.dph + (utc - row.span.start) / row.length
        edge, days = (self.rows[0], 0) if utc < self.span.start else (self.rows[-1], 1)
        border = self.span.start if utc < self.span.start else self.span.end
        return edge.dph + days + (utc - border) / 86_400.0

    @cached_property
    def _scales(self) -> dict[tuple[str, int], tuple[float, float]]:
        found = {}
        for force in self.forces:
            for tag in force.setup.rig.tags:
                zero = to_si(tag, 0.0)
                found[tag.id, tag.calibration] = (to_si(tag, 1.0) - zero, zero)
        return found

    def scale(self, tag: Tag, calibration: int) -> tuple[float, float]:
        """Gain and zero that make a stored value one in the unit of the tag, as then calibrated."""
        gain, zero = self._scales.get((tag.id, calibration), (to_si(tag, 1.0), 0.0))
        shown = tag.unit.from_si(zero)
        return tag.unit.from_si(gain + zero) - shown, shown

    def scale_at(self, tag: Tag, utc: float) -> tuple[float, float]:
        """The same for sums, which do not name their calibration: by the set-up in force then."""
        then = self.setup_at(utc).rig.tag.get(tag.id, tag)
        return self.scale(tag, then.calibration)


def material_of(
    reader: Reader, base: float = 0.0, told: Told = lambda _: None, run: str = ""
) -> Material:
    """A run of an archive, "" for the latest. HoldwaterError where there is none, or no day."""
    forces = forces_of(reader, run)
    rows = []
    for row in day_table(reader, Wish(base=base, run=run)):
        rows.append(row)
        told(f"day table: dph {row.dph}")
    if not rows:
        raise HoldwaterError("the record has no day of the run yet")
    begin, end = rows[0].span.start, rows[-1].span.end
    journal = reader.journal(begin, end, by="utc")
    document = reader.durable()
    durable = fresh() if document is None else decode(document)
    story = Story()
    for entry in journal:
        story.tell(entry, forces[-1].setup.delays.hold_overrun)
    return Material(
        reader=reader,
        forces=forces,
        site=site_of(reader, base),
        rows=tuple(rows),
        journal=tuple(journal),
        texts=tuple(row for row in reader.outbox() if begin <= row.text.moment.utc < end),
        versions=tuple(reader.setups()),
        durable=durable,
        holds=story.holds(durable),
        entries=notebook(reader, rows[0].run),
    )


def veil_for(material: Material, named: bool) -> Veil:
    """The veil for everybody who was ever in the set-up, of this run or another."""
    people = [
        person
        for version in material.versions
        for person in load_texts(version.files, version.version).people
    ]
    return veil_of(people, named)
