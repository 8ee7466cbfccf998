"""The life of a run: its batches, and every change of it that the record has, old beside new.

A run is a part of the set-up, so each change is a version with a name and a reason. `changed` makes
the next text of run.toml; `life_lines` tells what came of it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from itertools import pairwise
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from monitor.archive import Reader, SetupVersion
from monitor.config import load_texts
from monitor.errors import HoldwaterError
from monitor.record.gather import day_of, days_of, life_of
from monitor.record.notes import notebook
from monitor.setup import Batch, Run, Setup

NUMBERS = ("hatch_day", "animals_approved")
LISTS = ("also_in", "lights")
LISTED = 5
"""Days without a signed observation that are named; the others are counted."""


def changed(text: str, changes: Sequence[str]) -> str:
    """run.toml with some keys set, remarks kept; changes: KEY=VALUE, or batch.NAME.KEY=VALUE.

    An empty value takes the key out. HoldwaterError for a change that is not written so.
    """
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise HoldwaterError(f"run.toml: {error}") from error
    for change in changes:
        key, sign, value = change.partition("=")
        if not sign:
            raise HoldwaterError(f"{change!r}: write KEY=VALUE, such as hatch=2026-10-06")
        table, key = _table(document, key.strip())
        if value.strip():
            table[key] = _value(key, value.strip())
        elif key in table:
            del table[key]
    return tomlkit.dumps(document)


def _table(document: Any, key: str) -> tuple[Any, str]:
    """The table that a key belongs to; a batch that is not there yet is begun."""
    if not key.startswith("batch."):
        return document, key
    _, name, *rest = key.split(".")
    if len(rest) != 1:
        raise HoldwaterError(f"{key!r}: write batch.NAME.KEY, such as batch.B.hatch")
    batches = document.setdefault("batch", tomlkit.aot())
    for batch in batches:
        if batch.get("id") == name:
            return batch, rest[0]
    batch = tomlkit.table()
    batch["id"] = name
    batches.append(batch)
    return batches[-1], rest[0]


def _value(key: str, text: str) -> object:
    if text in ("true", "false"):
        return text == "true"
    if key in NUMBERS and text.isdecimal():
        return int(text)
    if key in LISTS:
        return [part.strip() for part in text.split(",")]
    return text


def life_lines(reader: Reader, run: str) -> Iterator[str]:
    """The run as it is today, its batches, and its amendments."""
    setup, first, last = life_of(reader, run)
    assert setup.run is not None
    life = setup.run
    state = f"from {first:%a %d %b %Y}" + (f" to {last:%a %d %b %Y}" if life.closed else "")
    yield f"Run {life.id} in {', '.join(life.vessels)}, {state}"
    if life.closed is None and not life.watch_set:
        yield f"THE WATCH IS STOOD DOWN: larvae in {life.tank}, and nobody is called."
    zero = f"dph {life.hatch_day} is {life.hatch:%a %d %b %Y}"
    yield f"{zero}; the number changes at {_clock(life.day_begins)}"
    if life.protocol:
        yield f"Protocol {life.protocol}, {life.approved or 'no number of'} animals approved"
    yield from (_batch_line(setup, batch) for batch in life.batches)
    yield from _unsigned(reader, setup)
    yield from _amendments(reader, life.id)


def _unsigned(reader: Reader, setup: Setup) -> Iterator[str]:
    """Asks for the daily observations that nobody signed."""
    assert setup.run is not None
    entries = notebook(reader, setup.run.id)
    signed = {day_of(setup, e.note.at) for e in entries if e.note.kind == "observation"}
    days = [day for day in days_of(reader, setup.run.id) if day not in signed]
    if days:
        last = ", ".join(f"{day:%d %b}" for day in days[-LISTED:])
        yield f"Observation not signed on {len(days)} days, the last: {last}"


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes // 60:02}:{minutes % 60:02}"


def _batch_line(setup: Setup, batch: Batch) -> str:
    """A batch with its age against the reference: +2 is two days older."""
    assert setup.run is not None
    parts = [f"  batch {batch.id}"]
    if batch.source:
        parts.append(batch.source)
    if batch.stocked is not None:
        parts.append(f"stocked {setup.local(batch.stocked):%d %b %H:%M}")
    parts.append(f"{batch.eggs or 'uncounted'} eggs")
    if batch.hatch is not None:
        older = (setup.run.hatch - setup.local_day(batch.hatch)).days
        parts.append(f"hatched {setup.local(batch.hatch):%d %b %H:%M}, {batch.hatched or '?'}")
        parts.append(f"age {older:+d}" if older else "age of the reference")
    return ", ".join(parts)


def _amendments(reader: Reader, run: str) -> Iterator[str]:
    """Each version in which the run changed, with who, why, and what was before."""
    seen = [
        (version, own.run, own)
        for version in reader.setups()
        if (own := load_texts(version.files, version.version).of_run(run)) is not None
    ]
    for (_, before, _), (version, now, setup) in pairwise(seen):
        assert before is not None and now is not None
        differences = list(_differences(before, now, setup))
        if differences:
            yield _head(version, setup)
            yield from differences


def _head(version: SetupVersion, setup: Setup) -> str:
    when = f"{setup.local(version.moment.utc):%a %d %b %Y %H:%M}"
    return f"Amended {when} by {version.who} (set-up {version.version}): {version.reason}"


def _differences(before: Run, now: Run, setup: Setup) -> Iterator[str]:
    for item in fields(Run):
        old, new = getattr(before, item.name), getattr(now, item.name)
        if old == new:
            continue
        if item.name == "batches":
            known = {batch.id for batch in old}
            added = [batch.id for batch in new if batch.id not in known]
            yield f"  batches: {', '.join(added)} added" if added else "  batches: corrected"
            continue
        yield f"  {item.name}: {_shown(item.name, old, setup)} -> {_shown(item.name, new, setup)}"
    shift = (before.hatch - now.hatch).days + now.hatch_day - before.hatch_day
    if shift:
        yield f"  all day numbers moved by {shift:+d}; tables count by the new ones"


def _shown(name: str, value: object, setup: Setup) -> str:
    if name in ("begun", "closed") and isinstance(value, float):
        return f"{setup.local(value):%d %b %Y %H:%M}"
    if name == "day_begins" and isinstance(value, float):
        return _clock(value)
    return "none" if value is None else str(value)
