"""A process that keeps numbered decisions and says each one that is kept, until it is killed.

Arguments: the archive, the name of this boot, and the first number.
"""

import sys
from itertools import count
from pathlib import Path

from monitor.archive import Writer
from monitor.effects import JournalRow, Text
from monitor.inputs import Moment, Reading


def main(path: Path, boot_id: str, first: int) -> None:
    """Commit one decision after the other; a line on standard output for each one kept."""
    writer = Writer(path, "ostrel-1", "ostrel-hill", lambda wrong, over: None)
    writer.start(1_790_002_800.0)
    boot = writer.open_boot(boot_id, 0.0)
    for number in count(first):
        moment = Moment(boot, float(number), 1_790_002_800.0 + number)
        writer.readings([Reading("LT1.flow", moment, number / 10)], {})
        row = JournalRow(moment, "event", str(number), "open")
        text = Text(number, number, "tavrin", "supply lost", "urgent", "", moment, number + 60.0)
        ticket = writer.commit({"next_event": number + 1}, [row], [(text, ("mail", "modem"))])
        if ticket.wait(60.0):
            sys.stdout.write(f"{number}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
