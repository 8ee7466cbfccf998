"""The page on drills names every fault as the program has it."""

from pathlib import Path

from monitor.drill.faults import FAULTS

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "drill.md"


def test_every_fault_stands_in_the_table() -> None:
    """Name, what happens and hours, row by row."""
    rows = [line for line in PAGE.read_text("utf-8").splitlines() if line.startswith("| ")]
    expected = [f"| {f.name} | {f.what} | {f.hours:g} |" for f in FAULTS.values()]

    assert expected == [line for line in rows if line in expected]
