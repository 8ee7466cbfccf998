"""The preview of texts: all that a set-up can send, counted, with the longest names."""

from dataclasses import replace

import pytest

from logic.play import sample
from monitor.inputs import Moment
from monitor.logic.gsm import LIMIT, places
from monitor.logic.preview import specimens, with_longest_names
from monitor.logic.wording import TEMPLATES

NOW = Moment(1, 77.0, 1_792_304_340.0)
SAMPLES = ("ostrel-hill", "first-night", "loop-recording")


def test_every_template_is_shown() -> None:
    """A rig with every sensor shows each template, and each limit by its subject."""
    setup = sample("ostrel-hill")
    found = specimens(setup, NOW)
    assert set(TEMPLATES) <= {item.turn for item in found}
    limits = [item for item in found if item.turn == "temperature high"]
    assert {"LT1", "SU1"} == {item.subject.split("/")[1] for item in limits}


@pytest.mark.parametrize("name", SAMPLES)
def test_longest_names_stay_within_one_part(name: str) -> None:
    """With every name as long as it may be each text keeps to 160 places and to the alphabet."""
    found = specimens(with_longest_names(sample(name)), NOW)
    assert found
    for item in found:
        assert 0 < item.places <= LIMIT, item.body
        assert item.places == places(item.body)


def test_longest_names_are_really_used() -> None:
    """Place and tank take eight letters and a person sixteen; nothing is cut in a word."""
    found = specimens(with_longest_names(sample("ostrel-hill")), NOW)
    broken = next(item.body for item in found if item.turn == "siphon broken")
    assert " OstrelMM LT1MMMMM " in broken
    assert "bring primer. Tavrinmmmmmmmmmm has 9990." in broken


def test_texts_about_duty_are_shown_whole() -> None:
    """Each text about duty stands in the preview, and with the longest names none is cut: every
    sentence ends, and a question ends with how to answer."""
    found = specimens(with_longest_names(sample("ostrel-hill")), NOW)
    turns = ("asked: ", "stands in", "swap failed", "nobody answers", "storm")
    bodies = [item.body for item in found if item.turn.startswith(turns)]
    assert 10 == len(bodies)
    assert all(body.endswith(".") for body in bodies)
    assert any(body.endswith("nothing waits, a sign of life each 2 hours.") for body in bodies)
    asked = [item.body for item in found if item.turn.startswith("asked: ")]
    assert all("Reply OK 9990" in body for body in asked)


def test_nobody_to_be_told() -> None:
    """A set-up without people sends nothing."""
    assert [] == specimens(replace(sample("ostrel-hill"), people=(), worked_out={}), NOW)
