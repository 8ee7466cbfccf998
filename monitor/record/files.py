"""Writing papers: never over a file, and under names that any system takes."""

import re
from pathlib import Path

from monitor.errors import HoldwaterError


def write_new(path: Path, text: str) -> Path:
    """Write a new text file; one that is there already is refused."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise HoldwaterError(f"{path} is there already; name another file") from error
    except OSError as error:
        raise HoldwaterError(f"{path}: cannot be written ({error.strerror})") from error
    return path


def plain_name(words: str) -> str:
    """A name fit for a file: small letters, figures and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-") or "run"
