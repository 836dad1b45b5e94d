"""A server's ledger of an earlier layout is brought up to date in one transaction, with a ledger file as the copy."""

from pathlib import Path

import pytest

from floorterm.ledger import CHEAP_PROFILE, Ledger, verify_file, verify_place
from floorterm.ledger.copy_faults import MigrationFaultError, OldLayoutError
from floorterm.ledger.layouts import Step
from floorterm.ledger.migrating import migrate
from tests.ledger.conftest import PIN, Clock, note
from tests.server.conftest import Server

LAYOUT_1 = Path(__file__).parents[1] / "data" / "ledgers" / "server-layout-1.sql"


def test_an_old_layout_is_read_refused_and_brought_up_to_date(
    server: Server, database: str, tmp_path: Path
) -> None:
    place = server.url(database)
    server.sql(LAYOUT_1.read_text(encoding="utf-8").replace(":", r"\:"), database)
    old = Ledger.open(place, clock=Clock(), pin_profile=CHEAP_PROFILE)
    assert verify_place(place).ok
    head = old.head()
    with pytest.raises(OldLayoutError):
        old.append(note("k9"))
    guards = ("DROP TRIGGER entries_follow ON entries",)
    bad = Step(
        to=2, why="bad", file=(), server=(*guards, "UPDATE entries SET hash = upper(hash) WHERE n = 3")
    )
    with pytest.raises(MigrationFaultError):
        migrate(place, tmp_path / "bad.db", steps=(bad,))
    assert verify_place(place).ok
    assert old.head() == head

    done = migrate(place, tmp_path / "before.db")
    assert done is not None
    assert (done.was, done.now, done.entry.n) == (1, 2, head.n + 1)
    assert (verify_file(done.backup).ok, verify_file(done.backup).head) == (True, head.hash)
    assert verify_place(place).ok
    assert migrate(place, tmp_path / "again.db") is None
    fresh = Ledger.open(place, clock=Clock(), pin_profile=CHEAP_PROFILE)
    assert fresh.check_pin("P01", PIN).code == "P01"
    assert fresh.append(note("k9")).n == head.n + 2
    for one in (old, fresh):
        one.close()
