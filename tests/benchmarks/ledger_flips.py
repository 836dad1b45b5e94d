"""Turn over every byte of a small ledger, one at a time: whatever differs from what was recorded is noticed.

    python tests/benchmarks/ledger_flips.py [STEP]        default 1, every byte (some ten minutes)

Prints how many of the changes were noticed by verification, refused at opening, or changed nothing that was
recorded; ends with status 1 if one altered something unnoticed or ended in anything but a sentence.
"""

import sqlite3
import sys
import tempfile
from collections import Counter
from pathlib import Path

from floorterm.entries import Draft
from floorterm.ledger import CHEAP_PROFILE, Ledger, LedgerError, verify_ledger
from floorterm.people import Permission, Person

_QUERIES = (
    "SELECT * FROM entries NOT INDEXED ORDER BY n",
    "SELECT * FROM people NOT INDEXED ORDER BY code",
)


def _recorded(path: Path) -> list[object] | None:
    connection = sqlite3.connect(path)
    try:
        return [connection.execute(query).fetchall() for query in _QUERIES]
    except (sqlite3.Error, UnicodeDecodeError):
        return None
    finally:
        connection.close()


def _outcome(path: Path, wanted: list[object] | None) -> str:
    same = _recorded(path) == wanted
    try:
        noticed = not verify_ledger(path).ok
    except LedgerError:
        return "refused"
    try:
        ledger = Ledger.open(path)
        ledger.entries()
        ledger.people()
        ledger.append(Draft(kind="work.note", key="more", person="P01"))
    except LedgerError:
        pass
    if same:
        return "nothing recorded differs"
    return "noticed" if noticed else "UNNOTICED"


def main() -> None:
    """One line for each kind of outcome."""
    step = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    found: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "ledger.db"
        ledger = Ledger.create(
            path, plant_id="x", plant_name="X", time_zone="America/Denver", pin_profile=CHEAP_PROFILE
        )
        ledger.add_person(Person("P01", "Pat Example", Permission.ADMINISTRATOR), None)
        for number in range(10):
            ledger.append(Draft(kind="work.note", key=f"k{number}", person="P01", changeover="C-0001"))
        content, wanted = path.read_bytes(), _recorded(path)
        for place in range(0, len(content), step):
            flipped = bytearray(content)
            flipped[place] ^= 0xFF
            path.write_bytes(flipped)
            try:
                found[_outcome(path, wanted)] += 1
            except Exception as fault:
                found[f"ENDED IN {fault!r}"] += 1
    for outcome, times in found.most_common():
        print(f"{times:8,}  {outcome}")  # noqa: T201  a script that prints
    sys.exit(any(outcome[0].isupper() for outcome in found))


if __name__ == "__main__":
    main()
