"""How things stand now, out of the archive: set-up in force, memory of the watch, last readings."""

from monitor.archive import Reader
from monitor.config import load_texts
from monitor.errors import HoldwaterError
from monitor.logic.scaling import to_si
from monitor.logic.state import decode, fresh
from monitor.record.sheets.handover import Last
from monitor.record.sheets.make import Now
from monitor.rig import Tag
from monitor.setup import DAY, Setup


def standing_of(reader: Reader, utc: float) -> tuple[Setup, Now]:
    """The set-up in force and how things stand at `utc`. HoldwaterError where there is none."""
    versions = reader.setups()
    if not versions:
        raise HoldwaterError("the record has no set-up yet; start the watch, or say --config DIR")
    setup = load_texts(versions[-1].files, versions[-1].version)
    document, offsets = reader.durable(), reader.offsets()
    last = {tag.id: found for tag in setup.rig.tags for found in _last(reader, tag, utc)}
    return setup, Now(
        utc,
        offsets[-1].ahead if offsets else 0.0,
        fresh() if document is None else decode(document),
        last,
    )


def _last(reader: Reader, tag: Tag, utc: float) -> list[Last]:
    """The last reading of a tag within a day; none where there was none without a problem."""
    hours = sorted(reader.hours(tag.id, utc - DAY, utc + 1.0, by="utc"), key=lambda h: h.moment.utc)
    if not hours:
        return []
    begin = hours[-1].moment.elapsed
    readings = reader.readings(tag.id, begin, begin + hours[-1].width)
    usable = [r for r in readings if r.value is not None and not r.problem and r.moment.utc <= utc]
    return [Last(r.moment.utc, to_si(tag, r.value)) for r in usable[-1:] if r.value is not None]
