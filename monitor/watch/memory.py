"""What a starting watch finds: the set-up in force, the durable state, texts, last readings.

Nothing found here stops the start: a watch that begins with less is better than none.
"""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.archive import OutboxRow, Reader, SetupVersion
from monitor.config import load, load_texts, snapshot
from monitor.errors import ArchiveError, HoldwaterError, SetupError
from monitor.inputs import Reading
from monitor.logic.state import Durable, decode
from monitor.setup import Setup

log = logging.getLogger(__name__)

WARM_FOR = 900.0
"""Seconds of stored readings that a restart begins with: the longest mean in use is of 10 min."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What the archive knew when the watch started."""

    version: SetupVersion | None = None
    durable: Mapping[str, Any] | None = None
    waiting: Sequence[OutboxRow] = ()


def remember(record: Path) -> Memory:
    """What an earlier watch left; nothing where there is no archive or it cannot be read."""
    if not record.exists():
        return Memory()
    try:
        with Reader(record) as reader:
            versions = reader.setups()
            return Memory(
                versions[-1] if versions else None,
                reader.durable(),
                reader.outbox(only_open=True),
            )
    except ArchiveError as error:
        log.error("record=%s cannot_be_read=%r", record, str(error))
        return Memory()


def last_readings(record: Path, end: float) -> list[Reading]:
    """What was read in the last quarter of an hour before `end` (elapsed s), in order of time."""
    try:
        with Reader(record) as reader:
            found = [
                reading for tag in reader.tags() for reading in reader.readings(tag, end - WARM_FOR)
            ]
    except ArchiveError as error:
        log.error("record=%s begin_without_readings=%r", record, str(error))
        return []
    return sorted(found, key=lambda reading: reading.moment.elapsed)


def set_up(config: Path, version: SetupVersion | None) -> tuple[Setup, Mapping[str, str] | None]:
    """The set-up in force; with its files where it comes from the folder and is new."""
    if version is None:
        return load(config, 1), snapshot(config)
    try:
        setup = load_texts(version.files, version.version)
    except SetupError as error:
        log.error("set_up_version=%d no_longer_valid=%r", version.version, str(error))
        return load(config, version.version + 1), snapshot(config)
    try:
        differs = snapshot(config) != dict(version.files)
    except SetupError as error:
        log.warning("config=%s cannot_be_read=%r", config, str(error))
    else:
        if differs:
            remedy = f"bring it in with: holdwater apply {config} --reason TEXT"
            log.warning("config=%s differs_from_version=%d %s", config, version.version, remedy)
    return setup, None


def durable_from(document: Mapping[str, Any] | None) -> Durable | None:
    """The durable state as stored. One that cannot be read costs all but the counters."""
    if document is None:
        return None
    try:
        return decode(dict(document))
    except HoldwaterError as error:
        log.error("durable_state=%r begin_anew=True", str(error))
    counters = {
        key: value
        for key in ("next_event", "next_text")
        if isinstance(value := document.get(key), int) and value > 0
    }
    return decode(counters)
