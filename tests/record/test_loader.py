"""Rows taken as lumps say the same as readings looked at one by one."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.archive import Reader, Writer
from monitor.effects import Flag
from monitor.inputs import Moment, Reading
from monitor.record import loader
from monitor.record.days import day_row
from monitor.record.loader import Loader
from monitor.record.rows import DayRow
from monitor.record.spans import Span
from record.small import WATER, frame_of, with_tags

TAG = replace(WATER, every=15.0)
TAGS = {("TW1", 1): TAG}
FRAME = frame_of(date(2026, 10, 27), with_tags(TAG))
HOUR = 3600.0

Spell = tuple[float, float, float, str]
"""Hours, value, jitter in ms, and what is wrong: "", "gap", "bad" or "failed"."""

SPELLS = st.lists(
    st.tuples(
        st.sampled_from([0.05, 0.4, 1.0, 3.0]),
        st.sampled_from([25.6, 25.7, 26.0, 27.3, 27.4]),
        st.sampled_from([0.0, 40.0, 9000.0]),
        st.sampled_from(["", "", "", "gap", "bad", "failed"]),
    ),
    min_size=1,
    max_size=8,
)


def readings_of(spells: list[Spell]) -> Iterator[tuple[Reading, bool]]:
    """Readings of the thermometer each 15 s from 23:00 the day before, and whether each failed."""
    start = at = FRAME.span.start - HOUR
    for hours, value, jitter, wrong in spells:
        end = at + hours * HOUR
        while at < end:
            moment = Moment(1, at - start + (at * 7919.0 % 1.0 + at % 31 / 31) * jitter / 2e3, 0.0)
            moment = Moment(1, moment.elapsed, moment.elapsed + start)
            if wrong != "gap":
                swing = 0.0625 * (at // 15 % 3)
                problem = "no answer" if wrong == "bad" and at // 15 % 4 == 0 else ""
                yield Reading("TW1", moment, value + swing, problem), wrong == "failed"
            at += 15.0


def kept(folder: Path, spells: list[Spell]) -> Path:
    """An archive of these readings."""
    path = folder / "record.db"
    writer = Writer(path, "ostrel-1", "OH", lambda wrong, over: pytest.fail(wrong))
    writer.start(FRAME.span.start)
    writer.open_boot("first", 0.0)
    found = list(readings_of(spells))
    writer.readings([reading for reading, _ in found], {}, "OH-07")
    failed = [reading for reading, has_failed in found if has_failed]
    writer.flags([Flag("TW1", item.moment.elapsed, 4, "gross range") for item in failed])
    assert writer.close(20.0)
    return path


def row_of(path: Path) -> DayRow:
    """The row of the day out of an archive."""
    with Reader(path) as reader:
        return day_row(FRAME, Loader(reader, reader.timeline(), TAGS, Span(*FRAME.span)).read)


@pytest.mark.long
@settings(max_examples=25, deadline=None)
@given(spells=SPELLS)
def test_lumps_say_what_readings_say(
    tmp_path_factory: pytest.TempPathFactory, spells: list[Spell]
) -> None:
    """Everything is equal but the mean, which lies within a thousandth of a degree."""
    path = kept(tmp_path_factory.mktemp("lumps"), spells)
    quick = row_of(path)
    with patch.object(loader, "_lump", lambda *_: None):
        slow = row_of(path)
    (one,), (other,) = quick.temperatures, slow.temperatures
    assert [cover.gaps for cover in slow.coverage] == [cover.gaps for cover in quick.coverage]
    assert [cover.got for cover in slow.coverage] == [cover.got for cover in quick.coverage]
    assert pytest.approx(other.seen, abs=1e-6) == one.seen
    assert (other.low, other.high) == (one.low, one.high)
    assert pytest.approx(other.in_band, abs=1e-6) == one.in_band
    assert pytest.approx(other.mean, abs=1e-3) == one.mean


def test_most_rows_of_a_quiet_day_are_lumps(tmp_path: Path) -> None:
    """A day of even readings within its band is unpacked at midnight only."""
    path = kept(tmp_path, [(26.0, 26.4, 40.0, "")])
    with patch.object(loader, "_unpacked", wraps=loader._unpacked) as unpacked:
        row = row_of(path)
    assert unpacked.call_count <= 4
    assert pytest.approx(26.4625, abs=1e-3) == row.temperatures[0].mean
