"""Verification: what it notices, what only a seal notices, and that it says so."""

import contextlib
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec import to_builtins
from msgspec.structs import replace

from floorterm.entries import canonical, digest
from floorterm.ledger import (
    Ledger,
    LedgerEmptyError,
    LedgerError,
    LedgerMissingError,
    NotALedgerError,
    Seal,
    SealFaultError,
    verify,
    verify_file,
    verify_ledger,
    walk,
)
from tests.ledger.conftest import note
from tests.ledger.tamper import Rows, moved, recomputed, rewrite, with_value


@pytest.fixture
def full(ledger: Ledger) -> Ledger:
    """Entries 1 to 12: the start, four people, seven notes."""
    for number in range(7):
        ledger.append(note(f"k{number}"))
    return ledger


def _found(path: Path, seals: tuple[Seal, ...] = ()) -> list[tuple[int, str]]:
    report = verify_file(path, seals)
    assert report.ok == (not report.problems)
    return [(problem.n, problem.say.key.removeprefix("ledger.verify.")) for problem in report.problems]


def test_an_untouched_ledger_holds(full: Ledger, path: Path) -> None:
    head = full.head()
    report = verify_file(path)
    assert (report.ok, report.problems, report.more) == (True, (), 0)
    assert (report.entries, report.first, report.n, report.head, report.chain) == (
        12,
        1,
        head.n,
        head.hash,
        head.chain,
    )
    assert json.loads(json.dumps(to_builtins(report)))["sealed_n"] == 0


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        # an edited text, the hash left: the entry itself is named
        (lambda rows: _at(rows, 7, lambda row: with_value(row, value={"text": "other"})), [(7, "hash")]),
        # an edited text and its hash: the next entry no longer follows
        (lambda rows: _at(rows, 7, lambda row: _hashed(with_value(row, reason="late"))), [(8, "prev")]),
        # another hash alone
        (lambda rows: _at(rows, 7, lambda row: (*row[:2], "0" * 64)), [(7, "hash"), (8, "prev")]),
        # one row gone, several gone, the first gone
        (lambda rows: rows[:6] + rows[7:], [(8, "missing")]),
        (lambda rows: rows[:6] + rows[9:], [(10, "missing")]),
        (lambda rows: rows[1:], [(2, "missing")]),
        # two texts swapped
        (
            lambda rows: [*rows[:6], moved(rows[7], 7), moved(rows[6], 8), *rows[8:]],
            [(7, "prev"), (8, "prev"), (9, "prev")],
        ),
        # one put in between, the later ones renumbered, their hashes computed, not their predecessors
        (
            lambda rows: [
                *rows[:7], moved(rows[6], 8, key="x", pos=50), *(moved(row, row[0] + 1) for row in rows[7:]),
            ],
            [(8, "prev"), (9, "prev"), (10, "prev"), (11, "prev"), (12, "prev"), (13, "prev")],
        ),
        # a second beginning
        (
            lambda rows: recomputed([*rows, (0, rows[0][1].replace('"chain":"', '"chain":"x'), "")]),
            [(13, "start_again")],
        ),
        # no beginning
        (
            lambda rows: recomputed([with_value(rows[0], kind="day.opened", key="d"), *rows[1:]]),
            [(1, "start")],
        ),
        # a format that nobody knows
        (
            lambda rows: recomputed([*rows[:11], with_value(rows[11], v=2)]),
            [(12, "version")],
        ),
        # a person added twice
        (
            lambda rows: recomputed([*rows, with_value(rows[2], key="again")]),
            [(13, "person_entry")],
        ),
    ],
)  # fmt: skip
def test_what_was_altered_is_noticed_and_named(
    full: Ledger, path: Path, change: Callable[[Rows], Rows], wanted: list[tuple[int, str]]
) -> None:
    rewrite(path, change)
    assert _found(path) == wanted


def _at(rows: Rows, n: int, change: Callable[[tuple[int, str, str]], tuple[int, str, str]]) -> Rows:
    return [change(row) if row[0] == n else row for row in rows]


def _hashed(row: tuple[int, str, str]) -> tuple[int, str, str]:
    return row[0], row[1], digest(row[1])


def test_a_body_with_a_key_twice_is_noticed(full: Ledger, path: Path) -> None:
    def double(rows: Rows) -> Rows:
        n, body, _ = rows[11]
        text = body.replace('"v":1', '"terminal":"T9","v":1')
        return [*rows[:11], (n, text, digest(text))]

    rewrite(path, double)
    assert _found(path) == [(12, "body")]


def test_a_rewritten_generated_column_is_noticed(full: Ledger, path: Path) -> None:
    # Only a tool that writes the file's bytes can do this; the columns stand behind the body.
    content = path.read_bytes()
    body = full.entry(12).body.encode()
    start = content.index(body)
    column = content.index(b"P01T1", start + len(body))
    path.write_bytes(content[: column + 3] + b"T9" + content[column + 5 :])
    assert (12, "column") in _found(path)


@pytest.mark.parametrize("position", [0.0, 0.25, 0.5, 0.75, 0.999])
def test_a_flipped_bit_of_a_body_is_noticed_and_named(full: Ledger, path: Path, position: float) -> None:
    content = bytearray(path.read_bytes())
    body = full.entry(9).body.encode()
    place = content.index(body) + int(position * len(body))
    content[place] ^= 1
    path.write_bytes(content)
    assert 9 in {n for n, _ in _found(path)}


def test_no_damaged_byte_alters_what_was_recorded_unnoticed_or_stops_with_anything_but_a_sentence(
    full: Ledger, path: Path
) -> None:
    """Every 401st byte of the file turned over, one at a time; tests/benchmarks turns over every one."""
    content = path.read_bytes()
    wanted = _everything(path)
    unchanged = 0
    for place in range(100, len(content), 401):
        flipped = bytearray(content)
        flipped[place] ^= 0xFF
        path.write_bytes(flipped)
        try:
            same = _everything(path) == wanted
        except (sqlite3.Error, UnicodeDecodeError):
            same = False
        with contextlib.suppress(LedgerError):  # refused altogether
            assert same or not verify_ledger(path).ok, f"byte {place}"
        with contextlib.suppress(LedgerError):
            damaged = Ledger.open(path)
            damaged.entries()
            damaged.people()
            damaged.append(note("more"))
        unchanged += same
    assert unchanged > 0  # free space exists, so the comparison is no idle one


def test_a_tree_that_leads_in_circles_ends_the_walk() -> None:
    class Circle:
        """What a damaged index can answer: the same page again and again."""

        def execute(self, *_: object) -> "Circle":
            return self

        def fetchall(self) -> list[tuple[int, bytes, bytes]]:
            return [(1, b"", b""), (1, b"", b"")]

    with pytest.raises(sqlite3.DatabaseError, match="go up"):
        verify._page(Circle(), 1)  # type: ignore[arg-type]


def _everything(path: Path) -> list[object]:
    connection = sqlite3.connect(path)
    try:
        return [
            connection.execute(query).fetchall()
            for query in (
                "SELECT * FROM entries NOT INDEXED ORDER BY n",
                "SELECT * FROM people NOT INDEXED ORDER BY code",
            )
        ]
    finally:
        connection.close()


@pytest.mark.parametrize("guard", ["entries_follow", "entries_stay", "entries_remain", "people_remain"])
def test_a_missing_guard_is_noticed(full: Ledger, path: Path, guard: str) -> None:
    connection = sqlite3.connect(path)
    connection.execute(f"DROP TRIGGER {guard}")
    connection.close()
    assert _found(path) == [(0, "guards")]


def test_a_foreign_trigger_is_noticed(full: Ledger, path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("CREATE TRIGGER mine AFTER INSERT ON entries BEGIN UPDATE people SET active = 1; END")
    connection.close()
    assert _found(path) == [(0, "guards")]


# --- what the chain alone cannot see ----------------------------------------------------------------


def test_a_cut_tail_holds_by_itself_and_only_a_seal_sees_it(full: Ledger, path: Path) -> None:
    seal = Seal.of(full.head(), "Example Plant")
    rewrite(path, lambda rows: rows[:9])
    assert _found(path) == []
    assert _found(path, (seal,)) == [(0, "seal_cut")]


def test_a_chain_computed_anew_holds_by_itself_and_only_a_seal_sees_it(full: Ledger, path: Path) -> None:
    early, late = (
        Seal.of(replace(full.head(), n=6, hash=full.entry(6).hash), "Example Plant"),
        Seal.of(full.head(), "Example Plant"),
    )
    rewrite(path, lambda rows: recomputed(_at(rows, 8, lambda row: with_value(row, value={"text": "other"}))))
    assert _found(path) == []
    assert _found(path, (late,)) == [(12, "seal_hash")]
    assert _found(path, (early,)) == []  # what was sealed before the change still stands


def test_an_old_copy_put_back_holds_by_itself_and_only_a_seal_sees_it(full: Ledger, path: Path) -> None:
    old = path.read_bytes()
    full.append(note("later"))
    seal = full.seal("paper")
    path.write_bytes(old)
    assert _found(path) == []
    assert _found(path, (seal,)) == [(0, "seal_cut")]


def test_a_seal_of_another_chain_is_said_to_be_one(full: Ledger, path: Path) -> None:
    seal = replace(Seal.of(full.head(), "Example Plant"), chain="another")
    assert _found(path, (seal,)) == [(0, "seal_chain")]


def test_a_seal_says_up_to_where_the_chain_is_confirmed(full: Ledger, path: Path) -> None:
    seal = full.seal("paper")
    full.append(note("later"))
    report = verify_file(path, (seal,))
    assert (report.ok, report.sealed_n, report.n) == (True, 12, 14)


def test_making_a_seal_is_an_entry(full: Ledger) -> None:
    seal = full.seal("printed with the shift report", person="S01", terminal="T1")
    entry = full.entry(13)
    assert (entry.kind, entry.person, entry.value) == (
        "seal.made",
        "S01",
        {"n": 12, "hash": seal.hash, "to": "printed with the shift report"},
    )


def test_a_seal_survives_being_printed(full: Ledger) -> None:
    seal = Seal.of(full.head(), "Seifenwerk Köln (Nord) plant 2")
    assert Seal.parse(f"  {seal}\n") == seal
    assert seal.groups.replace(" ", "") == seal.hash
    assert [len(group) for group in seal.groups.split()] == [8] * 8
    assert seal.hash.startswith(seal.short)


@pytest.mark.parametrize(
    "change", [("hash ", "hash x"), ("entry ", "entry 0"), ("floorterm", "other"), (" plant", "")]
)
def test_a_text_that_is_no_seal_is_refused(full: Ledger, change: tuple[str, str]) -> None:
    with pytest.raises(SealFaultError):
        Seal.parse(str(Seal.of(full.head(), "Example Plant")).replace(*change, 1))


# --- files ------------------------------------------------------------------------------------------


def test_files_that_cannot_be_verified_say_why(path: Path) -> None:
    with pytest.raises(LedgerMissingError):
        verify_file(path)
    path.touch()
    with pytest.raises(LedgerEmptyError):
        verify_file(path)
    path.write_text("nothing of ours")
    with pytest.raises(NotALedgerError):
        verify_file(path)


def test_verifying_changes_nothing_and_works_beside_a_writer(full: Ledger, path: Path) -> None:
    writer = sqlite3.connect(path, isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    before = path.read_bytes()
    assert _found(path) == []
    assert path.read_bytes() == before
    writer.execute("ROLLBACK")
    writer.close()


def test_many_problems_are_counted_and_the_first_hundred_told(full: Ledger, path: Path) -> None:
    for number in range(120):
        full.append(note(f"m{number}"))
    rewrite(path, lambda rows: [(n, body, "0" * 64) for n, body, _ in rows])
    report = verify_file(path)
    assert len(report.problems) == walk.MOST_PROBLEMS == 100
    assert report.more == 132 + 131 - 100  # each entry's hash, and each but the first does not follow


def test_the_stored_text_is_hashed_as_it_stands(full: Ledger, path: Path) -> None:
    """White space makes no other JSON, but it is another text: the hash covers the text."""

    def spaced(rows: Rows) -> Rows:
        n, body, hash_ = rows[11]
        return [*rows[:11], (n, body.replace('":', '": '), hash_)]

    rewrite(path, spaced)
    assert _found(path) == [(12, "hash")]
    assert canonical(json.loads(full.entry(12).body)) != full.entry(12).body
