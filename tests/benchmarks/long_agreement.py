"""Ten thousand histories of a lockout, live guard against audit, freely drawn; half of them by careful people.

Every violation that the audit finds in an accepted history must have been said on the screen at once. Run:

    python -m tests.benchmarks.long_agreement 10000 [first seed]
"""

import sys
import time
from collections import Counter

from tests.lockout.agreement import unexplained, walk


def main(count: int, first: int) -> int:
    """Walk, compare, print what was seen. Returns the number of disagreements."""
    begun, wrong = time.perf_counter(), 0
    words: Counter[str] = Counter()
    said: Counter[str] = Counter()
    acts = closed = judged = 0
    for seed in range(first, first + count):
        careful = seed % 2 == 0
        floor = walk(seed, 120, careful=careful)
        events = floor.state.events
        acts += len(events)
        closed += floor.state.closed
        words.update({event.event.value for event in events})
        said.update(set(floor.said))
        if not events:
            continue
        judged += any(one.level == "V" for one in floor.findings())
        short = unexplained(floor) or (careful and floor.said)
        if short:
            wrong += 1
            print(f"seed {seed}: {short}")  # noqa: T201
    seconds = time.perf_counter() - begun
    print(f"{count} histories, {acts} acts, {closed} closed, {judged} judged short, in {seconds:.0f} s")  # noqa: T201
    print("histories with each event:", dict(words.most_common()))  # noqa: T201
    print("said at once:", dict(said.most_common()))  # noqa: T201
    print(f"disagreements: {wrong}")  # noqa: T201
    return wrong


if __name__ == "__main__":
    arguments = [int(word) for word in sys.argv[1:3]]
    sys.exit(
        bool(main(arguments[0] if arguments else 10_000, arguments[1] if len(arguments) > 1 else 1_000_000))
    )
