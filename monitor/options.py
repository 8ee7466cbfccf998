"""The options of a source or channel, as the set-up gives them, read as a checked dataclass."""

from collections.abc import Callable, Iterable
from typing import TypeVar

from pydantic import ValidationError

from monitor.errors import Problem

Options = TypeVar("Options")


def read_options(
    kind: Callable[..., Options], options: Iterable[tuple[str, object]], place: str, page: str
) -> tuple[Options | None, list[Problem]]:
    """The options as `kind`, or None and every problem in them.

    place: such as "channel mail". page: where the options are listed.
    """
    try:
        return kind(**dict(options)), []
    except ValidationError as error:
        return None, [
            Problem(
                place,
                None,
                ".".join(str(part) for part in wrong["loc"]) or "options",
                wrong["msg"],  # without the value: it may be a password in the wrong place
                f"{page} lists the options",
            )
            for wrong in error.errors(include_url=False, include_input=False)
        ]
