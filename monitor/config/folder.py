"""Reading the files of a configuration folder as text. Nothing in them is judged here."""

import stat
from pathlib import Path

from monitor.errors import Problem, SetupError

FILES = {"rig.toml": True, "limits.toml": True, "duty.toml": True, "channels.toml": True,
         "run.toml": False}  # fmt: skip
"""The files of a set-up, in the order of their problems, and whether each must be there."""
SECRETS = "secrets.toml"
LARGEST = 262_144
"""Bytes. The fullest sample has under 20,000."""


def read_texts(folder: Path, problems: list[Problem]) -> dict[str, str]:
    """The texts of all files that can be read, without the secrets.

    SetupError if there is no folder to read from.
    """
    try:
        if not folder.is_dir():
            wrong = "is not a folder" if folder.exists() else "does not exist"
            remedy = "Give the folder in which rig.toml stands"
            raise SetupError([Problem(str(folder), None, "folder", wrong, remedy)])
        names = sorted(path.name for path in folder.iterdir())
    except (OSError, ValueError) as error:
        raise SetupError([_unreadable(str(folder), "folder", error)]) from error
    _strangers(names, problems)
    found = {name: read_text(folder / name, problems) for name in FILES if name in names}
    return {name: text for name, text in found.items() if text is not None}


def _strangers(names: list[str], problems: list[Problem]) -> None:
    """A file that is not read must not look as if it were."""
    for name in names:
        if name.endswith(".toml") and name not in FILES and name != SECRETS:
            known = ", ".join([*FILES, SECRETS])
            remedy = f"Rename it to what it is ({known}), or move it elsewhere"
            problems.append(Problem(name, None, "file", "is not read by holdwater", remedy))


def read_text(path: Path, problems: list[Problem]) -> str | None:
    """The text of one file, None and a problem if there is none to be had."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            wrong, remedy = "is not a plain file", "Put a text file in its place"
            problems.append(Problem(path.name, None, "file", wrong, remedy))
            return None
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except OSError as error:
        problems.append(_unreadable(path.name, "file", error))
        return None
    if len(content) > LARGEST:
        wrong, remedy = f"is larger than {LARGEST // 1024} KiB", "Take out what does not belong"
        problems.append(Problem(path.name, None, "file", wrong, remedy))
        return None
    return _decoded(path.name, content, problems)


def _decoded(name: str, content: bytes, problems: list[Problem]) -> str | None:
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        wrong = "holds bytes that are no text"
        remedy = "Save it as plain text in UTF-8"
        problems.append(Problem(name, line, "file", wrong, remedy))
        return None


def _unreadable(name: str, key: str, error: OSError | ValueError) -> Problem:
    said = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return Problem(name, None, key, f"cannot be read: {said}", "Look at its name, owner and mode")
