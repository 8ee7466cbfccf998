"""Copies of the archive: whole, checked, and put back only when they are."""

from pathlib import Path

import pytest

from archive.keeping import PATIENCE, keeping, row
from monitor.archive import Reader
from monitor.archive.copies import copies_in, copy_to, restore
from monitor.errors import ArchiveError

NOW = 1_793_000_000.0


def kept(folder: Path, numbers: int) -> Path:
    """An archive with so many journal rows."""
    folder.mkdir(exist_ok=True)
    path = folder / "record.db"
    with keeping(path) as here:
        for number in range(numbers):
            assert here.writer.commit({"number": number}, [row(float(number))]).wait(PATIENCE)
    return path


def rows_of(path: Path) -> int:
    """Journal rows in an archive."""
    with Reader(path) as reader:
        return len(list(reader.journal()))


def test_copy_of_a_running_archive_is_whole(tmp_path: Path) -> None:
    """What was committed before the copy is in it, while the writer goes on."""
    path = tmp_path / "record.db"
    with keeping(path) as here:
        for number in range(20):
            assert here.writer.commit({"number": number}, [row(float(number))]).wait(PATIENCE)
        seen: list[tuple[int, int]] = []
        made = copy_to(path, tmp_path / "stick", NOW, 3, lambda *part: seen.append(part))
        assert here.writer.commit({"number": 20}, [row(20.0)]).wait(PATIENCE)

    assert "record-20261026T073320Z.db" == made.name
    assert rows_of(path) == rows_of(made) + 1
    assert seen[-1][0] == seen[-1][1]


def test_only_the_newest_are_kept(tmp_path: Path) -> None:
    """Older copies go, files that are none stay."""
    archive = kept(tmp_path, 2)
    stick = tmp_path / "stick"
    stick.mkdir()
    (stick / "holiday.jpg").write_text("x")
    made = [copy_to(archive, stick, NOW + day * 86_400.0, 2, lambda *_: None) for day in range(4)]

    assert made[2:] == copies_in(stick)
    assert (stick / "holiday.jpg").exists()


def test_what_cannot_be_copied_leaves_older_copies_alone(tmp_path: Path) -> None:
    """A damaged archive is told, and no copy is taken away for it."""
    archive = kept(tmp_path, 2)
    stick = tmp_path / "stick"
    good = copy_to(archive, stick, NOW, 1, lambda *_: None)
    content = bytearray(archive.read_bytes())
    content[100:] = b"\xff" * (len(content) - 100)
    archive.write_bytes(bytes(content))

    with pytest.raises(ArchiveError):
        copy_to(archive, stick, NOW + 60.0, 1, lambda *_: None)
    assert [good] == list(stick.iterdir())


def test_put_back_on_a_new_card(tmp_path: Path) -> None:
    """The copy becomes the record; what was there is moved aside and can still be read."""
    archive = kept(tmp_path / "old", 3)
    copy = copy_to(archive, tmp_path / "stick", NOW, 1, lambda *_: None)
    other = kept(tmp_path / "new", 5)
    before = rows_of(other)
    aside = restore(copy, other, NOW)

    assert rows_of(archive) == rows_of(other)
    assert aside is not None
    assert before == rows_of(aside)
    assert restore(copy, tmp_path / "empty" / "record.db", NOW) is None


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\0" + b"\xff" * 5000])
def test_a_damaged_copy_is_not_put_back(tmp_path: Path, content: bytes) -> None:
    """The record stays as it is."""
    archive = kept(tmp_path, 3)
    before = rows_of(archive)
    copy = tmp_path / "copy.db"
    copy.write_bytes(content)

    with pytest.raises(ArchiveError):
        restore(copy, archive, NOW)
    assert before == rows_of(archive)
    assert [] == list(tmp_path.glob("*.part"))
