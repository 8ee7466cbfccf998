"""From a payload to a number: what is taken, what is refused, and that nothing raises."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.sources.payload import LONGEST_PAYLOAD, PROBLEMS, Address, parse, parse_address


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"6.0", 6.0),
        (b" -1.5e-3\n", -0.0015),
        (b"+7", 7.0),
        (b".5", 0.5),
        (b"5.", 5.0),
        (b"0" * 400 + b"12", 12.0),
        (b"1e-400", 0.0),
    ],
)
def test_plain_numbers(payload: bytes, value: float) -> None:
    """A plain decimal number is taken, with blanks around it."""
    assert (value, "") == parse(payload, (), state=False)


@pytest.mark.parametrize(
    ("payload", "problem"),
    [
        (b"", "empty"),
        (b" \n", "empty"),
        (b"nan", "not a number"),
        (b"Infinity", "not a number"),
        (b"-inf", "not a number"),
        (b"1e400", "number too large"),
        (b"9" * 5000, "number too large"),
        (b"1_000", "not a number"),
        (b"6,0", "not a number"),
        (b"0x10", "not a number"),
        (b"6.0 L/min", "not a number"),
        (b"6.0\x00", "not a number"),
        ("\N{ARABIC-INDIC DIGIT SIX}".encode(), "not a number"),
        (b"true", "not a number"),
        (b"on", "not a number"),
        (b'"6.0"', "not a number"),
        (b'{"flow": 6.0}', "address names no field"),
        (b"[6.0]", "address names no field"),
        (b"\xff\xfe", "not text"),
        (b"6" * (LONGEST_PAYLOAD + 1), "too long"),
        (b"\xff" * 10_000_000, "too long"),
    ],
)
def test_plain_payloads_that_are_no_number(payload: bytes, problem: str) -> None:
    """Whatever is not one finite decimal number gives no value and a word for it."""
    assert (None, problem) == parse(payload, (), state=False)


@pytest.mark.parametrize("word", ["on", "ON", "true", "True", "closed", "1", "1.0", " on "])
def test_words_for_yes(word: str) -> None:
    """A state is 1.0 by any of the words for yes, plain or in JSON."""
    assert (1.0, "") == parse(word.encode(), (), state=True)
    assert (1.0, "") == parse(json.dumps({"s": word}).encode(), ("s",), state=True)


@pytest.mark.parametrize("word", ["off", "OFF", "false", "open", "Open", "0", "0.0", "-0"])
def test_words_for_no(word: str) -> None:
    """A state is 0.0 by any of the words for no, and never -0.0."""
    value, problem = parse(word.encode(), (), state=True)
    assert ("0.0", "") == (repr(value), problem)


@pytest.mark.parametrize("word", ["2", "0.5", "yes", "nan", "onn", "[1]"])
def test_words_for_neither(word: str) -> None:
    """A state that is neither yes nor no has no value."""
    value, problem = parse(json.dumps({"s": word}).encode(), ("s",), state=True)
    assert value is None
    assert problem in ("not a state", "address names no field")


FIELDS = b"""{"flow": 6, "t": [26.5, {"deep": "26.4"}], "on": true, "n": null, "s": "closed",
 "sick": NaN, "minus": -Infinity, "huge": 1e999, "a.b": 3, "twice": 1, "twice": 2,
 "inner": {"x": 1, "x": 2}, "box": {}, "": 9}"""


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("flow",), 6.0),
        (("t", "0"), 26.5),
        (("t", "1", "deep"), 26.4),
        (("a.b",), 3.0),
    ],
)
def test_fields_of_json(path: tuple[str, ...], value: float) -> None:
    """A path leads through objects and lists; a number may stand in quotes."""
    assert (value, "") == parse(FIELDS, path, state=False)


@pytest.mark.parametrize(
    ("path", "problem"),
    [
        (("none",), "no such field"),
        (("t", "2"), "no such field"),
        (("t", "-1"), "no such field"),
        (("t", "00"), "no such field"),
        (("t", "x"), "no such field"),
        (("t", "99999999999"), "no such field"),
        (("flow", "x"), "no such field"),
        (("on",), "not a number"),
        (("n",), "empty"),
        (("s",), "not a number"),
        (("sick",), "not a number"),
        (("minus",), "not a number"),
        (("huge",), "number too large"),
        (("twice",), "field given twice"),
        (("twice", "x"), "field given twice"),
        (("inner", "x"), "field given twice"),
        (("box",), "not a number"),
        (("t",), "not a number"),
    ],
)
def test_fields_without_a_number(path: tuple[str, ...], problem: str) -> None:
    """A sick, missing or doubtful field has no value; the others beside it stay legible."""
    assert (None, problem) == parse(FIELDS, path, state=False)


@pytest.mark.parametrize(
    ("payload", "problem"),
    [
        (b"", "not JSON"),
        (b"{", "not JSON"),
        (b"{'a': 1}", "not JSON"),
        (b"6.0", "no such field"),
        (b"[" * LONGEST_PAYLOAD, "nested too deep"),
        (b'{"a":' * 10_000, "nested too deep"),
        (b'{"a": ' + b"9" * 60_000 + b"}", "number too large"),
        (b'{"a": "\\ud800"}', "not a number"),
        (b'{"a": 1}\x00', "not JSON"),
        (b'\xef\xbb\xbf{"a": 1}', "not JSON"),
    ],
)
def test_hostile_json(payload: bytes, problem: str) -> None:
    """JSON that is broken, bottomless or huge gives a word, never an error."""
    assert (None, problem) == parse(payload, ("a",), state=False)


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from(["a", "b", "0", ""]), inner),
)
PATHS = st.lists(st.sampled_from(["a", "b", "0", "1", "x"]), max_size=3).map(tuple)
PAYLOADS = (
    st.binary()
    | st.text().map(lambda text: text.encode("utf-8", "surrogatepass"))
    | st.from_regex(rb"[-+0-9.eE_ ]{0,30}", fullmatch=True)
    | JSON.map(lambda value: json.dumps(value).encode())
    | JSON.map(lambda value: json.dumps(value).encode()[:-1])
)


@pytest.mark.long
@given(PAYLOADS, PATHS, st.booleans())
def test_any_payload_gives_a_value_or_a_problem(
    payload: bytes, path: tuple[str, ...], state: bool
) -> None:
    """Nothing raises; there is a finite value or a known word, never both and never neither."""
    value, problem = parse(payload, path, state)
    if value is None:
        assert problem in PROBLEMS
    else:
        assert problem == ""
        assert math.isfinite(value)
        assert not state or value in (0.0, 1.0)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_number_comes_through(number: float) -> None:
    """A number printed by another program is the same number here, plain and in JSON."""
    assert (number, "") == parse(repr(number).encode(), (), state=False)
    assert (number, "") == parse(json.dumps({"a": [number]}).encode(), ("a", "0"), state=False)


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("tavrin/flow", Address("tavrin/flow")),
        ("tavrin/hd1#level", Address("tavrin/hd1", ("level",))),
        ("tavrin/hd1#a.0.b c", Address("tavrin/hd1", ("a", "0", "b c"))),
        ('tavrin/hd1#"t.1".C', Address("tavrin/hd1", ("t.1", "C"))),
        ("tavrin/hd1#a#b", Address("tavrin/hd1", ("a#b",))),
        ("/x y/", Address("/x y/")),
        ("$SYS/broker/uptime", Address("$SYS/broker/uptime")),
    ],
)
def test_addresses(text: str, address: Address) -> None:
    """An address is a topic, and behind # the way to a field."""
    assert address == parse_address(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "names no topic"),
        ("#", "is a wildcard"),
        ("tavrin/#", "is a wildcard"),
        ("tavrin#", "is a wildcard"),
        ("tavrin/#level", "is a wildcard"),
        ("#level", "is a wildcard"),
        ("+/flow", "is a wildcard"),
        ("tavrin/+/flow#level", "is a wildcard"),
        ("tavrin/\x00flow", "no topic can have"),
        ("tavrin/flow\n", "no topic can have"),
        ("x" * 65_536, "too long"),
        ("$share/group/tavrin", "shared subscription"),
        ("tavrin#a..b", "key.key"),
        ("tavrin#a.", "key.key"),
        ("tavrin#.a", "key.key"),
        ('tavrin#"a', "key.key"),
        ('tavrin#"a"b', "key.key"),
        ('tavrin#a"b"', "key.key"),
    ],
)
def test_addresses_that_are_refused(text: str, words: str) -> None:
    """A wildcard or a broken address is refused in words fit to be shown."""
    with pytest.raises(ValueError, match=words):
        parse_address(text)
