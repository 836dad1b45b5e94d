"""Random schedules of several terminals and one record, with kills, power cuts, failing calls and lost replies.

    python -m tests.benchmarks.schedules [how many] [first seed]

Half of them on a file, half on a server. Each is compared with a model of what the people were told; one that
disagrees is named by its seed, which plays it again.
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.durability.simulation import simulate


def main(how_many: int = 4000, first: int = 0) -> int:
    """How many schedules disagreed with the model."""
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        for server in (False, True):
            place = "server" if server else "file"
            befell: Counter[str] = Counter()
            told: Counter[str] = Counter()
            steps = 0
            for seed in range(first, first + how_many // 2):
                found = simulate(seed, Path(folder), server=server, terminals=2 + seed % 4)
                befell.update("fault of the disk" if " fails " in it else it for it in found.mishaps)
                told.update(it.name.lower() for it in found.told)
                steps += found.steps
                if found.problems:
                    wrong += 1
                    _say(f"{place}, seed {seed}: {found.problems} after {found.mishaps}")
            _say(f"{place}: seeds {first} to {first + how_many // 2 - 1}, {steps:,} steps; {_listed(befell)}")
            _say(f"  acts: {_listed(told)}")
    _say(f"{wrong} schedules disagree with the model")
    return wrong


def _listed(counted: Counter[str]) -> str:
    return ", ".join(f"{count:,} {name.replace('_', ' ')}" for name, count in counted.most_common())


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  a script that prints


if __name__ == "__main__":
    sys.exit(1 if main(*(int(word) for word in sys.argv[1:3])) else 0)
