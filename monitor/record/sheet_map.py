"""How a sheet of the lab is read: which column is what. A TOML file, used again each time."""

import tomllib
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, Field, ValidationError

from monitor.errors import HoldwaterError, RefusedInput
from monitor.record.notes import KINDS, WITHDRAWN

Columns = dict[str, str]


class Part(BaseModel, extra="forbid"):
    """[[note]]: one kind of note that a row may hold.

    columns: field -> heading of its column; fixed: field -> what always stands there.
    """

    kind: str
    columns: Columns
    fixed: Columns = {}


class SheetMap(BaseModel, extra="forbid"):
    """The whole file. date, time, only: headings, or cells such as B2; time may be HH:MM."""

    sheet: str = ""
    date: str
    time: str = "12:00"
    order: Literal["unknown", "day first", "month first"] = "unknown"
    first_row: int | None = Field(default=None, ge=1)
    only_column: str = ""
    only_word: str = ""
    note: list[Part] = Field(min_length=1)


def read_map(path: Path) -> SheetMap:
    """The mapping in a file. HoldwaterError with everything wrong in it."""
    try:
        found = SheetMap.model_validate(tomllib.loads(path.read_text("utf-8-sig")))
    except OSError as error:
        raise HoldwaterError(f"{path}: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise HoldwaterError(f"{path}: {error}") from error
    except ValidationError as error:
        wrong = [
            f"{path}: {' '.join(str(part) for part in item['loc'])}: {item['msg']}"
            for item in error.errors(include_url=False)
        ]
        raise HoldwaterError("\n".join(wrong)) from error
    wrong = [f"{path}: note {n}: {w}" for n, part in enumerate(found.note, 1) for w in _wrong(part)]
    if bool(found.only_column) != bool(found.only_word):
        wrong.append(f"{path}: only_column and only_word belong together")
    if wrong:
        raise HoldwaterError("\n".join(wrong))
    return found


def _wrong(part: Part) -> list[str]:
    """What is wrong with one kind of note."""
    fields = KINDS.get(part.kind)
    if fields is None or part.kind == WITHDRAWN:
        return [f"{part.kind!r} is no kind of note; there are {', '.join(KINDS)}"]
    told = []
    if not part.columns:
        told.append("columns is empty; name one column at least")
    told += [
        f"{part.kind} has no field {name!r}; it has {', '.join(fields)}"
        for name in [*part.columns, *part.fixed]
        if name not in fields
    ]
    for name, text in part.fixed.items():
        try:
            if name in fields:
                fields[name].check(text)
        except RefusedInput as error:
            told.append(f"fixed {name}: {error}")
    for name, field in fields.items():
        if field.is_needed and name not in part.columns and name not in part.fixed:
            told.append(f"{name} is missing ({field.means}); give a column, or say it under fixed")
    return told


def proposal(headings: list[str]) -> list[str]:
    """A mapping to be edited, with the headings that the sheet has."""
    listed = [f"#   {heading}" for heading in headings]
    return [
        "# Which column is what. Save it, correct it, and use it with --map.",
        "# Headings found in the sheet:",
        *listed,
        f'date = "{headings[0] if headings else "Date"}"',
        'time = "12:00"                 # a heading, or one time for all rows',
        'order = "unknown"              # of 4/10/2026: "day first" or "month first"',
        '# only_column = "Tank"         # where a sheet holds several tanks',
        '# only_word = "LT1"',
        "",
        "[[note]]",
        'kind = "dead found"            # all kinds: holdwater note',
        f'columns = {{ count = "{headings[1] if len(headings) > 1 else "Dead"}" }}',
        "",
        "[[note]]",
        'kind = "feeding"',
        'columns = { amount = "Rotifers" }',
        'fixed = { food = "rotifers", unit = "million" }',
    ]
