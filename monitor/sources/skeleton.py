"""A driver to copy: reads one number from a file for each tag. See docs/how-to/add-a-driver.md.

It is a whole driver and is tested like the others. What a new driver has to say for itself comes
in the order in which it is needed: words, options, addresses, reading.
"""

from pathlib import Path

from pydantic.dataclasses import dataclass as checked

from monitor.rig import Rig, Tag
from monitor.setup import SourceSetup
from monitor.sources import sysfs
from monitor.sources.addresses import OPTIONS, FullPath, Sheet, alone
from monitor.sources.base import Secrets, Source
from monitor.sources.polled import NoReading, PolledSource, Value

# 1. Words. Every problem word the driver may give, and no other: people see them in texts, and
#    the record keeps them. Short, fixed, without values; values go into the detail for the log.
PROBLEMS = (*sysfs.PROBLEMS, "negative")
"""Every problem word of this driver."""


# 2. Options. What [[source]] in rig.toml may hold beside id and kind, with its types and bounds.
#    A secret is never an option: take the name of one, and look it up in `secrets`.
@checked(frozen=True, slots=True, config=OPTIONS)
class SkeletonOptions:
    """folder: where the files are. allow_negative: whether a number below 0 is one."""

    folder: FullPath
    allow_negative: bool = True


# 3. The function that goes into the table DRIVERS of monitor/sources/__init__.py. It checks
#    everything, so that one look shows all that is wrong, and opens nothing.
def skeleton(setup: SourceSetup, rig: Rig, _secrets: Secrets) -> Source:
    """Numbers in files. Checks the set-up; SetupError names everything wrong."""
    sheet = Sheet(setup, rig)
    read = sheet.options(SkeletonOptions)
    names = sheet.points(_file_name)
    options = sheet.sound(read)
    return PolledSource(setup.id, sheet.tags, lambda _clock, _tell: _Files(options, names))


# 4. Addresses. What the address of a tag has to look like. ValueError goes on with "address 'x'",
#    so the text begins with a verb. Use `fit` where the sensor knows what it measures.
def _file_name(tag: Tag) -> str:
    name = alone(tag.address)
    if "/" in name or name in (".", ".."):
        raise ValueError("is not the name of a file in the folder")
    return name


# 5. Reading. One object a run; what it opens, it opens in `read` and gives back in `close`. It
#    may block, but each wait needs a time-out. Values are in the unit of the tag: where the
#    sensor speaks SI, `in_unit(tag, value)` converts.
class _Files:
    """Files that each hold one number."""

    def __init__(self, options: SkeletonOptions, names: dict[str, str]) -> None:
        self._options = options
        self._names = names

    def read(self, tag: Tag) -> Value | None:
        value = sysfs.number(Path(self._options.folder, self._names[tag.id]))
        if value < 0.0 and not self._options.allow_negative:
            raise NoReading("negative", value)
        return value, ""  # the second is a word of doubt; None instead of both: nothing to say yet

    def close(self) -> None:
        """Nothing is kept open."""
