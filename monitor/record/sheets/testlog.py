"""The test log, weekly and monthly: only what may be done with larvae in the tank.

What is tested follows what the rig has. Intervals: common practice, no source.
"""

from monitor.record.sheets.paper import BLANK, LOCAL, WET, Block, Place, Sheet
from monitor.setup import Setup

WEEKS, MONTHS = 5, 3


def log_sheet(place: Place) -> Sheet:
    """A row a test, a column each week or month: date, what was measured, initials."""
    blocks = (
        _block("Every week", "week", weekly(place.setup), WEEKS),
        _block("Every month", "month", monthly(place.setup), MONTHS),
    )
    caution = (
        "With larvae in the tank never: a real siphon break or drain test, a blocked screen, "
        "cooling or heating off, light switched, dosing.",
        *WET,
        "A ground-fault protection that trips twice is an electrician's job. Generator only "
        "outdoors, 6 m (20 ft) from openings: carbon monoxide.",
        LOCAL,
    )
    about = f"{place.about} In each cell: date, what was measured, initials."
    return Sheet("test-log", "Test log", about, blocks, caution, on_its_side=True)


def _block(title: str, each: str, tests: list[str], count: int) -> Block:
    return Block(
        title,
        head=("test", *(f"{each} {number}" for number in range(1, count + 1))),
        rows=tuple((test, *[BLANK] * count) for test in tests),
        wide=(35, *(65 // count,) * count),
        tall=True,
    )


def _has(setup: Setup, *measures: str) -> list[str]:
    return [tag.id for tag in setup.rig.tags if tag.measures in measures]


def weekly(setup: Setup) -> list[str]:
    """Tests of a week on this rig."""
    found = ["test text to each person on duty: answer came after ___ min"]
    floats, levels = _has(setup, "float"), _has(setup, "level")
    if floats:
        found.append(f"lift float {', '.join(floats)}: seen by the watch")
    if levels:
        found.append(f"wipe {', '.join(levels)}, compare with the mark on the wall")
    if setup.flows:
        found.append("bucket check in a feeding hold or by day: 10 L in ___ s; meter ___ (5 %)")
    if setup.rig.pumps:
        found.append("strainer and intake clean (unplug the pump first)")
    witnesses = _has(setup, "flow witness")
    if witnesses:
        found.append(f"cup {', '.join(witnesses)}: clean, hole open, shows flow")
    return found


def monthly(setup: Setup) -> list[str]:
    """Tests of a month on this rig."""
    found = ["watch on its battery by day, 10 min: ___ %"]
    if _has(setup, "pressure") or any(line.kind == "air" for line in setup.rig.lines):
        found.append("battery air for 5 min by day: every stone bubbles, ___ kPa")
    thermometers = _has(setup, "temperature")
    if thermometers:
        found.append(f"{', '.join(thermometers)} against the reference thermometer (0.2 C)")
    pads = _has(setup, "wet")
    if pads:
        found.append(f"wet pad {', '.join(pads)}: seen by the watch, dried again")
    found += [
        "router off for ___ min: somebody was told from outside",
        "ground-fault protections by their own button, one after the other",
        "each person answers one text from bed, phone as it lies at night",
        "generator on load by who is trained for it, where there is one",
    ]
    return found
