"""A look at the newest entries, as a terminal opens: hashes and chain of the last thousand, however many there are.

The whole record, and the database's own check that reads the whole file, are for `verify`, once a day.
"""

from floorterm.entries import BodyError, read_body
from floorterm.ledger.chain import Chain
from floorterm.ledger.faults import LedgerError
from floorterm.ledger.walk import Walk

NEWEST = 1000


class NewestFaultError(LedgerError):
    """One of the newest entries does not hold: nothing may be recorded behind it."""

    KEY = "growth.newest_fault"


def check_newest(ledger: Chain, count: int = NEWEST) -> None:
    """Raise NewestFaultError for the first of the newest `count` entries that does not hold."""
    walk = Walk.against(())
    for line in ledger.lines(max(0, ledger.head().n - count)):
        if not walk.entries and line.n > 1:
            walk.begin_at(line.n, _prev(line.body))
        walk.take(line.n, line.body.encode("utf-8"), line.hash)
        if walk.problems:
            problem = walk.problems[0]
            raise NewestFaultError(number=problem.n, place=ledger.store.name, reason=problem.text)


def _prev(body: str) -> str:
    try:
        return str(read_body(body).get("prev", ""))
    except BodyError:
        return ""
