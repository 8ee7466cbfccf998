"""How well a rig sees each condition, and which part would help most for its price."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logic.play import sample, with_tags, without
from monitor.logic.sight import COST, HOWS, LINES, ROLES, Sight, cheapest_help, roles, sights
from monitor.setup import Setup

HILL, FIRST = sample("ostrel-hill"), sample("first-night")


def how(setup: Setup) -> dict[str, str]:
    """Condition -> sight."""
    return {sight.condition: sight.how for sight in sights(setup)}


def test_full_rig_is_not_blind() -> None:
    """With every tag of the demo rig nothing is blind, and no part is proposed; only what meters
    and levels must contradict takes time or is inferred."""
    late = {name for name, seen in how(HILL).items() if seen != "seen"}
    assert {"flow meter dead", "supply meter dead", "flow stop hidden"} == late
    assert "blind" not in how(HILL).values()
    assert cheapest_help(HILL) is None


def test_first_night_set() -> None:
    """The first-night set sees flow end at once and supply by its float; air is blind."""
    seen = how(FIRST)
    assert "seen late" == seen["supply lost"]
    assert "presumed" == how(without(FIRST, "LHf"))["supply lost"]
    assert "seen" == seen["siphon broken after an outage"]
    assert "seen" == seen["flow stopped with power on"]
    assert "seen late" == seen["flow low or creeping"]
    assert "seen late" == seen["header low"]
    for condition in ("air pump failing", "air stone clogged", "battery air flat"):
        assert "blind" == seen[condition]


def test_cheapest_help_of_the_first_night_set() -> None:
    """One pressure sensor in the air line opens three blind lines, more than any other part."""
    assert ("pressure sensor in the air line", 3) == cheapest_help(FIRST)


def test_without_the_flow_witness() -> None:
    """Without the cup a broken siphon is presumed, and what stops with the power on is blind."""
    seen = how(without(FIRST, "QW"))
    assert "presumed" == seen["siphon broken after an outage"]
    assert "blind" == seen["flow stopped with power on"]
    assert "blind" == seen["flow low or creeping"]


def test_drain_test_is_what_presumes() -> None:
    """Mains alone presumes a broken siphon only where somebody measured the endurance."""
    mains = with_tags(FIRST, "MP")
    assert "presumed" == how(mains)["siphon broken after an outage"]
    lines = tuple(replace(line, drain_test=None) for line in mains.rig.lines)
    untested = replace(mains, rig=replace(mains.rig, lines=lines), worked_out={})
    assert "blind" == how(untested)["siphon broken after an outage"]
    assert "drain test" not in roles(untested)


def test_mains_of_another_circuit_says_nothing_of_the_pump() -> None:
    """A mains sensor that is not on the pump's circuit does not see the supply go."""
    other = with_tags(HILL, "MA")
    assert "blind" == how(other)["supply lost"]
    assert "mains" not in roles(other)


def test_no_sensor_at_all() -> None:
    """A rig without tags is blind to everything and says what each line needs."""
    bare = with_tags(HILL)
    lines = tuple(replace(line, drain_test=None) for line in bare.rig.lines)
    bare = replace(bare, rig=replace(bare.rig, lines=lines), worked_out={})
    assert {"blind"} == set(how(bare).values())
    assert all(sight.why.startswith("needs a ") for sight in sights(bare))
    assert cheapest_help(bare) is not None


def test_loop_has_no_siphon_lines() -> None:
    """A lone loop is not asked about headers, siphons and screens."""
    seen = how(sample("loop-recording"))
    assert "flow stopped with power on" in seen
    assert not [name for name in seen if "siphon" in name or "header" in name or "screen" in name]


def test_tables_name_what_there_is() -> None:
    """Every way needs known roles, each of which has a price and words."""
    needed = {role for ways in LINES.values() for _, roles_ in ways for role in roles_}
    assert needed <= set(ROLES)
    assert set(ROLES) == set(COST)
    assert {how_ for ways in LINES.values() for how_, _ in ways} <= set(HOWS) - {"blind"}


@given(st.sets(st.sampled_from([tag.id for tag in HILL.rig.tags])), st.data())
def test_a_further_sensor_never_sees_less(tags: set[str], data: st.DataObject) -> None:
    """Adding a tag worsens no sight; what is proposed as help does help as many lines as said."""
    rest = sorted({tag.id for tag in HILL.rig.tags} - tags)
    before = how(with_tags(HILL, *tags))
    if rest:
        more = how(with_tags(HILL, *tags, data.draw(st.sampled_from(rest))))
        assert all(HOWS.index(more[name]) >= HOWS.index(before[name]) for name in before)
    help_ = cheapest_help(with_tags(HILL, *tags))
    blind = sum(item == "blind" for item in before.values())
    assert help_ is None or 0 < help_[1] <= blind


@pytest.mark.parametrize("setup", [HILL, FIRST, with_tags(HILL, "LHf")])
def test_why_names_the_tags_role(setup: Setup) -> None:
    """What is seen says by what; what is blind says what it would need."""
    for sight in sights(setup):
        assert isinstance(sight, Sight)
        named = any(role in sight.why or words in sight.why for role, words in ROLES.items())
        assert named, sight
