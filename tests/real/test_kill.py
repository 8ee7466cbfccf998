"""kill -9 at any moment of an outage: no decided text is lost and the event goes on."""

from pathlib import Path

import pytest

from real.killing import campaign, record_night

pytestmark = pytest.mark.long

KILLS = 50


def test_fifty_kills_lose_no_text(tmp_path: Path) -> None:
    """Killed fifty times, the watch still sends every text of the night, and closes the event."""
    outcome = campaign(tmp_path, record_night(tmp_path), KILLS, seed=50)
    assert [] == outcome.wrong
    folders = [path.read_text() for path in tmp_path.rglob("*.txt")]
    assert all(any(row.text.body in content for content in folders) for row in outcome.rows)
