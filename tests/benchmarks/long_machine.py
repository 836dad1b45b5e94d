"""The machine of three people, for longer: `python -m tests.benchmarks.long_machine 20000` (runs; default 5000).

Prints how many runs and acts there were and how many steps were recorded under a lockout; ends with the failing
example if a rule of the machine does not hold.
"""

import sys
from collections import Counter

from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.changeover.test_machine import ThreePeople


def main(runs: int) -> None:
    """Run the machine `runs` times of up to fifty rules each, without the example database."""
    seen: Counter[str] = Counter()

    class Counting(ThreePeople):
        def teardown(self) -> None:
            seen.update(runs=1, acts=len(self.record.entries), under_lockout=self.guarded)
            seen[self.record.state.status] += 1
            super().teardown()

    try:
        run_state_machine_as_test(
            Counting,
            settings=settings(
                max_examples=runs,
                stateful_step_count=50,
                deadline=None,
                database=None,
                suppress_health_check=list(HealthCheck),
            ),
        )
    finally:
        sys.stdout.write(f"{dict(seen)}\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
