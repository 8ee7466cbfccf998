"""Repeated tables: their rows, their names, and the options of sources and channels."""

import re
from collections.abc import Collection, Iterable
from typing import Any

from monitor.config.lines import Path
from monitor.config.models import ServiceRow
from monitor.config.rules import Rules, check_row, is_number
from monitor.config.sheet import Sheet, nearest, shown

Found = list[tuple[Path, Any]]
"""The rows that could be made out, with their paths."""
_OPEN_SECRET = re.compile(r"(password|passwd|passphrase|token|secret|api_?key|pin)$", re.I)


def read_rows(sheet: Sheet, table: str, model: Any, rules: Rules) -> Found:
    """The rows of a repeated table that could be made out; two of one id are told."""
    found = [(path, check_row(sheet, path, raw, model, rules)) for path, raw in sheet.rows(table)]
    unique(sheet, table)
    return [(path, row) for path, row in found if row is not None]


def unique(sheet: Sheet, table: str, key: str = "id") -> None:
    """Complain of rows that have the id of an earlier one."""
    seen: dict[str, Path] = {}
    for path, raw in sheet.rows(table):
        name = raw.get(key)
        if not isinstance(name, str):
            continue
        if name in seen:
            wrong = f"{shown(name)} is there already, in line {sheet.line(seen[name])}"
            sheet.problem((*path, key), wrong, "Give each a name of its own")
        seen.setdefault(name, path)


def refer(sheet: Sheet, path: Path, value: Any, known: Iterable[str], what: str) -> None:
    """Complain of a name that nothing bears."""
    names = [name for name in known if isinstance(name, str)]
    if isinstance(value, str) and value not in names:
        remedy = nearest(value, names, "Known")
        sheet.problem(path, f"{shown(value)} is not a {what}", remedy)


def services(sheet: Sheet, table: str, rules: Rules, secrets: Collection[str] | None) -> Found:
    """Sources or channels. Options are left to the kind, but secrets must be named, not told.

    secrets: the names there are, None where nobody can know.
    """
    found = read_rows(sheet, table, ServiceRow, rules)
    for path, row in found:
        for key, value in (row.model_extra or {}).items():
            here = (*path, key)
            if _OPEN_SECRET.search(key) and not key.endswith("_secret"):
                remedy = f'Put it in secrets.toml and write {key}_secret = "its name there"'
                sheet.problem(here, "a secret must not stand here", remedy)
            elif not _is_option(value):
                wrong = f"is {shown(value)}, not text, a number, true or false, or a list of these"
                sheet.problem(here, wrong, "Write one value, or a flat list")
            elif key.endswith("_secret") and value and secrets is not None:
                refer(sheet, here, value, secrets, "name in secrets.toml")
    return found


def _is_option(value: Any) -> bool:
    if isinstance(value, list):
        return all(not isinstance(item, list) and _is_option(item) for item in value)
    return isinstance(value, str | bool) or is_number(value)


def options(row: ServiceRow) -> tuple[tuple[str, object], ...]:
    """What a row holds beside id and kind, in its order."""
    return tuple(
        (key, tuple(value) if isinstance(value, list) else value)
        for key, value in (row.model_extra or {}).items()
    )
