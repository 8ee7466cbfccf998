"""Photos beside the record, each under the hash of what is in it."""

import base64
import binascii
import hashlib
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TypeGuard

from monitor.errors import ControlError, RefusedInput

FOLDER = "photos"
LARGEST = 30_000_000
"""Bytes of a photo."""

PIECE = 600_000
"""Bytes sent at once: as text they fit into one line of the control socket."""

_HASH = re.compile(r"[0-9a-f]{64}")


class Photos:
    """The folder of photos in a state folder. A photo is never replaced: its name is its hash."""

    def __init__(self, state: Path) -> None:
        self._folder = state / FOLDER

    def take(self, data: Mapping[str, object]) -> bool:
        """Take a piece (sha256, from, piece in base64, size); whether the photo is whole now.

        RefusedInput where the whole is not what its hash says; the pieces are then dropped.
        """
        name, begin, size = data.get("sha256"), data.get("from"), data.get("size")
        if not isinstance(name, str) or not _HASH.fullmatch(name):
            raise ControlError("sha256: give the hash of the file in hexadecimal")
        if not _is_count(begin) or not _is_count(size) or size > LARGEST:
            raise ControlError(f"from, size: whole numbers of bytes, at most {LARGEST}")
        piece = _decoded(data.get("piece"))
        if begin + len(piece) > size:
            raise ControlError("piece: goes beyond the size")
        whole, partial = self._folder / name, self._folder / f"{name}.part"
        if whole.exists():
            return True
        try:
            self._folder.mkdir(exist_ok=True)
            with partial.open("r+b" if partial.exists() else "w+b") as file:
                file.seek(begin)
                file.write(piece)
            if begin + len(piece) < size:
                return False
            if _hash_of(partial) != name:
                partial.unlink()
                raise RefusedInput("the photo came in damaged; send it again")
            partial.rename(whole)
        except OSError as error:
            raise ControlError(f"{self._folder}: {error.strerror or error}") from error
        return True


def pieces(content: bytes) -> Iterator[dict[str, object]]:
    """What is to be sent of a photo, piece by piece."""
    name = hashlib.sha256(content).hexdigest()
    for begin in range(0, len(content), PIECE):
        piece = base64.b64encode(content[begin : begin + PIECE]).decode("ascii")
        yield {"sha256": name, "from": begin, "size": len(content), "piece": piece}


def _is_count(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def _decoded(text: object) -> bytes:
    try:
        return base64.b64decode(text if isinstance(text, str) else "", validate=True)
    except binascii.Error as error:
        raise ControlError("piece: give base64") from error


def _hash_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
