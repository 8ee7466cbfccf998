"""How drivers read their part of the set-up: options of the source, addresses of its tags.

An address is a place, then `key=value` where the driver has keys: `adc/voltage0 sensor=loop`.
What holds a space stands in quotes. Everything wrong is collected and raised as one SetupError.
"""

import importlib.util
import shlex
from collections.abc import Callable
from dataclasses import replace
from pathlib import PurePosixPath
from typing import Annotated, TypeVar

from pydantic import AfterValidator, ConfigDict, ValidationError

from monitor.errors import Problem, SetupError
from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources.base import read_options

Options = TypeVar("Options")
Point = TypeVar("Point")
Keys = TypeVar("Keys")

OPTIONS = ConfigDict(extra="forbid", strict=True)
"""For the options of a source, which come from TOML with their types."""
KEYS = ConfigDict(extra="forbid")
"""For the keys of an address, which come as text."""


def _full_path(text: str) -> str:
    if not PurePosixPath(text).is_absolute() or "\0" in text:
        raise ValueError(f"{text!r} is not a full path; begin it with /")
    return text


FullPath = Annotated[str, AfterValidator(_full_path)]


class Sheet:
    """The part of the set-up that belongs to one source, and what was found wrong in it."""

    def __init__(self, setup: SourceSetup, rig: Rig) -> None:
        self.id = setup.id
        self.place = f"source {setup.id}"
        self.page = f"See docs/reference/sources-{setup.kind}.md"
        self.tags = tuple(tag for tag in rig.tags if tag.source == setup.id)
        self.problems: list[Problem] = []
        self._setup = setup
        if not self.tags:
            self.problem("id", "no tag names this source", "Name it in a tag, or take it out")

    def problem(self, key: str, wrong: str, remedy: str) -> None:
        self.problems.append(Problem(self.place, None, key, wrong, remedy))

    def options(self, kind: Callable[..., Options]) -> Options | None:
        """The options of the source, None where they cannot be used."""
        options, problems = read_options(kind, self._setup.options, self.place)
        self.problems += [replace(problem, remedy=self.page) for problem in problems]
        return options

    def points(self, read: Callable[[Tag], Point]) -> dict[str, Point]:
        """By tag, what `read` makes of its address; it raises ValueError with words to be shown."""
        found = {}
        for tag in self.tags:
            try:
                found[tag.id] = read(tag)
            except ValueError as error:
                wrong = f"{tag.address!r} {error}"
                self.problems.append(Problem(f"tag {tag.id}", None, "address", wrong, self.page))
        return found

    def needs(self, package: str, extra: str) -> None:
        """Complain if a package that comes with an extra of ours is not installed."""
        if importlib.util.find_spec(package) is None:
            remedy = f"Install it: pip install 'holdwater[{extra}]'"
            self.problem("kind", f"needs the package {package}, which is not installed", remedy)

    def sound(self, options: Options | None) -> Options:
        """The options, once nothing at all is wrong; SetupError with every problem otherwise."""
        if options is None or self.problems:
            raise SetupError(self.problems)
        return options


def split(address: str) -> tuple[str, dict[str, str]]:
    """The place and the keys of an address. ValueError with words fit to be shown."""
    try:
        words = shlex.split(address)
    except ValueError as error:
        raise ValueError("has quotes that do not close") from error
    if not words:
        raise ValueError("is empty")
    place, *rest = words
    if not place.isprintable():
        raise ValueError("holds characters that cannot be printed")
    keys: dict[str, str] = {}
    for word in rest:
        key, given, value = word.partition("=")
        if not given or not key:
            raise ValueError(f"has {word!r} where key=value belongs")
        if key in keys:
            raise ValueError(f"gives {key} twice")
        keys[key] = value
    return place, keys


def read_keys(kind: Callable[..., Keys], keys: dict[str, str]) -> Keys:
    """The keys of an address as a checked dataclass. ValueError with every problem in them."""
    try:
        return kind(**keys)
    except ValidationError as error:
        told = error.errors(include_url=False, include_input=False)
        raise ValueError(
            "; ".join(f"{'.'.join(map(str, item['loc']))}: {item['msg']}" for item in told)
        ) from error


def alone(address: str) -> str:
    """The place of an address that may have no keys."""
    place, keys = split(address)
    if keys:
        raise ValueError(f"has {', '.join(keys)}, which this source does not know")
    return place


def fit(tag: Tag, *quantities: str) -> None:
    """Complain if a tag measures something else; `number` takes anything, in SI."""
    if tag.measures not in (*quantities, "number"):
        raise ValueError(f"gives {' or '.join(quantities)}, but the tag measures {tag.measures}")
