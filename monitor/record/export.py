"""A run as a folder of plain files: tables in CSV with a description, and a workbook.

The description is a Frictionless Data Package 2.0 (datapackage.org: resources, Table Schema, hash,
bytes, missingValues). Times are seconds since 1970-01-01 UTC in the standard calendar, and flags
carry flag_values and flag_meanings, as CF Conventions 1.13 (4.4, 3.5) has them; local times with
their offset stand beside. Phone numbers and mail addresses are in none of the files.
"""

import csv
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from monitor import __version__
from monitor.errors import HoldwaterError
from monitor.record.export_fields import (
    ANSWER_FIELDS,
    EVENT_FIELDS,
    LIMIT_FIELDS,
    MINUTE_FIELDS,
    NOTE_FIELDS,
    READING_FIELDS,
    Field,
    fields_of,
)
from monitor.record.export_rows import (
    answer_rows,
    day_rows,
    event_rows,
    limit_rows,
    note_rows,
    reading_rows,
)
from monitor.record.files import plain_name
from monitor.record.harmless import harmless
from monitor.record.material import Material, Told
from monitor.record.privacy import Veil
from monitor.record.rows import Missing
from monitor.record.workbook import write_workbook
from monitor.rig import Tag

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
TABLE_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
MISSING = ["", *(word.value for word in Missing)]


@dataclass(frozen=True, slots=True)
class Resource:
    """One file of the package, written."""

    name: str
    path: str
    title: str
    fields: tuple[Field, ...]
    size: int
    sha256: str
    key: tuple[str, ...] = ()


def export(
    material: Material, folder: Path, veil: Veil, readings: str, created: float, told: Told
) -> list[Path]:
    """Write the package into a new or empty folder; the files written.

    readings: "all", "minutes" (least, mean, highest of each) or "none". created: UTC s.
    """
    _make_empty(folder)
    tables = Tables(folder)
    days = day_rows(material, veil)
    keys = ("dph",)
    tables.add("days", "Day table", fields_of(days), days, keys)
    tables.add("events", "Events", EVENT_FIELDS, event_rows(material), ("event",))
    answers, notes = list(answer_rows(material, veil)), list(note_rows(material, veil))
    tables.add("answers", "What people answered and did", ANSWER_FIELDS, answers)
    tables.add("notes", "What people wrote down", NOTE_FIELDS, notes, ("note",))
    tables.add("limits", "Limits in force, by version", LIMIT_FIELDS, limit_rows(material))
    if readings != "none":
        fields = READING_FIELDS if readings == "all" else MINUTE_FIELDS
        for tag in material.tags:
            told(f"readings: {tag.id}")
            name = f"{'readings' if readings == 'all' else 'minutes'}-{plain_name(tag.id)}"
            rows = reading_rows(material, tag, readings)
            tables.add(name, _title(tag), _with_unit(fields, tag), rows)
    told("workbook")
    book = folder / "record.xlsx"
    write_workbook(book, days, list(event_rows(material)), answers, notes)
    package = _package(material, tables.written, created, veil)
    package["workbook"] = {"path": book.name, "bytes": book.stat().st_size, "hash": _hash(book)}
    description = folder / "datapackage.json"
    text = json.dumps(package, ensure_ascii=False, indent=2, allow_nan=False)
    description.write_text(text + "\n", encoding="utf-8")
    return [description, book, *(folder / resource.path for resource in tables.written)]


def _make_empty(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        full = any(folder.iterdir())
    except OSError as error:
        raise HoldwaterError(f"{folder}: cannot be used ({error.strerror})") from error
    if full:
        raise HoldwaterError(f"{folder} is not empty; name a new folder, so that nothing is lost")


class Tables:
    """Writes one CSV file after the other and keeps what the description needs."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.written: list[Resource] = []

    def add(
        self,
        name: str,
        title: str,
        fields: Sequence[Field],
        rows: Iterable[Mapping[str, object] | Sequence[object]],
        key: tuple[str, ...] = (),
    ) -> None:
        taken = {resource.name for resource in self.written}
        if name in taken:  # two tags that differ only in a sign
            name = f"{name}-{len(taken)}"
        path = self._folder / f"{name}.csv"
        with path.open("x", encoding="utf-8", newline="") as file:
            _write(file, [field.name for field in fields], rows)
        self.written.append(
            Resource(name, path.name, title, tuple(fields), path.stat().st_size, _hash(path), key)
        )


def _write(
    file: TextIO, names: Sequence[str], rows: Iterable[Mapping[str, object] | Sequence[object]]
) -> None:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(names)
    for row in rows:
        if isinstance(row, Mapping):
            writer.writerow([harmless(row.get(name)) for name in names])
        else:
            writer.writerow(row)


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return f"sha256:{hashlib.file_digest(file, 'sha256').hexdigest()}"


def _title(tag: Tag) -> str:
    return f"Readings of {tag.id}: {tag.measures} of {tag.of}"


def _with_unit(fields: Sequence[Field], tag: Tag) -> tuple[Field, ...]:
    return tuple(field.in_unit(tag.unit.name or "1") for field in fields)


def _package(
    material: Material, resources: Sequence[Resource], created: float, veil: Veil
) -> dict[str, object]:
    rig = material.setup.rig
    return {
        "$schema": PROFILE,
        "name": plain_name(material.run),
        "title": veil.text(f"Run {material.run}, {rig.label}"),
        "created": datetime.fromtimestamp(round(created), UTC).isoformat().replace("+00:00", "Z"),
        "resources": [_described(resource) for resource in resources],
        "conventions": "Times and flags after CF Conventions 1.13",
        "software": f"holdwater {__version__}",
        "timeZone": rig.zone,
        "referenceHatch": _hatch(material),
        "setupVersions": [
            {
                "version": version.version,
                "from": material.site.iso(version.moment.utc),
                "reason": veil.text(version.reason),
                "sha256": {
                    name: hashlib.sha256(text.encode()).hexdigest()
                    for name, text in sorted(version.files.items())
                },
            }
            for version in material.versions
        ],
    }


def _hatch(material: Material) -> dict[str, object]:
    run = material.setup.run
    assert run is not None
    return {"date": run.hatch.isoformat(), "dph": run.hatch_day}


def _described(resource: Resource) -> dict[str, object]:
    schema: dict[str, object] = {
        "$schema": TABLE_PROFILE,
        "fields": [field.described() for field in resource.fields],
        "missingValues": MISSING,
    }
    if resource.key:
        schema["primaryKey"] = list(resource.key)
    return {
        "name": resource.name,
        "type": "table",
        "title": resource.title,
        "path": resource.path,
        "scheme": "file",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": resource.size,
        "hash": resource.sha256,
        "schema": schema,
    }
