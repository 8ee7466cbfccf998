"""The tables of the configuration files, as people write them.

Only types, and which keys there are: what the values may be stands beside in `keys.py`. The
models hold no constraints, because each constrained field costs the watch memory.
"""

from typing import Any

from pydantic import BaseModel


class Strict(BaseModel, strict=True, extra="forbid", allow_inf_nan=False):
    """Numbers are numbers, text is text, and no key is passed over."""


class SiteRow(Strict):
    """[site] of rig.toml."""

    board: str
    rig: str
    label: str
    zone: str
    circuits: list[str] = []


class VesselRow(Strict):
    """[[vessel]] of rig.toml."""

    id: str
    kind: str
    area_m2: float | None = None
    lip_cm: float | None = None
    rim_cm: float | None = None
    volume_l: float | None = None


class LineRow(Strict):
    """[[line]] of rig.toml."""

    id: str
    kind: str
    from_vessel: str | None = None
    to_vessel: str | None = None
    bore_mm: float | None = None
    head_m: float | None = None
    break_cm: float | None = None
    pump_l_min: float | None = None
    mouth_cm: float | None = None
    circuit: str | None = None
    drain_flow_l_min: float | None = None
    endurance_min: float | None = None
    float_to_break_min: float | None = None


class TagRow(Strict):
    """[[tag]] of rig.toml."""

    id: str
    measures: str
    of: str
    source: str
    unit: str | None = None
    address: str | None = None
    every_s: float | None = None
    stale_s: float | None = None
    gain: float | None = None
    zero: float | None = None
    calibration: int | None = None
    quantum: float | None = None
    sensor_range: list[float] | None = None
    usual_range: list[float] | None = None
    max_step: float | None = None
    max_rate_per_s: float | None = None
    spike: list[float] | None = None
    flat_after_min: float | None = None
    start_up_values: list[float] | None = None
    median: int | None = None
    opens_at_cm: float | None = None
    followed: bool = False


class ServiceRow(BaseModel, strict=True, extra="allow"):
    """[[source]] of rig.toml and [[channel]] of channels.toml; the rest belongs to the kind."""

    id: str
    kind: str


class FlowRow(Strict):
    """[[flow]] of limits.toml: what is due through a line, and the band around it."""

    line: str
    set_l_min: Any
    changes_at: str = "00:00"
    known_by: str = "meter"
    band_percent: float | None = None
    low_percent: float | None = None
    high_percent: float | None = None
    grade: str = "high"
    on_delay_s: float = 300.0
    off_delay_s: float = 0.0
    deadband_percent: float = 5.0
    far_too_low: bool = True
    far_too_low_percent: float = 50.0
    far_too_low_after_min: float = 10.0
    no_flow: bool = True
    no_flow_below_l_min: float | None = None
    no_flow_after_min: float | None = None


class LimitRow(Strict):
    """[[limit]] of limits.toml: one limit on one tag."""

    condition: str
    tag: str
    side: str
    grade: str
    on_delay_s: float
    step: str = ""
    value: float | None = None
    by_dph: Any = None
    off_delay_s: float = 0.0
    deadband: float = 0.0
    held_off: bool = False
    latching: bool = False
    first_action: str = ""


class LimitsHead(Strict):
    """What stands alone at the top of limits.toml."""

    quiet_hours: list[str] | None = None
    owed_by: str | None = None


class DutyHead(Strict):
    """What stands alone at the top of duty.toml."""

    standing: list[str] | None = None
    evening: str | None = None
    ask: bool = True
    manager: str | None = None


class ChannelsHead(Strict):
    """What stands alone at the top of channels.toml."""

    path_test: str | None = None
    day_lines: bool = False


class PersonRow(Strict):
    """[[person]] of duty.toml."""

    id: str
    name: str
    bed_to_door_min: float | None = None
    day_to_door_min: float | None = None
    mail: str = ""
    phone: str = ""
    channels: list[str] = []


class TurnRow(Strict):
    """[[turn]] of duty.toml."""

    start: str
    end: str
    order: list[str]


class WeekRow(Strict):
    """[[week]] of duty.toml: a turn of every week."""

    days: list[str]
    start: str
    end: str
    order: list[str]


class RunRow(Strict):
    """A run: the top of run.toml, or [[other_run]]."""

    id: str
    tank: str
    hatch: str
    watch_set: bool = True
    hatch_day: int = 0
    day_begins: str = "00:00"
    also_in: list[str] = []
    begun: str | None = None
    closed: str | None = None
    protocol: str = ""
    animals_approved: int | None = None
    lights: list[str] | None = None


class BatchRow(Strict):
    """[[batch]] of run.toml."""

    id: str
    run: str = ""
    source: str = ""
    stocked: str | None = None
    hatch: str | None = None
    eggs: str = ""
    hatched: str = ""
