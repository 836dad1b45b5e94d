"""What a terminal looks at before it records anything: the newest entries, and no more of them than it says."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from floorterm.demo import shipped
from floorterm.entries import canonical, read_body
from floorterm.ledger import Ledger, check_newest
from floorterm.ledger.guards import GUARDS
from floorterm.ledger.newest import NEWEST, NewestFaultError
from floorterm.terminal import opening
from tests.ledger.conftest import note, staffed


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    """Five entries about people, then ten notes."""
    made = staffed(tmp_path / "ledger.db")
    for number in range(10):
        made.append(note(f"k{number}"))
    return made


def _altered(ledger: Ledger, n: int) -> None:
    """Another text in entry n, its hash as it was, by somebody with a database tool."""
    with closing(sqlite3.connect(ledger.path, isolation_level=None)) as connection:
        connection.execute("DROP TRIGGER entries_stay")
        body = canonical(read_body(ledger.entry(n).body) | {"reason": "another"})
        connection.execute("UPDATE entries SET body = ? WHERE n = ?", (body, n))
        connection.execute(GUARDS["entries_stay"])


@pytest.mark.parametrize("count", [1, 5, 14, 15, NEWEST])
def test_a_ledger_that_holds_is_opened(ledger: Ledger, count: int) -> None:
    check_newest(ledger, count)


@pytest.mark.parametrize("n", [6, 11, 15])
def test_an_altered_one_among_the_newest_is_named(ledger: Ledger, n: int) -> None:
    _altered(ledger, n)
    with pytest.raises(NewestFaultError) as fault:
        check_newest(ledger)
    assert str(n) in str(fault.value)
    assert "paper" in str(fault.value)


def test_a_row_that_somebody_took_out_is_seen(ledger: Ledger) -> None:
    with closing(sqlite3.connect(ledger.path, isolation_level=None)) as connection:
        connection.execute("DROP TRIGGER entries_remain")
        connection.execute("DELETE FROM entries WHERE n = 12")
        connection.execute(GUARDS["entries_remain"])
    with pytest.raises(NewestFaultError):
        check_newest(ledger)


def test_what_lies_further_back_is_for_verifying(ledger: Ledger) -> None:
    """The bound, said openly: an opening takes the same time whatever the record has grown to."""
    _altered(ledger, 6)
    check_newest(ledger, 9)
    with pytest.raises(NewestFaultError):
        check_newest(ledger, 10)


def test_a_terminal_that_finds_such_an_entry_does_not_open_the_plant(ledger: Ledger) -> None:
    _altered(ledger, 15)
    with pytest.raises(NewestFaultError):
        opening.opened(ledger.path, None, "T1")


def test_the_demo_holds() -> None:
    check_newest(Ledger.open(shipped(), read_only=True))
