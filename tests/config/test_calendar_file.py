"""Turns of duty out of an iCalendar file: shown, checked, and only then written."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from monitor.config import load
from monitor.config.calendar_file import import_rows, read_rows
from monitor.errors import HoldwaterError, SetupError

SAMPLE = Path(__file__).parents[2] / "sample_config" / "ostrel-hill"
NOW = datetime(2026, 11, 6, 12, tzinfo=UTC).timestamp()


def entry(title: str, start: str, end: str, more: str = "") -> str:
    """One entry; start and end with their parameters, as ":20261107T180000"."""
    return (
        f"BEGIN:VEVENT\r\nUID:{title}{start}\r\nDTSTAMP:20261101T000000Z\r\nSUMMARY:{title}\r\n"
        f"DTSTART{start}\r\nDTEND{end}\r\n{more}END:VEVENT\r\n"
    )


def calendar(folder: Path, *entries: str) -> Path:
    """A calendar file."""
    path = folder / "rota.ics"
    text = f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:test\r\n{''.join(entries)}END:VCALENDAR\r\n"
    path.write_text(text, encoding="utf-8")
    return path


def rows(folder: Path, *entries: str) -> list[tuple[str, str, str]]:
    """Start, end and order of what is read."""
    return [
        (f"{row.start:%a %d %b %H:%M}", f"{row.end:%a %d %b %H:%M}", " ".join(row.order))
        for row in read_rows(calendar(folder, *entries), load(SAMPLE), NOW, 30)
    ]


def test_times_of_every_kind(tmp_path: Path) -> None:
    """Site time without a zone, UTC, and whole days, which run from evening to evening."""
    assert [
        ("Sat 07 Nov 18:00", "Sun 08 Nov 18:00", "tavrin oskel"),
        ("Mon 09 Nov 18:00", "Tue 10 Nov 07:00", "oskel tavrin"),
        ("Wed 11 Nov 18:00", "Fri 13 Nov 18:00", "korrin lendow"),
    ] == rows(
        tmp_path,
        entry("Oskel / Tavrin", ":20261110T000000Z", ":20261110T130000Z"),
        entry("Tavrin, Oskel", ":20261107T180000", ":20261108T180000"),
        entry("S. Korrin and lendow", ";VALUE=DATE:20261111", ";VALUE=DATE:20261113"),
    )


def test_entries_that_repeat(tmp_path: Path) -> None:
    """Each second Friday, less one: the turns of the days asked for."""
    rule = "RRULE:FREQ=WEEKLY;BYDAY=FR\r\nEXDATE:20261120T180000\r\n"
    found = rows(tmp_path, entry("Oskel, Tavrin", ":20261106T180000", ":20261107T180000", rule))
    assert ["Fri 06 Nov 18:00", "Fri 13 Nov 18:00", "Fri 27 Nov 18:00", "Fri 04 Dec 18:00"] == [
        start for start, _, _ in found
    ]


@pytest.mark.parametrize(
    ("entries", "wrong"),
    [
        ((entry("Nemo", ":20261107T180000", ":20261108T180000"),), "'Nemo' is nobody of duty.toml"),
        ((entry("", ":20261107T180000", ":20261108T180000"),), "names nobody"),
        (
            (entry("Oskel", ":20261101T073000Z", ":20261108T180000Z"),),
            "cannot be written as a site",
        ),
        (("BEGIN:VEVENT\r\n",), "is no calendar"),
    ],
)
def test_entries_that_cannot_be_turns(tmp_path: Path, entries: tuple[str, ...], wrong: str) -> None:
    """Each is refused by name, and nothing is written."""
    with pytest.raises(HoldwaterError, match=r"rota\.ics") as refused:
        rows(tmp_path, *entries)
    assert wrong in str(refused.value)


def test_preview_and_write(tmp_path: Path) -> None:
    """Without --write nothing changes; with it the folder has the turns, once."""
    folder = tmp_path / "hill"
    shutil.copytree(SAMPLE, folder)
    file = calendar(tmp_path, entry("Korrin", ":20261107T180000", ":20261108T180000"))
    before = (folder / "duty.toml").read_text(encoding="utf-8")
    shown = import_rows(file, folder, NOW, 30, write=False)
    assert "start = 2026-11-07 18:00:00" in shown
    assert "one person only" in shown
    assert before == (folder / "duty.toml").read_text(encoding="utf-8")
    import_rows(file, folder, NOW, 30, write=True)
    assert ("korrin",) == load(folder).duty.turns[-1].order
    assert "has no turn" in import_rows(file, folder, NOW, 30, write=True)


def test_rows_that_overlap_what_is_there_are_refused(tmp_path: Path) -> None:
    """A turn over one that is written already: the folder stays as it was."""
    folder = tmp_path / "hill"
    shutil.copytree(SAMPLE, folder)
    file = calendar(tmp_path, entry("Oskel", ":20261104T180000", ":20261106T180000"))
    before = (folder / "duty.toml").read_text(encoding="utf-8")
    with pytest.raises(SetupError, match="overlaps the turn in line"):
        import_rows(file, folder, datetime(2026, 11, 1, tzinfo=UTC).timestamp(), 30, write=True)
    assert before == (folder / "duty.toml").read_text(encoding="utf-8")


def test_hostile_files(tmp_path: Path) -> None:
    """No file, bytes that are no text, and one that is far too large."""
    for content in (None, b"\xff\xfe\x00", b"A" * 2_100_000):
        path = tmp_path / "rota.ics"
        if content is not None:
            path.write_bytes(content)
        with pytest.raises(HoldwaterError, match=r"rota\.ics"):
            read_rows(path, load(SAMPLE), NOW, 30)
