"""The sample folders, and a small rig that a test can spoil."""

from pathlib import Path

SAMPLES = Path(__file__).parents[2] / "sample_config"
SMALL = {
    "rig.toml": """\
[site]
board = "b-1"
rig = "R"
label = "Tavrin"
zone = "America/Chicago"
circuits = ["B1"]
[[source]]
id = "src"
kind = "simulated"
[[vessel]]
id = "HD1"
kind = "header"
lip_cm = 38
rim_cm = 46
[[vessel]]
id = "LT1"
kind = "larval tank"
[[line]]
id = "S1"
kind = "siphon"
from_vessel = "HD1"
to_vessel = "LT1"
break_cm = 12
[[tag]]
id = "QL"
measures = "flow"
of = "S1"
source = "src"
unit = "L/min"
sensor_range = [0, 30]
[[tag]]
id = "LHf"
measures = "float"
of = "HD1"
source = "src"
opens_at_cm = 28
""",
    "limits.toml": """\
quiet_hours = ["21:00", "07:00"]
[delays]
mains_off_s = 10
[[flow]]
line = "S1"
set_l_min = [[-9, 3.0], [5, 4.5]]
[[limit]]
condition = "header low"
tag = "LHf"
side = "low"
value = 0.5
grade = "urgent"
on_delay_s = 15
first_action = "Check air."
""",
    "duty.toml": """\
standing = ["tavrin"]
[[person]]
id = "tavrin"
name = "Tavrin"
mail = "tavrin@example.org"
bed_to_door_min = 30
channels = ["mail"]
[[turn]]
start = "2026-10-03 18:00"
end = "2026-10-04 18:00"
order = ["tavrin"]
""",
    "channels.toml": """\
[[channel]]
id = "mail"
kind = "mail"
host = "mail.example.org"
sender = "watch@example.org"
""",
    "run.toml": """\
id = "T-01"
tank = "LT1"
hatch = 2026-10-06
""",
}
"""A rig of two sensors without a fault. Every table stands in it once at least."""


def spoilt(file: str, old: str, new: str) -> dict[str, str]:
    """The small rig with one piece of one file replaced."""
    assert SMALL[file].count(old) == 1, f"{old!r} must stand once in {file}"
    return {**SMALL, file: SMALL[file].replace(old, new)}


def line_of(text: str, piece: str) -> int:
    """The line (from 1) in which a piece first stands."""
    return text[: text.index(piece)].count("\n") + 1
