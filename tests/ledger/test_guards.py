"""The guards in the file, tried with plain SQLite as a careless tool would; and the schema for a server."""

import json
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable

from floorterm.entries import canonical, digest
from floorterm.ledger import Ledger, verify_file
from floorterm.ledger.guards import COLUMNS
from floorterm.ledger.schema import GENERATED, METADATA
from floorterm.ledger.tables import ENTRIES, TABLES
from tests.ledger.conftest import note


def _next_row(ledger: Ledger, **changes: object) -> tuple[int, str, str]:
    """The row that would rightly follow, with changes."""
    head = ledger.head()
    body = json.loads(ledger.entry(head.n).body) | {
        "n": head.n + 1,
        "prev": head.hash,
        "key": "fresh",
        "pos": 99,
    }
    text = canonical(body | changes)
    return head.n + 1, text, digest(text)


@pytest.fixture
def tool(ledger: Ledger, path: Path) -> sqlite3.Connection:
    for number in range(3):
        ledger.append(note(f"k{number}"))
    connection = sqlite3.connect(path, isolation_level=None)
    yield connection
    connection.close()
    assert verify_file(path).ok


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET hash = hash WHERE n = 3",
        "UPDATE entries SET body = replace(body, 'a', 'b') WHERE n = 3",
        "UPDATE OR REPLACE entries SET n = 4 WHERE n = 3",
        "UPDATE entries SET n = n + 100",
        "DELETE FROM entries WHERE n = 8",
        "DELETE FROM entries",
        "DELETE FROM people WHERE code = 'P01'",
        "UPDATE people SET code = 'P99' WHERE code = 'P01'",
    ],
)
def test_changing_and_deleting_is_refused(tool: sqlite3.Connection, statement: str) -> None:
    with pytest.raises(sqlite3.IntegrityError, match="floorterm"):
        tool.execute(statement)


def test_a_generated_column_cannot_be_written(tool: sqlite3.Connection) -> None:
    with pytest.raises(sqlite3.OperationalError, match="generated"):
        tool.execute("UPDATE entries SET kind = 'x'")


@pytest.mark.parametrize("verb", ["INSERT", "INSERT OR REPLACE", "INSERT OR IGNORE", "REPLACE"])
def test_rows_out_of_order_are_refused_however_they_are_put_in(
    ledger: Ledger, tool: sqlite3.Connection, verb: str
) -> None:
    n, _, _ = _next_row(ledger)
    wrong = {
        "a gap": (n + 1, *_next_row(ledger, n=n + 1)[1:]),
        "an old number": (n - 1, *_next_row(ledger, n=n - 1)[1:]),
        "another predecessor": _next_row(ledger, prev="0" * 64),
        "a predecessor of nowhere": _next_row(ledger, prev=digest("x")),
        "a key that is taken": _next_row(ledger, key="k0"),
        "a position that is taken": _next_row(ledger, pos=1),
        "number zero": (0, *_next_row(ledger, n=0)[1:]),
    }
    for name, row in wrong.items():
        with pytest.raises(sqlite3.IntegrityError) as caught:
            tool.execute(f"{verb} INTO entries (n, body, hash) VALUES (?, ?, ?)", row)
        assert "floorterm" in str(caught.value), name
    assert tool.execute("SELECT count(*) FROM entries").fetchone()[0] == n - 1


def test_a_replacing_tool_cannot_switch_the_delete_guard_off_either(
    ledger: Ledger, tool: sqlite3.Connection
) -> None:
    tool.execute("PRAGMA recursive_triggers = OFF")
    with pytest.raises(sqlite3.IntegrityError, match="key"):
        tool.execute(
            "REPLACE INTO entries (n, body, hash) VALUES (?, ?, ?)", _next_row(ledger, key="k1", pos=50)
        )
    assert ledger.entries(kinds=["work.note"])[1].key == "k1"


def test_an_upsert_is_refused(ledger: Ledger, tool: sqlite3.Connection) -> None:
    with pytest.raises(sqlite3.IntegrityError):
        tool.execute(
            "INSERT INTO entries (n, body, hash) VALUES (?, ?, ?)"
            " ON CONFLICT (n) DO UPDATE SET hash = excluded.hash",
            (3, *_next_row(ledger, n=3)[1:]),
        )


@pytest.mark.parametrize(
    "change",
    [
        lambda n, body, hash_: (n, body.encode(), hash_),
        lambda n, body, hash_: (n, body, hash_[:-1]),
        lambda n, body, hash_: (n, "not json", hash_),
        lambda n, body, hash_: (n, body.replace(f'"n":{n}', f'"n":{n + 5}'), hash_),
        lambda n, body, hash_: (n, body.replace('"kind":', '"sort":'), hash_),
        lambda n, body, hash_: (n, body.replace('"key":', '"keys":'), hash_),
    ],
)
def test_a_row_that_is_no_entry_is_refused(ledger: Ledger, tool: sqlite3.Connection, change: object) -> None:
    with pytest.raises(sqlite3.Error):
        tool.execute(
            "INSERT INTO entries (n, body, hash) VALUES (?, ?, ?)",
            change(*_next_row(ledger)),  # type: ignore[operator]
        )


def test_the_row_that_rightly_follows_is_let_in(ledger: Ledger, tool: sqlite3.Connection) -> None:
    tool.execute("INSERT INTO entries (n, body, hash) VALUES (?, ?, ?)", _next_row(ledger))
    assert ledger.append(note("after")).pos == 100


def test_the_list_of_generated_columns_is_that_of_the_schema() -> None:
    assert COLUMNS == GENERATED


def test_statements_name_the_columns_that_are_made_with_their_types() -> None:
    made = {table.name: [(one.name, one.type) for one in table.columns] for table in METADATA.sorted_tables}
    assert made == {table.name: [(one.name, one.type) for one in table.columns] for table in TABLES}


def test_the_same_classes_lay_out_a_table_for_postgresql() -> None:
    statement = str(CreateTable(METADATA.tables["entries"]).compile(dialect=postgresql.dialect()))
    assert "body JSON NOT NULL" in statement  # json keeps the text; jsonb would re-order it
    assert "n BIGINT NOT NULL" in statement
    assert statement.count("GENERATED ALWAYS AS") == len(COLUMNS)
    assert "VIRTUAL" not in statement
    query = str(ENTRIES.select().compile(dialect=postgresql.dialect()))
    assert "CAST(entries.body AS TEXT)" in query


@pytest.mark.parametrize(
    ("query", "index"),
    [
        ("SELECT body FROM entries WHERE changeover = 'C' AND n > 3 ORDER BY n", "entries_of_changeover"),
        ("SELECT body FROM entries WHERE line = 'L' AND kind = 'k' ORDER BY n DESC", "entries_of_line"),
        ("SELECT body FROM entries WHERE kind = 'k' ORDER BY n", "entries_of_kind"),
        ("SELECT body FROM entries WHERE at >= 'a' AND at < 'b'", "entries_at"),
        ("SELECT body FROM entries WHERE key = 'k'", "sqlite_autoindex_entries_1"),
        ("SELECT max(pos) FROM entries WHERE changeover = 'C'", "sqlite_autoindex_entries_2"),
        ("SELECT n FROM entries ORDER BY n DESC LIMIT 1", ""),
    ],
)
def test_queries_use_their_index(tool: sqlite3.Connection, query: str, index: str) -> None:
    plan = " ".join(row[3] for row in tool.execute(f"EXPLAIN QUERY PLAN {query}"))
    assert index in plan
    assert "USE TEMP B-TREE" not in plan
    assert ("SEARCH" in plan) == bool(index)
