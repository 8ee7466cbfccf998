"""A hundred thousand damaged inputs for each parser of the drivers: none gets an exception out."""

import pytest

from sources.drivers.fuzz import PARSERS, Parser, fuzz

FLOOR = 100_000


@pytest.mark.long
@pytest.mark.parametrize("parser", PARSERS, ids=lambda parser: parser.name)
def test_parser_outlives_damage(parser: Parser) -> None:
    """Whatever is done to an input, a parser takes it or refuses it in words."""
    taken, refused = fuzz(parser, FLOOR, seed=20261125)
    assert FLOOR == taken + refused
    assert taken > 0


@pytest.mark.parametrize("parser", PARSERS, ids=lambda parser: parser.name)
def test_sound_inputs_reach_the_parser(parser: Parser) -> None:
    """A few hundred inputs, so that a broken parser is found at once too."""
    fuzz(parser, 300, seed=1)


def test_what_a_parser_may_not_raise_is_told_with_its_input() -> None:
    """An error that leaves a parser fails with the name and the bytes."""

    def broken(data: bytes) -> object:
        return data[3]

    with pytest.raises(AssertionError, match=r"short: IndexError for b'"):
        fuzz(Parser("short", (b"ab",), broken, ()), 50, seed=1)
