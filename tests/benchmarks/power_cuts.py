"""A session of the ledger on a simulated disk, its power cut at every call that changes the disk, many images a cut.

    python -m tests.benchmarks.power_cuts [images] [seed]

For the settings of the program and for those that it does not use: how many images were opened, in how many an
acknowledged entry was missing, and how many did not hold (damaged, half an act).
"""

import sys
import tempfile
from pathlib import Path

from tests.durability.session import check_all, play, settings

COMBINATIONS = (
    ("DELETE", "EXTRA"),
    ("TRUNCATE", "EXTRA"),
    ("PERSIST", "EXTRA"),
    ("DELETE", "FULL"),
    ("DELETE", "NORMAL"),
    ("DELETE", "OFF"),
)


def main(images: int = 10, seed: int = 1) -> int:
    """How many images of the program's own settings were not as they must be."""
    wrong = 0
    _say(f"seed {seed}, {images} images a cut")
    for journal, synchronous in COMBINATIONS:
        with settings(journal, synchronous), tempfile.TemporaryDirectory() as name:
            day, morning = Path(name) / "day", Path(name) / "morning"
            day.mkdir()
            session = play(day, seed=seed, images=images, rounds=3)
            found = list(check_all(session, morning))
        lost, broken = sum(it.lost > 0 for it in found), sum(bool(it.fault) for it in found)
        if (journal, synchronous) == COMBINATIONS[0]:
            wrong = lost + broken
        _say(
            f"{journal:<9}{synchronous:<7}{session.calls:>5} cuts {len(found):>6} different images  "
            f"acknowledged entry lost in {lost:>5}, not whole in {broken:>5}"
        )
    return wrong


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  a script that prints


if __name__ == "__main__":
    sys.exit(1 if main(*(int(word) for word in sys.argv[1:3])) else 0)
