"""What stands on the screen at once is what the ledger says: both readers, on every ledger that is at hand."""

import sqlite3
from pathlib import Path

import pytest

from floorterm.changeover.acts import STARTED, Release
from floorterm.changeover.fold import fold
from floorterm.changeover.register import MARKS
from floorterm.demo import shipped
from floorterm.ledger import Ledger, LedgerBusyError, LedgerError
from floorterm.ledger.sight import Sight
from floorterm.line_record import LineRecord
from tests.ledger.conftest import Clock, new_ledger

_LEDGERS = (shipped(), Path(__file__).parents[1] / "data" / "ledgers" / "layout-1.db")


@pytest.mark.parametrize("path", _LEDGERS, ids=lambda path: path.stem)
def test_it_reads_what_the_ledger_reads(path: Path) -> None:
    ledger, sight = Ledger.open(path, read_only=True), Sight(path)
    assert sight.start() == ledger.start()
    assert sight.head() == ledger.head()
    assert sight.refs() == ledger.refs()
    assert sight.refs(kinds=MARKS, after_n=7, limit=3) == ledger.refs(kinds=MARKS, after_n=7, limit=3)
    assert sight.entries() == ledger.entries()
    for started in ledger.refs(kinds=(STARTED,)):
        work = started.changeover
        assert sight.entries(changeover=work, after_n=started.n) == ledger.entries(
            changeover=work, after_n=started.n
        )
    newest = {"kinds": (STARTED,), "newest_first": True, "limit": 1}
    assert sight.entries(**newest) == ledger.entries(**newest)  # type: ignore[arg-type]
    assert LineRecord(sight).working_lines() == LineRecord(ledger).working_lines()


@pytest.mark.parametrize("path", _LEDGERS, ids=lambda path: path.stem)
def test_what_a_line_holds_after_a_release_is_what_the_whole_of_it_says(path: Path) -> None:
    record, ledger = LineRecord(Sight(path)), Ledger.open(path, read_only=True)
    released = 0
    for line in {started.line for started in ledger.refs(kinds=(STARTED,))}:
        held = record.holds(line)
        end = next((ref for ref in ledger.refs(kinds=(Release.KIND,)) if ref.n == held.n), None)
        if end is not None:
            released += 1
            assert held.fragrances == fold(end.changeover, ledger.entries(changeover=end.changeover)).holds
            assert record.holds(line) == held
    assert released or path.stem != "demo"


def test_the_demo_has_work_to_see() -> None:
    assert LineRecord(Sight(shipped())).working_lines()


def test_nothing_can_be_written_through_it() -> None:
    sight = Sight(shipped())
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        sight._connection.execute("DELETE FROM entries")


def test_what_cannot_be_seen_at_once_is_said_and_not_waited_for(path: Path, clock: Clock) -> None:
    new_ledger(path, clock)
    writer = sqlite3.connect(path, isolation_level=None)
    writer.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LedgerBusyError):
        Sight(path)
    writer.close()
    path.write_bytes(b"no ledger at all" * 64)
    with pytest.raises(LedgerError):
        Sight(path)
