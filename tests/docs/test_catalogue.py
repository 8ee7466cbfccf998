"""The page on failures names every built-in condition, so that none is left without its cause."""

from pathlib import Path

from logic.play import sample
from monitor.logic.plan import plan_of

DOCS = Path(__file__).parents[2] / "docs" / "reference"
OF_THE_WATCH = {"watch faulty", "flow not seen"}
"""What concerns the watch itself, or its sight, and no failure of a rig."""


def test_every_condition_of_the_samples_has_its_failure() -> None:
    """Built-in conditions and those of the sample limits."""
    page = (DOCS / "catalogue.md").read_text("utf-8")
    names = {
        spec.name
        for name in ("ostrel-hill", "first-night", "listener")
        for spec in plan_of(sample(name)).specs.values()
    }
    missing = {name for name in names - OF_THE_WATCH if name not in page}

    assert set() == missing
