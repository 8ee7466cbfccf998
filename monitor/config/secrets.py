"""Passwords and tokens, in a file of their own that only the watch may read."""

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from shlex import quote

from monitor.config.folder import SECRETS, read_text
from monitor.config.sheet import Sheet, parse
from monitor.errors import Problem


class Secrets(Mapping[str, str]):
    """Secrets by name. Printing it shows the names only.

    It is a Mapping so that drivers and channels may be given a plain dict in its place.
    """

    __slots__ = ("_values",)

    def __init__(self, values: Mapping[str, str]) -> None:
        self._values = dict(values)

    def __getitem__(self, name: str) -> str:
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def __repr__(self) -> str:
        return f"Secrets({', '.join(self._values)})"


def _place(folder: Path) -> Path:
    """The file of the secrets: as handed over by the service manager, else in the folder.

    The service manager puts what its unit calls a credential into a folder that only this service
    can read (systemd.exec(5), LoadCredential).
    """
    handed_over = os.environ.get("CREDENTIALS_DIRECTORY", "")
    passed = Path(handed_over) / SECRETS
    return passed if handed_over and passed.exists() else folder / SECRETS


def may_read(folder: Path) -> bool:
    """Whether this user can read the secrets, or there are none."""
    path = _place(folder)
    return os.access(path, os.R_OK) or not os.access(path, os.F_OK)


def read_secrets(folder: Path, problems: list[Problem]) -> Secrets | None:
    """The secrets of a folder; none if it has no such file. Values stand in no message.

    None when the file cannot be made out, so that nobody knows which names there are.
    """
    path = _place(folder)
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return Secrets({})
    except OSError:
        mode = 0  # reading it tells what is wrong
    if mode & 0o077:
        wrong = "can be read by other users of this computer"
        remedy = f"Run: chmod 600 {quote(str(path))}"
        problems.append(Problem(SECRETS, None, "file", wrong, remedy))
    text = read_text(path, problems)
    sheet = parse(SECRETS, text, problems, secret=True) if text is not None else None
    if sheet is None or not sheet.is_there:
        return None
    return Secrets({name: _value(sheet, name) for name in sheet.data})


def _value(sheet: Sheet, name: str) -> str:
    value = sheet.data[name]
    if isinstance(value, str) and value and value.isprintable():
        return value
    wrong = "is not text in quotes, is empty, or holds a character that cannot be printed"
    sheet.problem((name,), wrong, 'Write: name = "the secret"')
    return ""
