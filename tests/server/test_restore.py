"""A backup restored to an empty database, and what stands there already is left alone."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy.exc import ProgrammingError

from floorterm.cli import main
from floorterm.ledger import CHEAP_PROFILE, Ledger, LedgerExistsError, back_up, verify_place
from floorterm.ledger.restore import restore
from tests.ledger.conftest import PIN, note
from tests.ledger.test_restore import signing
from tests.server.conftest import Server


def test_a_backup_of_a_server_is_restored_to_an_empty_database(
    ledger: Ledger, server: Server, place: str, database: str, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.db"
    back_up(ledger, copy)
    sealed = ledger.seal("paper")
    with pytest.raises(LedgerExistsError):
        restore(copy, server.url(server.database_of(place)), signing(), pin_profile=CHEAP_PROFILE)
    target = server.url(database)
    done = restore(copy, target, signing(), seals=(sealed,), pin_profile=CHEAP_PROFILE)
    assert (done.entry.n, done.entry.value["missing"], done.aside) == (6, 2, None)
    report = verify_place(target, (sealed, done.seal))
    assert (report.ok, report.sealed_n, report.chain) == (True, 6, done.seal.chain)
    back = Ledger.open(target)
    assert back.append(note("k1")).n == 8
    assert back.head().chain == done.seal.chain
    back.close()


def test_a_restored_database_can_be_given_to_the_terminals_role(
    ledger: Ledger, server: Server, database: str, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.db"
    back_up(ledger, copy)
    asked = ["restore", str(copy), "--by", "S01", "--and", "P01", "--reason", "the server burnt"]
    typed = f"\n{PIN}\n{PIN}\n"
    for role in ([], ["--role", "nobody"], ["--role", "postgres"]):  # the last one owns the tables
        refused = CliRunner().invoke(main, [*asked, *role, "--db", server.url(database)])
        assert (refused.exit_code, "role" in refused.output) == (2, True)
    done = CliRunner().invoke(main, [*asked, "--role", "terminal", "--db", server.url(database)], input=typed)
    assert done.exit_code == 0, done.output
    terminal = Ledger.open(server.url(database, "terminal"))
    assert terminal.append(note("k1")).person == "P01"
    terminal.close()
    with pytest.raises(ProgrammingError, match="permission denied"):
        server.sql("DELETE FROM entries", database, role="terminal")
