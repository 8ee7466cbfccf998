"""The columns of exported tables: type, unit, and how flags and times are to be read."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from monitor.logic.quality import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from monitor.record.rows import Missing

SINCE_1970 = "seconds since 1970-01-01 00:00:00 UTC"
FLAGS = {
    PASS: "pass",
    NOT_EVALUATED: "not_evaluated",
    SUSPECT: "suspect",
    FAIL: "fail",
    MISSING: "missing_data",
}
"""Flags with their meanings (UNESCO IOC Manuals and Guides 54, vol. 3)."""


@dataclass(frozen=True, slots=True)
class Field:
    """One column. kind: a Table Schema type. more: further properties, as CF names them."""

    name: str
    kind: str
    about: str = ""
    unit: str = ""
    more: tuple[tuple[str, object], ...] = ()
    has_unit_of_tag: bool = False

    def in_unit(self, unit: str) -> "Field":
        return replace(self, unit=unit) if self.has_unit_of_tag else self

    def described(self) -> dict[str, object]:
        found: dict[str, object] = {"name": self.name, "type": self.kind}
        if self.about:
            found["description"] = self.about
        if self.unit:
            found["units"] = self.unit
        return found | dict(self.more)


def time_field(name: str, about: str, required: bool = False) -> Field:
    """A moment in seconds since 1970."""
    more: tuple[tuple[str, object], ...] = (("calendar", "standard"),)
    if required:
        more += (("constraints", {"required": True}),)
    return Field(name, "number", about, SINCE_1970, more)


TIME = time_field("time", "when it was read, by the clock as it is known today", required=True)
FLAG = Field(
    "flag",
    "integer",
    "quality of the reading; 1 where no check of the watch found anything",
    more=(
        ("flag_values", list(FLAGS)),
        ("flag_meanings", " ".join(FLAGS.values())),
        ("standard_name", "aggregate_quality_flag"),
        ("constraints", {"required": True, "enum": list(FLAGS)}),
    ),
)
READING_FIELDS = (
    TIME,
    Field("value", "number", "as calibrated then; no reading is left out", has_unit_of_tag=True,
          more=(("ancillary_variables", "flag"),)),
    FLAG,
    Field("problem", "string", "what the driver said was wrong"),
)  # fmt: skip
MINUTE_FIELDS = (
    time_field("time", "begin of the minute", required=True),
    Field("least", "number", has_unit_of_tag=True),
    Field("mean", "number", has_unit_of_tag=True),
    Field("highest", "number", has_unit_of_tag=True),
    Field("readings", "integer", "usable by the driver's word; flags are not looked at"),
)
EVENT_FIELDS = (
    Field("event", "integer", "number that people answered to"),
    Field("dph", "integer", "days post hatch on which it began"),
    Field("grade", "string", "urgent, high, notice or record"),
    Field("cause", "string", "the alarm that came first"),
    Field("local", "string", "first sign, local time with offset (ISO 8601)"),
    time_field("first_sign", "first sign in the readings"),
    time_field("taken", "somebody said to be going"),
    time_field("on_site", "somebody said to be there"),
    time_field("flow_proven", "flow was proven"),
    time_field("closed", "all that was owed was in"),
)
NOTE_FIELDS = (
    Field("note", "integer", "its number"),
    time_field("time", "what it tells of", required=True),
    Field("local", "string", "the same, local time with offset (ISO 8601)"),
    Field("dph", "integer", "days post hatch"),
    Field("kind", "string"),
    Field("said", "string", "its fields as they were written, `~` for an estimate"),
    Field("who", "string"),
    Field("way", "string", "how it came in"),
    time_field("entered", "when it was written down"),
    Field("back_dated", "boolean", "first written down over an hour later"),
    Field("amendments", "integer", "how often it was amended; this is the last form"),
    Field("reason", "string", "of the last amendment"),
    Field("origin", "string", "file, sheet and row it was imported from"),
)
ANSWER_FIELDS = (
    time_field("time", "when it was said", required=True),
    Field("local", "string", "the same, local time with offset (ISO 8601)"),
    Field("dph", "integer", "days post hatch"),
    Field("who", "string"),
    Field("event", "integer", "event it belongs to, if any"),
    Field("said", "string", "taken, on site, note, done ..."),
    Field("way", "string", "how it came in"),
    Field("text", "string"),
)
LIMIT_FIELDS = (
    Field("version", "integer", "of the set-up"),
    Field("condition", "string"),
    Field("step", "string"),
    Field("tag", "string"),
    Field("side", "string", "high or low"),
    Field("from_dph", "integer", "first day of this value; empty: from the beginning"),
    Field("value", "number", "in `unit`"),
    Field("unit", "string"),
    Field("grade", "string"),
    Field("on_delay", "number", "must last so long", "s"),
)

ENDINGS = {
    "_C_d": "degree_Celsius day",
    "_C": "degree_Celsius",
    "_F": "degree_Fahrenheit",
    "_h": "h",
    "_min": "min",
    "_l": "L",
    "_%": "percent",
}
"""Ends of headings of the day table, with their units (UDUNITS names, as CF asks)."""
_WORDS = frozenset(word.value for word in Missing)


def fields_of(rows: Sequence[Mapping[str, object]]) -> tuple[Field, ...]:
    """The columns of the day table: what holds only numbers and reasons is a number."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    return tuple(
        Field(name, _kind(name, [row.get(name) for row in rows]), unit=_unit(name))
        if name not in DAY_TIMES
        else time_field(name, DAY_TIMES[name])
        for name in names
    )


DAY_TIMES = {
    "day_start": "local midnight with which the day begins",
    "day_end": "local midnight with which it ends",
}


def _kind(name: str, values: Iterable[object]) -> str:
    there = [value for value in values if value is not None and value not in _WORDS]
    if name == "date":
        return "date"
    if any(isinstance(value, str) for value in there):
        return "string"
    return "integer" if there and all(isinstance(value, int) for value in there) else "number"


def _unit(name: str) -> str:
    return next((unit for ending, unit in ENDINGS.items() if name.endswith(ending)), "")
