"""Texts: they fit, keep to the alphabet, name clock times, and say what to do first."""

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logic.play import (
    SAMPLES,
    Watch,
    cast,
    inputs_of,
    night,
    play,
    sample,
    unhurried,
    watch,
    with_tags,
    without,
)
from monitor.config import load_texts, snapshot
from monitor.logic.derived import observe
from monitor.logic.gsm import LIMIT, Part, fit, fold, places
from monitor.logic.plan import LimitPlan, Spec, fuel_spec, plan_of, watch_spec
from monitor.logic.scan import Scan
from monitor.logic.screen import event_lines, now_lines, why_lines
from monitor.logic.state import EventRecord, HoldRecord, SiphonRecord
from monitor.logic.wording import TEMPLATES, compose, plain
from monitor.setup import Setup
from monitor.simulator import nights

# The alphabet: 3GPP TS 23.038; counts as two independent coders give them


@pytest.mark.parametrize(
    ("text", "septets"),
    [
        ("x" * 160, 160),
        ("€" * 80, 160),
        ("x" * 158 + "€", 160),
        ("x" * 159 + "€", 161),
        ("^{}\\[~]|\f", 18),
        ("@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ", 29),
        ("¡¿§äöñüàÄÖÑÜ¤", 13),
        ("29.6 C", 6),
        ("", 0),
    ],
)
def test_counting(text: str, septets: int) -> None:
    """A letter of the basic table is one place, one of its extension two."""
    assert septets == places(text)


@pytest.mark.parametrize(
    "letter", ["°", "ő", "\N{EN DASH}", "“", "±", "µ", "→", "ç", "\u00a0", "😀", "\t"]
)
def test_letters_outside_the_alphabet(letter: str) -> None:
    """One such letter would cut the text to 70 places, so it counts as no text at all."""
    assert places(f"ALARM temp 29.6{letter}C") is None


@pytest.mark.parametrize(
    ("given_", "folded"),
    [
        ("29.6°C", "29.6 C"),
        ("Őri Ágnes, Żółć", "Ori Agnes, Zo c"),
        ("café", "café"),
        ("Zoë çà", "Zoe cà"),
        ("a\r\nb\nc", "a  b c"),
        ("[mail]~^", " mail   "),
        ("10 €", "10  "),
        ("fish 🐟!", "fish  !"),
        ("ﬁve", "five"),
        ("", ""),
    ],
)
def test_folding(given_: str, folded: str) -> None:
    """Accents that the table lacks are dropped, line ends and strange signs become a blank."""
    assert folded == fold(given_)


@given(st.text(max_size=200))
def test_whatever_is_folded_is_in_the_basic_table(text: str) -> None:
    """Folded text has one septet a letter and stays on its line."""
    folded = fold(text)
    assert len(folded) == places(folded)
    assert "\n" not in folded
    assert "\r" not in folded


# Fitting


parts = st.lists(
    st.builds(
        Part,
        st.text(max_size=90),
        st.integers(0, 9),
        st.one_of(st.none(), st.text(max_size=40)),
    ),
    min_size=1,
    max_size=8,
)


@given(parts)
def test_everything_fits(pieces: list[Part]) -> None:
    """Whatever the parts, the text has at most 160 septets of the basic table."""
    text = fit(pieces)
    assert len(text) == places(text)
    assert len(text) <= LIMIT


def test_least_worthy_goes_first() -> None:
    """Of parts that do not fit together the least worthy is dropped, a shorter form tried first."""
    kept = Part("k" * 100)
    assert "k" * 100 + " b" == fit([kept, Part("a" * 80, 1), Part("b", 2)])
    assert "k" * 100 + " short" == fit([kept, Part("a" * 80, 8, "short")])
    assert "k" * 100 + " B" == fit([kept, Part("a" * 80, 8, "s" * 70), Part("B")])


def test_shorter_form_is_folded_too() -> None:
    """The short form of a part keeps to the alphabet as the long one does."""
    assert "k" * 140 + " Ori" == fit([Part("k" * 140), Part("x" * 40, 9, "Őri")])


def test_how_to_answer_is_never_cut() -> None:
    """Where words that may not be dropped are too long, the last of them stays whole."""
    text = fit([Part("URGENT Ostrel."), Part("long " * 40), Part("Reply OK 41.")])
    assert LIMIT >= len(text)
    assert text.endswith(" Reply OK 41.")


# Every template


@cache
def long_names(name: str, letters: int) -> Setup:
    """A sample set-up in which every name that texts use is as long as it may be."""
    texts = snapshot(SAMPLES / name)
    place, tank = "Ostrellb", "LARVATK1"
    texts = {key: text.replace('"LT1"', f'"{tank}"') for key, text in texts.items()}
    texts["rig.toml"] = texts["rig.toml"].replace('label = "Ostrel"', f'label = "{place}"')
    for circuit in ("B1", "B2"):
        texts["rig.toml"] = texts["rig.toml"].replace(f'"{circuit}"', f'"{circuit}STRIP8"')
    for person in ("Tavrin", "Oskel", "Lendow", "Korrin"):
        longer = (person + "ovawskaya")[:letters]
        texts["duty.toml"] = texts["duty.toml"].replace(f'name = "{person}"', f'name = "{longer}"')
    return load_texts(texts, 1)


ACTION = re.compile(
    r"\b(Go|go|[Ll]ook|Open|[Pp]rime|[Ss]hut|Set|Clear|[Cc]heck|Air first|Bleed|Lower|Cut|Stay"
    r"|Stop|Fit|Bring|Find|Change|Clean|Reset|Send|send|See|Top|Keep|Seawater)\b"
)
CLOCK = re.compile(r"\b([01]\d|2[0-3]):[0-5]\d\b")
DURATION = re.compile(r"\bin (about )?\d+ ?(min|h|s)\b|\d+ ?min\b")


def sound(text: str, grade: str) -> None:
    """What every text must be, and an urgent or high one besides."""
    assert len(text) == places(text), text
    assert len(text) <= LIMIT, (len(text), text)
    assert CLOCK.search(text), text
    assert not DURATION.search(text), text
    assert not re.search(r"None|nan|inf\b|  |\s$|^\s|\( *\)|, *\.|\.\.|[{}\[\]]", text), text
    if grade in ("urgent", "high"):
        assert ACTION.search(text), text


@cache
def long_night(name: str) -> Watch:
    """The outage of a sample rig, played with long names and event 9990."""
    setup = long_names(name, 8)
    setup = unhurried(setup, 10.0)
    if name == "first-night":
        setup = without(setup, "QW")
    return play(setup, nights.night_outage(9990, flow_told=name == "first-night"), 9990)


@pytest.mark.long
@pytest.mark.parametrize("name", ["ostrel-hill", "first-night"])
def test_outage_with_long_names(name: str) -> None:
    """Eight letters for every name and an event of four digits: nothing that matters is lost."""
    texts = long_night(name).texts
    assert len(texts) >= 8
    for text in texts:
        sound(text.body, "record" if text.turn in INFORMS else text.grade)
        assert answerable(text.body, 9990), text.body
    assert {"9990"} == {n for t in texts for n in re.findall(r"\b99\d\d\b", t.body)}


def answerable(body: str, number: int) -> bool:
    """Whether a text says how to answer, or that nothing need be answered, or who has it."""
    ways = ("Reply OK", "send FLOW", "Send HERE", "DONE")
    if any(f"{way} {number}" in body for way in ways):
        return True
    return bool(
        re.search(
            rf"No reply needed|You need not go|{number} (is closed|open)\.|has {number}"
            rf"|due \d\d:\d\d\.|the next is called\.|Asked again",
            body,
        )
    )


STAGES: list[dict[str, object]] = [
    {"stage": "open"},
    {"stage": "open", "taken_by": "tavrin", "promise": 3600.0, "reminded": 3600.0},
    {"stage": "taken", "taken_by": "tavrin", "promise": 3600.0},
    {"stage": "on site", "taken_by": "tavrin", "on_site": 3000.0},
]
NOTHING: dict[str, object] = {}
AWAY: dict[str, object] = {"losses": 2, "lost_since": 1980.0}
BACK: dict[str, object] = {"losses": 3, "lost_since": 1980.0, "back_since": 2400.0}
STOPPED: dict[str, object] = {"no_flow_since": 2200.0}
PRESUMED: dict[str, object] = {"no_flow_since": 2200.0, "no_flow_presumed": True}
WATERS: dict[str, tuple[dict[str, object], ...]] = {
    "supply lost": (AWAY,),
    "supply lost again": (AWAY,),
    "siphon broken": (AWAY | STOPPED, AWAY | PRESUMED, STOPPED),
    "power back, no flow": (BACK | STOPPED, BACK | PRESUMED),
    "still no flow": (BACK | STOPPED, BACK | PRESUMED),
    "flow proven": (BACK | STOPPED, BACK | PRESUMED, STOPPED),
    "flow proven by hand": (BACK | STOPPED, BACK | PRESUMED, STOPPED),
    "flow never stopped": (BACK,),
}
"""How the water can stand when a turn is told; any turn not named, in every way."""
EVERY = (NOTHING, AWAY, BACK, STOPPED, AWAY | STOPPED, AWAY | PRESUMED, BACK | PRESUMED)
HELD_BY = {"still there": "on site", "reminder": "taken", "somebody has it": "on site"}
"""Turns that there are in one stage only."""


def scans(setup: Setup) -> Iterator[Scan]:
    """The set-up an hour into an outage, and with nothing read yet; with and without a latch."""
    story = nights.night_outage(9990)
    origin, inputs = inputs_of(setup, story)
    under = watch(setup, origin, 9990)
    under.feed([item for item in inputs if item.moment.elapsed <= 2500.0], 2500.0)
    for state, at in ((under.state, 2500.0), (watch(setup, origin).state, 0.0)):
        for broken in (None, SiphonRecord(3360.0, True, "endurance unknown; flow not measured")):
            scan = Scan(setup, state, under.now(at))
            scan.set_siphon("S1", broken)
            scan.set_hold("S1", HoldRecord("S1", "tavrin", 600.0, 2400.0))
            scan.waters = [observe(scan, chain) for chain in scan.plan.chains]
            yield scan


def events_of(turn: str, grade: str) -> Iterator[EventRecord]:
    """Events in every stage and state of the water in which this turn can be told."""
    bare = EventRecord(9990, "water", "LARVATK1", "mains lost/B1STRIP8", 1980.0, 1990.0, grade)
    for stage, water in product(STAGES, WATERS.get(turn, EVERY)):
        if HELD_BY.get(turn, stage["stage"]) != stage["stage"]:
            continue
        yield replace(
            bare,
            **stage,  # type: ignore[arg-type]
            **water,  # type: ignore[arg-type]
            proven=4000.0,
            proven_by="lendow",
            flow_since=3900.0,
            clear_since=4000.0,
            milder_since=4000.0,
            asked=5800.0,
            owed=("dead count", "cause", "timers"),
        )


@pytest.mark.long
@pytest.mark.parametrize(
    ("letters", "tags"),
    [(8, None), (16, None), (8, ("MP",)), (8, ("QL", "TW1")), (8, ("LH", "LHf"))],
)
def test_every_template_in_every_state(letters: int, tags: tuple[str, ...] | None) -> None:
    """Every turn, in every stage, with much or little known, fits and is in order."""
    setup = unhurried(long_names("ostrel-hill", letters), 30.0)
    if tags is not None:
        setup = with_tags(setup, *tags)
    for scan in scans(setup):
        for turn, grade in product(TEMPLATES, ("notice", "urgent")):
            spec = spec_of(scan, turn)
            if spec is None and turn in ("mains lost", "hold overrun"):
                continue
            for event in events_of(turn, grade):
                body = compose(scan, event, turn, "oskel", spec)
                assert len(body) == places(body)
                assert len(body) <= LIMIT
                if letters == 8:
                    sound(body, "record" if turn in INFORMS else grade)
                    assert answerable(body, 9990), (turn, body)


INFORMS = (
    "still there",
    "eased",
    "sensor faulty",
    "sensor silent",
    "flow proven",
    "flow proven by hand",
    "flow never stopped",
    "somebody has it",
    "well again",
    "owed",
    "reminder",
)
"""Turns that tell of something done, that can wait for the day, or that ask for an answer only."""


def spec_of(scan: Scan, turn: str) -> Spec | None:
    """The spec a turn is told for, where the rig has it."""
    if turn in ("watch faulty", "record not kept"):
        return watch_spec("record" if turn == "record not kept" else "page-server", 120.0)
    if turn == "fuel low":
        return fuel_spec("generator", scan.plan.tank)
    return next((spec for spec in plan_of(scan.setup).specs.values() if spec.name == turn), None)


def limits_in_force(scan: Scan) -> Iterator[LimitPlan]:
    """The limits that are not switched off at this age."""
    for plans in scan.plan.limits.values():
        for plan in plans:
            if math.isfinite(plan.limit.value.at(scan.dph, scan.clock)):
                yield plan


@pytest.mark.parametrize("name", ["ostrel-hill", "first-night"])
def test_every_limit(name: str) -> None:
    """A text of each limit of the samples names its first action whole and how to answer."""
    setup = load_texts(snapshot(SAMPLES / name), 1)
    origin, inputs = inputs_of(setup, replace(nights.steady(), length=120.0))
    under = watch(setup, origin, 990).feed(inputs, 120.0)
    scan = Scan(setup, under.state, under.now(120.0))
    scan.waters = [observe(scan, chain) for chain in scan.plan.chains]
    for plan in limits_in_force(scan):
        spec = plan.spec
        event = EventRecord(990, spec.group, spec.vessel, spec.id, 60.0, 60.0, spec.grade)
        body = compose(scan, event, spec.name, "tavrin", spec)
        sound(body, spec.grade)
        assert body.endswith("Reply OK 990."), body
        assert spec.first_action in body, body


@pytest.mark.long
def test_longest_first_action() -> None:
    """Sixty letters of first action, the longest allowed, are told whole with everything else."""
    longest = "Look at the pump, the strainer, the valve, then at the crest."[:60]
    setup = long_names("ostrel-hill", 8)
    limits = tuple(replace(limit, first_action=longest) for limit in setup.limits)
    setup = replace(unhurried(setup, 30.0), limits=limits, worked_out={})
    setup = with_tags(setup, *(tag.id for tag in setup.rig.tags))
    for scan in scans(setup):
        for plan in limits_in_force(scan):
            for event in events_of(plan.spec.name, plan.spec.grade):
                body = compose(scan, event, plan.spec.name, "oskel", plan.spec)
                sound(body, "record")
                assert longest in body, body
                assert answerable(body, 9990), body


def test_least_text() -> None:
    """What is sent when a template fails names grade, place, turn and number, and fits."""
    scan = next(scans(unhurried(long_names("ostrel-hill", 8), 30.0)))
    for event in events_of("power back, no flow", "urgent"):
        body = plain(scan, event, "power back, no flow")
        assert (LIMIT >= len(body)) and body.startswith("URGENT Ostrellb LARVATK1")
        assert body.endswith("Reply OK 9990.")


# Words


@pytest.mark.long
def test_since_is_that_of_the_condition() -> None:
    """What gets worse late in an event is dated by itself, not by the event's first sign."""
    played = night("storm, valve shut")
    worse = [text for text in played.texts if text.turn == "no flow"]
    assert all("since 00:49" in text.body for text in worse)


@pytest.mark.long
def test_state_in_further_calls_is_true_at_that_moment() -> None:
    """A call that goes out after the power came back says so, not that the mains is off."""
    setup, story, number = cast("storm, mains only")
    played = play(setup, replace(story, says=()), number)
    calls = [t for t in played.texts if t.turn in ("next call", "call to all")]
    for text in calls:
        at = played.at(text.moment.elapsed)
        back = "00:13:00" < at < "00:19:00" or "00:26:00" < at < "00:32:00" or at > "02:32:00"
        assert ("Power back" in text.body) == back, (at, text.body)
        assert ("MAINS OFF" in text.body) != back, (at, text.body)


def test_tank_looks_well_only_where_flow_is_seen() -> None:
    """A thermometer alone does not say that the tank is well when the flow meter has failed."""
    setup = with_tags(unhurried(long_names("ostrel-hill", 8), 30.0), "QL", "TW1", "TW2")
    scan = next(scans(setup))
    for tag, well in (("QL", False), ("TW1", True)):
        spec = plan_of(setup).specs[f"sensor faulty/{tag}"]
        event = next(events_of("sensor faulty", "notice"))
        assert well == ("looks well" in compose(scan, event, "sensor faulty", "oskel", spec))


# What is shown when asked


@pytest.mark.parametrize("tags", [None, ("MP",), ("QL",), ("LH", "LHf"), ("QW",), ()])
def test_shown_lines(tags: tuple[str, ...] | None) -> None:
    """Any rig, at any moment of a night, can be asked for now, events and why."""
    _, story, number = cast("outage")
    setup = unhurried(sample("first-night" if tags == ("QW",) else "ostrel-hill"), 60.0)
    if tags is not None:
        setup = with_tags(setup, *tags)
    origin, inputs = inputs_of(setup, replace(story, says=()))
    under = watch(setup, origin, number)
    for mark in (0.0, 1000.0, 2100.0, 3500.0, 8000.0, 9900.0, 15_000.0):
        under.feed([i for i in inputs if mark - 1000.0 < i.moment.elapsed <= mark], mark)
        now = under.now(mark)
        for line in (
            *now_lines(setup, under.state, now),
            *event_lines(setup, under.state, now),
            *why_lines(setup, under.state, number, now),
            *why_lines(setup, under.state, 7, now),
        ):
            assert line.strip()
            assert not re.search(r"None|nan|inf\b", line), line
