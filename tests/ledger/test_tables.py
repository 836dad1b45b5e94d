"""What the tables of a file are made of is compared too: a condition that somebody dropped lets nothing through yet."""

import shutil
import sqlite3
from pathlib import Path

import pytest

from floorterm.demo import shipped
from floorterm.ledger import verify_file
from floorterm.ledger.file_layout import INDICES, TABLES, parts, plain
from floorterm.ledger.migrating import migrate
from tests.ledger.conftest import note, staffed

KEPT = Path(__file__).parents[1] / "data" / "ledgers"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    ledger = staffed(tmp_path / "ledger.db")
    ledger.append(note("a"))
    ledger.close()
    return tmp_path / "ledger.db"


def _made(path: Path) -> dict[tuple[str, str], str]:
    connection = sqlite3.connect(path)
    query = "SELECT type, name, sql FROM sqlite_master WHERE type IN ('table', 'index') AND sql IS NOT NULL"
    found = {(sort, name): sql for sort, name, sql in connection.execute(query)}
    connection.close()
    return found


def _altered(path: Path, name: str, old: str, new: str) -> None:
    """As whoever may write the file can: the making itself, and nothing that was recorded."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA writable_schema = ON")
    (made,) = connection.execute("SELECT sql FROM sqlite_master WHERE name = ?", (name,)).fetchone()
    assert made.count(old) == 1
    connection.execute("UPDATE sqlite_master SET sql = ? WHERE name = ?", (made.replace(old, new), name))
    connection.close()


def _problems(path: Path) -> list[tuple[str, str]]:
    report = verify_file(path)
    assert report.ok is not bool(report.problems)
    return [
        (one.say.key.removeprefix("ledger.verify."), str(one.say.facts.get("name")))
        for one in report.problems
    ]


def test_what_a_file_is_compared_with_is_what_the_program_makes(path: Path) -> None:
    wanted = {("table", name): plain(made) for name, made in TABLES.items()}
    wanted |= {("index", name): plain(made) for name, made in INDICES.items()}
    assert {key: plain(made) for key, made in _made(path).items()} == wanted
    assert _problems(path) == []


@pytest.mark.parametrize("old", sorted(KEPT.glob("layout-*.db")), ids=lambda path: path.stem)
def test_an_older_layout_holds_before_and_after_it_is_brought_up_to_date(old: Path, tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    shutil.copyfile(old, path)
    assert _problems(path) == []
    assert migrate(path, tmp_path / "before.db") is not None
    assert _problems(path) == []


def test_the_demo_and_a_file_that_was_packed_anew_hold(tmp_path: Path) -> None:
    path = tmp_path / "demo.db"
    shutil.copyfile(shipped(), path)
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("VACUUM")
    connection.execute("ANALYZE")
    connection.close()
    assert _problems(path) == []


_HASH = ", \n\tCONSTRAINT entries_hash_is_whole CHECK (length(hash) = 64)"
_PERSON = "person TEXT GENERATED ALWAYS AS (body ->> 'person')"


@pytest.mark.parametrize(
    ("name", "old", "new", "found"),
    [
        ("entries", _HASH, "", ("guards", "entries_hash_is_whole")),
        ("entries", "CHECK (length(hash) = 64)", "CHECK (length(hash) > 6)", ("guards", "entries_hash_is_whole")),
        ("entries", "(body ->> 'n')", "(body ->> 'N')", ("guards", "entries_n_is_the_bodys")),
        ("entries", _PERSON, _PERSON[:-1] + " || '')", ("column_altered", "person")),
        ("entries", _PERSON, _PERSON.replace("'person'", "'person '"), ("column_altered", "person")),
        ("entries", "hash TEXT NOT NULL", "hash TEXT", ("column_altered", "hash")),
        ("entries", _HASH, f"{_HASH}, CONSTRAINT mine CHECK (n < 9999)", ("foreign_guard", "mine")),
        ("people", "permission TEXT NOT NULL", "permission TEXT", ("column_altered", "permission")),
        ("attempts", "failures INTEGER NOT NULL", "failures INTEGER NOT NULL CHECK (failures < 3)",
            ("column_altered", "failures")),
        ("pins", "phc TEXT NOT NULL, \n\tone_time INTEGER NOT NULL", "one_time INTEGER NOT NULL, phc TEXT NOT NULL",
            ("table_altered", "pins")),
        ("entries_at", "(at)", "(at) WHERE n > 9", ("index_altered", "entries_at")),
    ],
)  # fmt: skip
def test_what_was_altered_in_the_making_of_a_table_is_named(
    path: Path, name: str, old: str, new: str, found: tuple[str, str]
) -> None:
    _altered(path, name, old, new)
    assert found in _problems(path)


def test_an_index_that_is_gone_and_a_foreign_one_are_named(path: Path) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("DROP INDEX entries_at")
    connection.execute("CREATE UNIQUE INDEX mine ON entries (terminal) WHERE n > 9")
    connection.close()
    assert _problems(path) == [("index_altered", "entries_at"), ("foreign_guard", "mine")]


def test_a_table_that_is_gone_is_named(path: Path) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("ALTER TABLE attempts RENAME TO tries")
    connection.close()
    assert _problems(path) == [("table_missing", "attempts")]


def test_commas_and_brackets_in_a_text_are_no_part_of_the_list() -> None:
    columns, limits = parts("CREATE TABLE x (a TEXT DEFAULT ',(', \n b TEXT,CHECK (a IN ('(,', 'c  d')))")
    assert columns == {"a": "a TEXT DEFAULT ',('", "b": "b TEXT"}
    assert limits == {"x: CHECK (a IN ('(,', 'c  d'))": "CHECK (a IN ('(,', 'c  d'))"}
