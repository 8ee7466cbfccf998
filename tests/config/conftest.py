"""The small rig on the disk."""

from pathlib import Path

import pytest

from config.small import SMALL


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the small rig."""
    for name, text in SMALL.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path
