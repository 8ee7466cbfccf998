"""The folder channel: each text is one file, for a screen, a printer or a first try without mail.

A file is there whole or not at all: it is written beside its place, forced to the disk, and then
renamed.
"""

import os
import re
from email.utils import format_datetime
from itertools import count
from pathlib import Path
from typing import Annotated

from pydantic import ConfigDict, Field
from pydantic.dataclasses import dataclass as checked

from monitor.channels.base import Delivery, Message, Secrets, many_lines, one_line, read_options
from monitor.errors import Problem, SetupError
from monitor.setup import Channel


@checked(frozen=True, slots=True, config=ConfigDict(extra="forbid", strict=True))
class FolderOptions:
    """folder: full path. It is made if only its last part is missing."""

    folder: Annotated[str, Field(min_length=1)]


class FolderChannel:
    """One folder. Building it checks the options; SetupError names them."""

    def __init__(self, setup: Channel, _secrets: Secrets) -> None:
        self.id = setup.id
        place = f"channel {setup.id}"
        options, problems = read_options(FolderOptions, setup.options, place)
        if options is not None and not Path(options.folder).is_absolute():
            wrong = f"{options.folder!r} is not a full path"
            problems.append(Problem(place, None, "folder", wrong, "Begin it with /"))
        if options is None or problems:
            raise SetupError(problems)
        self._folder = Path(options.folder)

    def send(self, message: Message) -> Delivery:
        content = _content(message)
        try:
            self._folder.mkdir(exist_ok=True)
            path = self._free_place(_name(message), content)
            _write_whole(path, content)
        except OSError as error:
            return Delivery("retry", f"{self._folder}: {error.strerror or error}")
        return Delivery("accepted", path.name)

    def _free_place(self, name: str, content: bytes) -> Path:
        """The file for a text; one with the same number and other words in it is never lost."""
        for turn in count(1):
            path = self._folder / (f"{name}.txt" if turn == 1 else f"{name}-{turn}.txt")
            if not path.exists() or path.read_bytes() == content:
                break
        return path


def _name(message: Message) -> str:
    person = re.sub(r"[^A-Za-z0-9_-]", "_", message.person.id)[:60]
    return f"{message.text.number:06d}-{person}"


def _content(message: Message) -> bytes:
    text = message.text
    headers = {
        "Number": str(text.number),
        "Event": str(text.event) if text.event else "none",
        "To": message.person.name,
        "From": f"{message.rig_label} watch",
        "Date": format_datetime(message.local_time),
        "Grade": text.grade,
        "About": text.turn,
    }
    lines = [f"{name}: {one_line(value)}" for name, value in headers.items()]
    return "\n".join([*lines, "", many_lines(text.body), ""]).encode("utf-8")


def _write_whole(path: Path, content: bytes) -> None:
    beside = path.with_name(f".{path.name}.part")
    try:
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError:
        beside.unlink(missing_ok=True)
        raise
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
