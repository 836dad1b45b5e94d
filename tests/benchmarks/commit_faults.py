"""Every call to a simulated disk that one append makes fails in every way it can, once or from there on.

    python -m tests.benchmarks.commit_faults [cuts]

After each, the power is cut so many times, and the same key is tried again. Printed: how many trials for each call,
and what was told. With the system calls of Python's own SQLite: `python -m tests.benchmarks.system_calls`.
"""

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.durability.faults import KINDS, calls_of_an_append, trial
from tests.durability.machine import Fault


def main(cuts: int = 5) -> int:
    """How many trials were not as they must be."""
    wrong = total = 0
    told: dict[str, Counter[str]] = {call: Counter() for call in KINDS}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number, call in enumerate(calls_of_an_append(folder)):
            for code, share in KINDS[call]:
                for lasts in (False, True):
                    found = trial(folder, number, Fault(code, share), lasts=lasts, cuts=cuts)
                    total += 1
                    told[call][found.told] += 1
                    if found.wrong:
                        wrong += 1
                        _say(
                            f"call {number} ({call}), {code}, {share} of it done, lasts {lasts}: {found.wrong}"
                        )
    for call, said in told.items():
        _say(f"{call:<17}{', '.join(f'{count} {what}' for what, count in said.most_common())}")
    _say(f"{total} trials with {cuts} cuts after each, {wrong} of them wrong")
    return wrong


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  a script that prints


if __name__ == "__main__":
    sys.exit(1 if main(*(int(word) for word in sys.argv[1:2])) else 0)
