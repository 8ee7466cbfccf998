"""Signs of life: what counts as one, what an age is, and what a stranger at the door gets."""

import json
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.clock import VirtualClock
from monitor.errors import SetupError
from monitor.inputs import Moment
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sign import LONGEST, Sign, from_json, is_newer, to_json
from monitor.sources.base import Complaints
from monitor.sources.sign_door import Door, DoorSetup
from monitor.sources.signs import Ages, Point, PointKeys, signs
from monitor.units import unit_of

SIGN = Sign("ostrel-1", "OH", 3, 5_000.0, 1_792_304_400.0, True, 60.0, 1, 0, 0, False)
NOW = Moment(9, 700.0, 1_792_304_402.0)
AGE = Point("ostrel-1", PointKeys())
BY_HTTP = Point("ostrel-1", PointKeys(by="http"))
STORM = Point("ostrel-1", PointKeys(what="storm"))
CLOCK = Point("ostrel-1", PointKeys(what="clock"))


def at(seconds: float) -> Moment:
    """So many seconds after NOW."""
    return Moment(9, NOW.elapsed + seconds, NOW.utc + seconds)


def later(seconds: float, **changes: object) -> Sign:
    """A sign so many seconds after SIGN."""
    moved = replace(SIGN, elapsed=SIGN.elapsed + seconds, utc=SIGN.utc + seconds)
    return replace(moved, **changes)  # type: ignore[arg-type]


def test_sign_travels_whole() -> None:
    """What is read is what was said; keys of a later version are passed over."""
    assert SIGN == from_json(to_json(SIGN))
    assert SIGN == from_json(json.dumps({**asdict(SIGN), "more": [1]}).encode())
    assert SIGN == from_json(json.dumps({**asdict(SIGN), "elapsed": 5000}).encode())


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"elapsed": "5000"}, "elapsed is missing or no float"),
        ({"elapsed": True}, "elapsed is missing or no float"),
        ({"elapsed": float("nan")}, "elapsed is missing or no float"),
        ({"utc": float("inf")}, "utc is missing or no float"),
        ({"boot": 1.5}, "boot is missing or no int"),
        ({"storm": 1}, "storm is missing or no bool"),
        ({"board": None}, "board is missing or no str"),
    ],
)
def test_document_that_is_no_sign(change: dict[str, object], why: str) -> None:
    """A value of another kind is named."""
    with pytest.raises(ValueError, match=why):
        from_json(json.dumps({**asdict(SIGN), **change}).encode())


@given(st.one_of(st.binary(max_size=300), st.just(b"[" * LONGEST), st.just(b" " * 3000)))
def test_anything_may_come_in(data: bytes) -> None:
    """Whatever comes in is no sign, and raises nothing but ValueError."""
    with pytest.raises(ValueError, match=r"JSON|longer|missing"):
        from_json(data)


def test_only_progress_counts() -> None:
    """A sign that repeats, comes late, or stands still is none; a lost archive begins anew."""
    assert is_newer(SIGN, None)
    assert is_newer(later(60.0), SIGN)
    assert is_newer(later(5.0, boot=4, utc=0.0), SIGN)
    assert not is_newer(SIGN, SIGN)
    assert not is_newer(later(-60.0), SIGN)
    assert not is_newer(replace(SIGN, utc=SIGN.utc + 60.0), SIGN)
    assert is_newer(replace(SIGN, boot=1, elapsed=10.0, utc=SIGN.utc + 60.0), SIGN)


def test_age_grows_until_a_sign_comes() -> None:
    """Before the first sign the age counts from the start; what shows no progress resets none."""
    ages = Ages(NOW.elapsed)
    assert 30.0 == ages.value(AGE, at(30.0))
    assert ages.hear("mqtt", SIGN, at(40.0))
    assert not ages.hear("mqtt", SIGN, at(100.0))
    assert 90.0 == ages.value(AGE, at(130.0))
    assert 130.0 == ages.value(BY_HTTP, at(130.0))
    assert ages.hear("http", SIGN, at(140.0))
    assert (10.0, 10.0) == (ages.value(AGE, at(150.0)), ages.value(BY_HTTP, at(150.0)))
    assert 150.0 == ages.value(Point("other", PointKeys()), at(150.0))


def test_storm_footing_has_an_age_of_its_own() -> None:
    """It follows the age while the last sign said storm footing, and is 0 otherwise."""
    ages = Ages(NOW.elapsed)
    assert 0.0 == ages.value(STORM, at(500.0))
    ages.hear("mqtt", later(0.0, storm=True), at(500.0))
    assert 20.0 == ages.value(STORM, at(520.0))
    ages.hear("mqtt", later(60.0), at(560.0))
    assert 0.0 == ages.value(STORM, at(900.0))


def test_clock_of_the_watch_is_compared() -> None:
    """A wall clock that stands still is off by more each time; an untrusted one is silent."""
    ages = Ages(NOW.elapsed)
    assert ages.value(CLOCK, NOW) is None
    ages.hear("mqtt", later(60.0, utc=SIGN.utc), at(60.0))
    assert 62.0 == ages.value(CLOCK, at(70.0))
    ages.hear("mqtt", later(120.0, trusted=False), at(120.0))
    assert ages.value(CLOCK, at(130.0)) is None


def door(taken: list[bytes]) -> Door:
    """A door that is not open; it takes what is JSON."""

    def take(data: bytes) -> None:
        from_json(data)
        taken.append(data)

    setup = DoorSetup("127.0.0.1:0", "long-word", None, None)
    return Door(setup, take, Complaints("signs", VirtualClock(NOW)))


@pytest.mark.parametrize(
    ("path", "headers", "body", "status"),
    [
        ("/life", {"Authorization": "Bearer long-word"}, to_json(SIGN), 204),
        ("/life?x=1", {"Authorization": "Bearer long-word"}, to_json(SIGN), 404),
        ("/", {}, b"", 404),
        ("/life", {}, to_json(SIGN), 401),
        ("/life", {"Authorization": "Bearer long-wor"}, to_json(SIGN), 401),
        ("/life", {"Authorization": "Bearer l\u00f6ng"}, to_json(SIGN), 401),
        ("/life", {"Authorization": "Bearer long-word"}, b"{}", 400),
        ("/life", {"Authorization": "Bearer long-word"}, b"x" * (LONGEST + 1), 413),
    ],
)
def test_door_takes_signs_only(
    path: str, headers: dict[str, str], body: bytes, status: int
) -> None:
    """Without the word nothing is read; what is no sign is refused."""
    taken: list[bytes] = []
    given_ = {**headers, "Content-Length": str(len(body))}
    assert status == door(taken).judge(path, given_, lambda length: body[:length])
    assert taken == ([body] if status == 204 else [])


@pytest.mark.parametrize("length", ["", "-1", "x", "9" * 30, "\u0661"])
def test_door_wants_a_length(length: str) -> None:
    """A body without a sound length is not read."""
    headers = {"Authorization": "Bearer long-word", "Content-Length": length}
    assert 413 == door([]).judge("/life", headers, lambda _length: b"")


@pytest.mark.parametrize(
    ("options", "address", "key"),
    [
        ({}, "ostrel-1", "host"),
        ({"host": "b"}, "ostrel-1 by=pigeon", "address"),
        ({"host": "b"}, "", "address"),
        ({"host": "b", "user": "u"}, "ostrel-1", "user"),
        ({"host": "b", "user": "u", "password_secret": "no"}, "ostrel-1", "password_secret"),
        ({"listen": "0.0.0.0:1"}, "ostrel-1", "token_secret"),
        ({"listen": "0.0.0.0:1", "token_secret": "word"}, "ostrel-1", "cert_file"),
        ({"listen": "nowhere", "token_secret": "word"}, "ostrel-1", "listen"),
        ({"host": "b", "topic": "a/#"}, "ostrel-1", "topic"),
    ],
)
def test_set_ups_that_are_refused(options: dict[str, object], address: str, key: str) -> None:
    """Each wrong key is named."""
    tag = Tag("SOL", "age", "WATCH", unit_of("age", "min"), "s", address)
    rig = Rig("far", "FAR", "Ostrel", "UTC", circuits=("WATCH",), tags=(tag,))
    with pytest.raises(SetupError) as caught:
        signs(SourceSetup("s", "signs", tuple(options.items())), rig, {"word": "long-word"})
    assert key in {problem.key for problem in caught.value.problems}


def test_reference_names_every_option() -> None:
    """The page lists what source and channels can be given."""
    from monitor.channels.sign_http import SignHttpOptions
    from monitor.channels.sign_mqtt import SignMqttOptions
    from monitor.sources.signs import SignsOptions

    page = Path(__file__).parents[2] / "docs" / "reference" / "signs-of-life.md"
    text = page.read_text(encoding="utf-8")
    keys = {
        name
        for kind in (SignHttpOptions, SignMqttOptions, SignsOptions)
        for name in kind.__dataclass_fields__
    }
    assert [] == sorted(name for name in keys if f"`{name}`" not in text)
