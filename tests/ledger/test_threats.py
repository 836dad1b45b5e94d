"""What somebody could do to a record, by which measure it is found, and which measure is blind to it.

Every row of the table in README (`### Proof without trusting floorterm`) is done to a real file here; a measure that
the table calls blind must be blind, or the table is wrong.
"""

import hashlib
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from msgspec.structs import replace

from floorterm.ledger import CHEAP_PROFILE, Ledger, LedgerReplacedError, Seal, verify_file
from floorterm.ledger.checkpoint import roots_at
from floorterm.ledger.pins import hash_pin
from floorterm.ledger.witness import append_seals, read_seals
from tests.ledger.conftest import Clock, counted, new_ledger, note, staffed
from tests.ledger.tamper import Rows, moved, recomputed, rewrite, with_value

README = Path(__file__).parents[2] / "README.md"
SEALED = 12  # entries 1 to 12 are sealed and signed for; 13 to 16 came after
EDITED = 8
OWN = "975310"  # a PIN that nobody was issued


@dataclass(frozen=True)
class World:
    """A ledger of 16 entries, an older copy of it, and what was kept elsewhere: seal and signed root of entry 12."""

    path: Path
    backup: Path
    witness: Path
    root: bytes


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> World:
    folder = tmp_path_factory.mktemp("threats")
    ledger = staffed(folder / "ledger.db")
    for number in range(4):
        ledger.append(note(f"a{number}"))
    shutil.copyfile(ledger.path, folder / "backup.db")
    for number in range(3):
        ledger.append(note(f"b{number}"))
    seal = ledger.seal("witness")
    append_seals(folder / "seals.txt", (seal,), create=True)
    for number in range(3):
        ledger.append(note(f"c{number}"))
    assert (seal.n, ledger.head().n) == (SEALED, 16)
    _, roots = roots_at(ledger.path, (SEALED,))
    return World(ledger.path, folder / "backup.db", folder / "seals.txt", roots[SEALED])


@pytest.fixture
def world(built: World, tmp_path: Path) -> World:
    """A copy that a test may ruin."""
    path, witness = tmp_path / "ledger.db", tmp_path / "seals.txt"
    shutil.copyfile(built.path, path)
    shutil.copyfile(built.witness, witness)
    return World(path, built.backup, witness, built.root)


# --- the threats ------------------------------------------------------------------------------------


def _edit(rows: Rows, n: int = EDITED) -> Rows:
    return [*rows[: n - 1], with_value(rows[n - 1], value={"text": "other"}), *rows[n:]]


def _rows(change: Callable[[Rows], Rows]) -> Callable[[World], None]:
    return lambda world: rewrite(world.path, change)


def _opened(world: World) -> sqlite3.Connection:
    """The file in a database tool."""
    connection = sqlite3.connect(world.path, isolation_level=None)
    connection.create_function("sha256", 1, lambda text: hashlib.sha256(text.encode()).hexdigest())
    return connection


def _sql(*statements: str) -> Callable[[World], None]:
    def do(world: World) -> None:
        connection = _opened(world)
        for statement in statements:
            connection.execute(statement)
        connection.close()

    return do


def _go_on(path: Path, *keys: str) -> None:
    """Somebody records in that file, as the program does."""
    ledger = Ledger.open(path, clock=Clock(), new_id=counted(500), pin_profile=CHEAP_PROFILE)
    for key in keys:
        ledger.append(note(key))
    ledger.close()


def _put_back(world: World) -> None:
    shutil.copyfile(world.backup, world.path)


def _fork(world: World) -> None:
    """Work went on in a copy, past the number that was sealed in the other."""
    _put_back(world)
    _go_on(world.path, *(f"fork{number}" for number in range(6)))


def _swap(world: World) -> None:
    """The ledger of another plant, just as long."""
    other = new_ledger(world.path.with_name("other.db"), Clock())
    for number in range(15):
        other.append(note(f"x{number}", person=""))
    body, digits = (f'"chain":"{name}"' for name in (other.start().chain, "id-other"))
    other.close()
    shutil.copyfile(other.path, world.path)
    rewrite(
        world.path, lambda rows: recomputed((n, text.replace(body, digits), hash_) for n, text, hash_ in rows)
    )


def _forge_seal(world: World) -> None:
    """Somebody who may write the witness file, too."""
    rewrite(world.path, lambda rows: recomputed(_edit(rows)))
    (seal,) = read_seals(world.witness)
    again = replace(seal, hash=Ledger.open(world.path).entry(SEALED).hash)
    world.witness.write_text(f"{again}\n", encoding="utf-8")


def _forge_clock(world: World) -> None:
    """The machine's clock was set a year back before somebody signed."""
    clock = Clock()
    clock.advance(-365 * 86_400)
    ledger = Ledger.open(world.path, clock=clock, new_id=counted(500), pin_profile=CHEAP_PROFILE)
    ledger.append(note("late"))
    ledger.close()


def _borrow_pin(world: World) -> None:
    """Somebody signs at two terminals at once, with a PIN that was told to them."""
    ledger = Ledger.open(world.path, clock=Clock(), new_id=counted(500), pin_profile=CHEAP_PROFILE)
    for terminal in ("T1", "T2"):
        ledger.append(note(f"at {terminal}", terminal=terminal, identity="pin"))
    ledger.close()


def _own_hash(world: World) -> None:
    """Somebody puts the hash of a PIN of their own in place of the supervisor's, and signs with it."""
    connection = sqlite3.connect(world.path, isolation_level=None)
    hash_ = hash_pin(OWN, CHEAP_PROFILE)
    assert connection.execute("UPDATE pins SET phc = ? WHERE code = 'S01'", (hash_,)).rowcount == 1
    connection.close()
    ledger = Ledger.open(world.path, clock=Clock(), new_id=counted(500), pin_profile=CHEAP_PROFILE)
    signer = ledger.check_pin("S01", OWN)
    ledger.append(note("forged", person=signer.code, identity="pin"))
    ledger.close()


# the next entry, in the name of the supervisor: chained as the program would chain it
_ADD = """INSERT INTO entries (n, body, hash) SELECT n, body, sha256(body) FROM (SELECT n + 1 AS n, json_set(body,
 '$.n', n + 1, '$.prev', hash, '$.key', 'forged' || n, '$.pos', pos + 1, '$.person', 'S01', '$.identity', 'pin') AS body
 FROM entries ORDER BY n DESC LIMIT 1)"""
_UPDATE = "UPDATE entries SET body = replace(body, 'a3', 'zz') WHERE n = 9"
_PUT_IN = """INSERT INTO entries (n, body, hash)
 SELECT 8, replace(body, '"n":9', '"n":8'), hash FROM entries WHERE n = 9"""
_LOOSEN = (
    "PRAGMA writable_schema = ON",
    "UPDATE sqlite_master SET sql = replace(sql, 'length(hash) = 64', 'length(hash) > 0') WHERE name = 'entries'",
)
_RAISE = "UPDATE people SET permission = 'administrator' WHERE code = 'P02'"

# the threat as README names it; what is done; the same tried by SQL while the guards are in place (none: no SQL is
# needed for it)
THREATS: tuple[tuple[str, Callable[[World], None], tuple[str, ...]], ...] = (
    ("one entry edited", _rows(_edit), (_UPDATE,)),
    ("one edited, all later hashes computed anew", _rows(lambda rows: recomputed(_edit(rows))), (_UPDATE,)),
    ("the same after the last seal", _rows(lambda rows: recomputed(_edit(rows, 14))), (_UPDATE,)),
    ("the end cut off, a sealed entry with it", _rows(lambda rows: rows[:10]), ("DELETE FROM entries WHERE n > 10",)),
    ("the end cut off after the last seal", _rows(lambda rows: rows[:13]), ("DELETE FROM entries WHERE n > 13",)),
    ("one deleted", _rows(lambda rows: rows[:7] + rows[8:]), ("DELETE FROM entries WHERE n = 8",)),
    ("one put in between", _rows(lambda rows: [
        *rows[:7], moved(rows[7], 8, key="x", pos=50), *(moved(row, row[0] + 1) for row in rows[7:])]), (_PUT_IN,)),
    ("two swapped", _rows(lambda rows: [*rows[:7], moved(rows[8], 8), moved(rows[7], 9), *rows[9:]]), (_UPDATE,)),
    ("all computed anew, the kept seals forged too", _forge_seal, (_UPDATE,)),
    ("an older backup put back", _put_back, ()),
    ("two copies, both written to", _fork, ()),
    ("another plant's file in its place", _swap, ()),
    ("the guards of the file dropped", _sql("DROP TRIGGER entries_stay"), ()),
    ("a condition taken out of the file's tables", _sql(*_LOOSEN), ()),
    ("the table of people edited", _sql(_RAISE), (_RAISE,)),
    ("an entry added in somebody's name", _sql(_ADD), (_ADD,)),
    ("a PIN hash put in place of somebody's", _own_hash, ("UPDATE pins SET phc = phc || ''",)),
    ("a clock that was set back", _forge_clock, ()),
    ("a PIN that was told to others", _borrow_pin, ()),
)  # fmt: skip

_OF_THE_CHAIN = {"hash", "prev", "missing", "order", "number", "start", "start_again", "body", "version"}


def _keys(world: World, *seals: Seal) -> set[str]:
    problems = verify_file(world.path, seals).problems
    return {problem.say.key.removeprefix("ledger.verify.") for problem in problems}


def _refused(world: World, statements: tuple[str, ...]) -> bool:
    connection = _opened(world)
    try:
        for statement in statements:
            connection.execute(statement)
    except sqlite3.IntegrityError:
        return True
    finally:
        connection.close()
    return False


def _outcome(world: World, do: Callable[[World], None], statements: tuple[str, ...]) -> tuple[str, ...]:
    """What each measure says, in the words of the table."""
    guards = "-" if not statements else "refused" if _refused(world, statements) else "allowed"
    do(world)
    alone = _keys(world)
    report, roots = roots_at(world.path, (SEALED,))
    found = {True: "found", False: "not found"}
    return (
        guards,
        found[bool(alone & _OF_THE_CHAIN)],
        found[bool(alone)],
        found[bool(_keys(world, *read_seals(world.witness)))],
        found[not report.ok or roots.get(SEALED) != world.root],
    )


def _table() -> dict[str, tuple[str, ...]]:
    """README's table: the threat, then what each measure does."""
    text = README.read_text("utf-8").split("| what was done |")[1].split("\n\n")[0]
    rows = (tuple(cell.strip() for cell in line.strip("|").split("|")) for line in text.splitlines()[2:])
    return {row[0]: row[1:] for row in rows}


@pytest.mark.parametrize(("threat", "do", "statements"), THREATS, ids=[threat for threat, *_ in THREATS])
def test_every_measure_finds_or_misses_what_the_table_says(
    world: World, threat: str, do: Callable[[World], None], statements: tuple[str, ...]
) -> None:
    assert _table()[threat] == _outcome(world, do, statements)


def test_the_table_has_no_row_that_is_not_tried() -> None:
    assert set(_table()) == {threat for threat, *_ in THREATS}


def test_an_open_terminal_records_nothing_into_another_plants_file(world: World) -> None:
    ledger = Ledger.open(world.path, clock=Clock(), new_id=counted(500), pin_profile=CHEAP_PROFILE)
    _swap(world)
    with pytest.raises(LedgerReplacedError):
        ledger.append(note("after"))


def test_of_two_copies_that_were_both_written_to_each_holds_and_one_number_has_two_hashes(
    world: World,
) -> None:
    (seal,) = read_seals(world.witness)
    shutil.copyfile(world.path, world.path.with_name("one.db"))
    _fork(world)
    one, other = world.path.with_name("one.db"), world.path
    assert verify_file(one).ok
    assert verify_file(other).ok
    assert verify_file(one, (seal,)).ok
    report = verify_file(other, (seal,))
    assert (report.ok, report.differs_n, report.sealed_n) == (False, SEALED, 0)
