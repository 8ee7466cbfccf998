"""What must last, as JSON and back, and what is refused."""

import json
from dataclasses import fields, is_dataclass
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logic.play import night
from monitor.errors import HoldwaterError
from monitor.logic.state import AlarmRecord, Durable, SiphonRecord, decode, encode, fresh

PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    float: st.floats(allow_nan=False, allow_infinity=False),
    int: st.integers(-(2**53), 2**53),
    bool: st.booleans(),
    str: st.text(max_size=8),
}


def values_of(kind: Any) -> st.SearchStrategy[Any]:
    """Any value of a type that durable state is made of."""
    arguments = get_args(kind)
    if kind in PLAIN:
        return PLAIN[kind]
    if isinstance(kind, type) and is_dataclass(kind):
        hints = get_type_hints(kind)
        return st.builds(kind, **{item.name: values_of(hints[item.name]) for item in fields(kind)})
    if get_origin(kind) is dict:
        return st.dictionaries(values_of(arguments[0]), values_of(arguments[1]), max_size=2)
    if get_origin(kind) is tuple:
        return st.lists(values_of(arguments[0]), max_size=2).map(tuple)
    assert get_origin(kind) is UnionType
    inner = next(item for item in arguments if item is not NoneType)
    return st.none() | values_of(inner)


@pytest.mark.long
@given(values_of(Durable))
def test_round_trip_through_json(durable: Durable) -> None:
    """Anything durable comes back equal from its JSON text."""
    assert durable == decode(json.loads(json.dumps(encode(durable))))


def test_night_round_trip() -> None:
    """The state of a real night comes back equal, with events and texts counted on."""
    durable = night("dip").state.durable
    again = decode(json.loads(json.dumps(encode(durable))))
    assert durable == again
    assert (72, 3) == (again.next_event, again.next_text)


def test_fresh_state() -> None:
    """A watch that never ran has nothing, and counts its events from the number given."""
    assert Durable(next_event=41) == fresh(41)
    assert fresh() == decode({})


def test_keys_of_a_later_version_are_ignored() -> None:
    """A key this version does not know is passed over, at every depth; one it misses is default."""
    alarm = {"state": "UNACK", "since": 1, "invented": [1, 2]}
    durable = decode({"alarms": {"a": alarm}, "invented": {"x": 1}})
    assert {"a": AlarmRecord("UNACK", 1.0)} == durable.alarms


def test_whole_numbers_become_floats() -> None:
    """JSON writers may drop the point of a float; a time stays a float here."""
    siphon = decode({"siphons": {"S1": {"since": 5, "presumed": True, "how": ""}}}).siphons["S1"]
    assert SiphonRecord(5.0, True, "") == siphon
    assert isinstance(siphon.since, float)


HOSTILE: list[Any] = [
    None,
    [],
    "abc",
    7,
    {"alarms": []},
    {"alarms": None},
    {"alarms": {"a": None}},
    {"alarms": {"a": []}},
    {"alarms": {"a": "NORM"}},
    {"alarms": {"a": {}}},
    {"alarms": {"a": {"state": 1, "since": 0.0}}},
    {"alarms": {"a": {"state": "NORM", "since": "soon"}}},
    {"alarms": {"a": {"state": "NORM", "since": None}}},
    {"alarms": {"a": {"state": "NORM", "since": [0.0]}}},
    {"alarms": {"a": {"state": "NORM", "since": float("nan")}}},
    {"alarms": {"a": {"state": "NORM", "since": float("inf")}}},
    {"alarms": {"a": {"state": "NORM", "since": 10**400}}},
    {"alarms": {"a": {"state": "NORM", "since": 0.0, "event": 1.5}}},
    {"alarms": {"a": {"state": "NORM", "since": 0.0, "event": True}}},
    {"supplies": {"HD1": "abc"}},
    {"supplies": {"HD1": {"short": "much"}}},
    {"siphons": {"S1": {"since": 0.0, "presumed": "no", "how": ""}}},
    {"siphons": {"S1": {"since": 0.0, "presumed": 1, "how": ""}}},
    {"events": {"x": {}}},
    {"events": {"1": {"number": 1}}},
    {"holds": {"S1": {"line": "S1", "who": "tavrin", "start": 0.0}}},
    {"next_event": "1"},
    {"next_event": None},
    {"next_text": 2.5},
]


@pytest.mark.parametrize("data", HOSTILE, ids=repr)
def test_hostile_data_is_refused(data: Any) -> None:
    """What cannot be durable state is refused as such, and never read as an empty one."""
    with pytest.raises(HoldwaterError, match="stored state"):
        decode(data)


EVENT = {
    "number": 41,
    "group": "water",
    "vessel": "LT1",
    "first_out": "mains lost/B1",
    "first_sign": 0.0,
    "opened": 0.0,
    "grade": "urgent",
}


@pytest.mark.parametrize("owed", ["dead count", {"dead count": 1}, [1], None])
def test_a_text_is_no_list(owed: Any) -> None:
    """A text where a list belongs is not taken apart into its letters."""
    with pytest.raises(HoldwaterError):
        decode({"events": {"41": {**EVENT, "owed": owed}}})


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=8,
)


@pytest.mark.long
@given(
    st.dictionaries(st.sampled_from([item.name for item in fields(Durable)]), json_values),
    json_values,
)
def test_any_json_is_read_or_refused(data: dict[str, Any], value: Any) -> None:
    """Whatever JSON comes in, either state comes out, or one clear error."""
    for tried in (data, value, {"events": {"41": {**EVENT, "told": value, "promise": value}}}):
        try:
            durable = decode(tried)
        except HoldwaterError as error:
            assert str(error).startswith("stored state cannot be read")
        else:
            assert durable == decode(encode(durable))
