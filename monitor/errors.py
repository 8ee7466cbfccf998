"""Every error holdwater raises on purpose, as one tree.

HoldwaterError
├── SetupError          the configuration folder cannot be used; carries every problem found
├── RecordingError      a recording (CSV or JSON lines) cannot be read; names file and line
├── RefusedInput        what a person or a source sent cannot be taken; nothing has changed
│   └── IllegalTransition   the state table has no such move; nothing has changed
├── ArchiveError        the archive cannot be opened or written
└── ControlError        the watch cannot be reached, or refused the request
"""

from dataclasses import dataclass


class HoldwaterError(Exception):
    """Base of all errors raised on purpose; its text is fit to be shown to a person."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in the configuration: where it stands, what is wrong, what to do."""

    file: str
    line: int | None
    key: str
    wrong: str
    remedy: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line is not None else self.file
        return f"{place}: {self.key}: {self.wrong}. {self.remedy}"


class SetupError(HoldwaterError):
    """The configuration cannot be used; `problems` holds every one found, in file order."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


class RecordingError(HoldwaterError):
    """A recording cannot be read; the text names file, line and remedy."""


class RefusedInput(HoldwaterError):
    """An input was refused; the state is as it was before."""


class IllegalTransition(RefusedInput):
    """A state table has no move for this trigger; the state is as it was before."""


class ArchiveError(HoldwaterError):
    """The archive cannot be opened, read or written."""


class ControlError(HoldwaterError):
    """The running watch cannot be reached, or it refused the request."""
