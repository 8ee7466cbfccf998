"""The folder channel: whole files, nothing lost, and trouble of the disk as an outcome."""

import errno
import os
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.channels import CHANNELS
from monitor.channels.base import Delivery, Message, Sender
from monitor.effects import Text
from monitor.errors import SetupError
from monitor.inputs import Moment
from monitor.setup import Channel, Person

TEXT = Text(
    12, 41, "oskel", "supply lost", "urgent", "MAINS OFF.", Moment(1, 5.0, 1_792_304_340.0), 900.0
)
MESSAGE = Message(
    TEXT,
    Person("oskel", "Oskel"),
    "Ostrel",
    datetime.fromtimestamp(TEXT.moment.utc, ZoneInfo("America/Chicago")),
)


def channel(folder: object) -> Sender:
    """The channel under test."""
    return CHANNELS["folder"](Channel("board", "folder", (("folder", folder),)), {})


def files(folder: Path) -> list[str]:
    """Names of everything in a folder, hidden or not."""
    return sorted(path.name for path in folder.iterdir())


def test_file_of_a_text(tmp_path: Path) -> None:
    """A text is one legible file, named by number and person."""
    folder = tmp_path / "texts"
    assert Delivery("accepted", "000012-oskel.txt") == channel(str(folder)).send(MESSAGE)
    assert ["000012-oskel.txt"] == files(folder)
    assert [
        "Number: 12",
        "Event: 41",
        "To: Oskel",
        "From: Ostrel watch",
        "Date: Sun, 18 Oct 2026 01:19:00 -0500",
        "Grade: urgent",
        "About: supply lost",
        "",
        "MAINS OFF.",
    ] == (folder / "000012-oskel.txt").read_text("utf-8").splitlines()


def test_repeat_writes_no_second_file(tmp_path: Path) -> None:
    """The same text again is the same file."""
    for _ in range(2):
        assert Delivery("accepted", "000012-oskel.txt") == channel(str(tmp_path)).send(MESSAGE)
    assert ["000012-oskel.txt"] == files(tmp_path)


def test_other_text_under_the_same_number_is_kept_beside(tmp_path: Path) -> None:
    """Where numbers began again, the older file stays."""
    other = replace(MESSAGE, text=replace(TEXT, body="TEST."))
    names = [channel(str(tmp_path)).send(message).detail for message in (MESSAGE, other, other)]
    assert ["000012-oskel.txt", "000012-oskel-2.txt", "000012-oskel-2.txt"] == names
    assert "MAINS OFF." in (tmp_path / "000012-oskel.txt").read_text("utf-8")


def test_hostile_names_stay_in_the_folder(tmp_path: Path) -> None:
    """No person and no header can name another folder or forge a line."""
    folder = tmp_path / "texts"
    person = Person("../../etc/x\x00" + "y" * 300, "Oskel\nGrade: record\ud800")
    delivery = channel(str(folder)).send(replace(MESSAGE, person=person))
    assert "accepted" == delivery.outcome
    assert [delivery.detail] == files(folder)
    assert ["texts"] == files(tmp_path)
    lines = (folder / delivery.detail).read_text("utf-8").splitlines()
    assert "To: Oskel Grade: record" == lines[2]


def test_missing_parent_is_worth_another_attempt(tmp_path: Path) -> None:
    """A stick that is not plugged in is not replaced by a folder on the card."""
    delivery = channel(str(tmp_path / "stick" / "texts")).send(MESSAGE)
    assert "retry" == delivery.outcome
    assert "No such file or directory" in delivery.detail
    assert [] == files(tmp_path)


def test_folder_that_is_a_file(tmp_path: Path) -> None:
    """A file where the folder should be is an outcome."""
    (tmp_path / "texts").write_text("")
    assert "retry" == channel(str(tmp_path / "texts")).send(MESSAGE).outcome


@pytest.mark.parametrize("trouble", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_disk_trouble_leaves_nothing_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trouble: int
) -> None:
    """When the disk does not take it there is no file, and a later attempt succeeds."""

    def fail(_file: int) -> None:
        raise OSError(trouble, os.strerror(trouble))

    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", fail)
        delivery = channel(str(tmp_path)).send(MESSAGE)
    assert Delivery("retry", f"{tmp_path}: {os.strerror(trouble)}") == delivery
    assert [] == files(tmp_path)
    assert "accepted" == channel(str(tmp_path)).send(MESSAGE).outcome


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a system with /dev/full")
def test_full_disk(tmp_path: Path) -> None:
    """A device that is really full is an outcome."""
    (tmp_path / ".000012-oskel.txt.part").symlink_to("/dev/full")
    delivery = channel(str(tmp_path)).send(MESSAGE)
    assert Delivery("retry", f"{tmp_path}: No space left on device") == delivery
    assert [] == files(tmp_path)


@pytest.mark.parametrize("folder", ["texts", "", 5, None])
def test_options_that_are_refused(folder: object) -> None:
    """The folder must be given by its full path."""
    with pytest.raises(SetupError, match="channel board: folder: "):
        channel(folder)
