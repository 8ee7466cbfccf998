"""Writes what a simulated rig did as a recording: a table of readings, and what people said."""

import csv
import json
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.inputs import Answer, Moment, Reading
from monitor.setup import Setup
from monitor.simulator.simulated import SimulatedRig
from monitor.simulator.story import Story


def write_recording(
    setup: Setup, story: Story, seed: int, until: float, csv_path: Path, inputs_path: Path
) -> int:
    """Play a story for `until` seconds and keep it; returns the number of rows.

    csv_path: a column `time` (ISO 8601 with the site's offset), then one a tag, as delivered;
    an empty cell is no reading, and a word one that came without a value. inputs_path: JSON lines
    with time, kind, who, and where given event, minutes and text. Raises OSError where it cannot
    write.
    """
    rig = SimulatedRig(setup, story, seed)
    tags = [tag.id for tag in setup.rig.tags]
    rows = 0
    with (
        csv_path.open("w", encoding="utf-8", newline="") as table,
        inputs_path.open("w", encoding="utf-8") as said,
    ):
        writer = csv.DictWriter(table, ["time", *tags], lineterminator="\n")
        writer.writeheader()
        moment, row = rig.origin, dict[str, str]()
        for item in rig.until(rig.origin.elapsed + until):
            if isinstance(item, Answer):
                said.write(json.dumps(_answer(item, setup.zone), ensure_ascii=False) + "\n")
                continue
            if row and item.moment != moment:
                writer.writerow({"time": _local(moment, setup.zone), **row})
                rows, row = rows + 1, {}
            moment = item.moment
            row[item.tag] = _cell(item)
        if row:
            writer.writerow({"time": _local(moment, setup.zone), **row})
            rows += 1
    return rows


def _cell(reading: Reading) -> str:
    value = reading.value
    if value is None:
        return reading.problem
    return str(int(value)) if value.is_integer() else repr(value)


def _answer(answer: Answer, zone: ZoneInfo) -> dict[str, object]:
    given = {
        "time": _local(answer.moment, zone),
        "kind": answer.kind,
        "who": answer.who,
        "event": answer.event,
        "minutes": answer.minutes,
        "text": answer.text,
    }
    return {key: value for key, value in given.items() if value not in (None, "")}


def _local(moment: Moment, zone: ZoneInfo) -> str:
    """Site time with its offset; thousandths only where there are any."""
    local = datetime.fromtimestamp(moment.utc, UTC).astimezone(zone)
    return local.isoformat(timespec="milliseconds" if local.microsecond else "seconds")
