"""Curves of the record on the page."""

from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest

from monitor.errors import HoldwaterError
from monitor.page.curves import SPANS, curves
from monitor.simulator import Action, Story
from record.nights import keep

START = "2026-10-18T00:45:00"


@pytest.mark.long
@pytest.mark.parametrize("name", SPANS)
def test_curves_of_a_night(tmp_path: Path, name: str) -> None:
    """Every tag that was read has a drawing, with its limits, the event and clock times."""
    keep(Story("cut", START, 3600.0, actions=(Action(1800.0, "mains off"),)), tmp_path)
    drawn = curves(tmp_path, name, datetime.fromisoformat("2026-10-18T01:45-05:00").timestamp())
    root = ElementTree.fromstring(f"<div>{drawn}</div>")
    words = [text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text")]

    assert len(root) >= 12
    assert {"QL, flow of S1", "LH, level of HD1"} <= set(words)
    assert "1" in words
    assert name != "6h" or "01:00" in words


def test_without_a_record_it_says_so(tmp_path: Path) -> None:
    """There is nothing to draw, and the reason is told."""
    with pytest.raises(HoldwaterError, match="no archive"):
        curves(tmp_path, "day", 0.0)
