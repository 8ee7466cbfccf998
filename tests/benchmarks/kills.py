"""kill -9 so many times through the outage of the demo night, and nothing may be forgotten.

Run: PYTHONPATH=.:tests python tests/benchmarks/kills.py [KILLS] [SEED]
The 200 kills that are the default take some ten minutes. Ends with 1 where anything is wrong.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from real.killing import campaign, record_night


def main(kills: int = 200, seed: int = 1) -> None:
    """Play the night twice, undisturbed and killed, and compare."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        outcome = campaign(folder, record_night(folder), kills, seed)
    print(f"{kills} kills, seed {seed}: {len(outcome.rows)} texts, {outcome.repeated} repeated")
    print("\n".join(outcome.wrong) or "nothing lost, nothing made up, the event closed")
    sys.exit(bool(outcome.wrong))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
