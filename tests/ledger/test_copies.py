"""Exports that a stranger verifies, and backups made while somebody writes."""

import contextlib
import hashlib
import json
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from floorterm.ledger import (
    CHEAP_PROFILE,
    CopyFaultError,
    InactivePersonError,
    Ledger,
    LedgerBusyError,
    LedgerExistsError,
    Seal,
    back_up,
    backup,
    connect,
    export,
    verify_export,
    verify_file,
    write_export,
)
from floorterm.ledger.copy_faults import NotWrittenError
from tests.ledger.conftest import note

# What a stranger would write from the published rule, with nothing but the standard library.
STRANGER = """
import hashlib, json, sys
n, prev, seal = 0, "0" * 64, None
for line in open(sys.argv[1], encoding="utf-8"):
    row = json.loads(line)
    assert seal is None, "something follows the seal"
    if "seal" in row:
        seal = row["seal"]
        continue
    body = json.loads(row["body"])
    assert hashlib.sha256(row["body"].encode("utf-8")).hexdigest() == row["hash"], n + 1
    assert body["n"] == n + 1, n + 1
    assert body["prev"] == prev, n + 1
    n, prev = n + 1, row["hash"]
assert seal is not None, "no seal"
assert (seal["n"], seal["hash"]) == (n, prev), "another seal"
print(n, prev)
"""


@pytest.fixture
def full(ledger: Ledger) -> Ledger:
    for number in range(7):
        ledger.append(note(f"k{number}", value={"text": 'Zoë € 😀 \u2028 \\ "'}))
    return ledger


def _stranger(path: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-I", "-S", "-c", STRANGER, str(path)], capture_output=True, text=True, check=False
    )


def test_a_stranger_verifies_an_export_with_twenty_lines(full: Ledger, tmp_path: Path) -> None:
    target = tmp_path / "ledger.jsonl"
    head = full.head()
    seal = write_export(full, target)
    assert seal == Seal.of(head, "Example Plant")
    assert _stranger(target).stdout.split() == [str(head.n), head.hash]
    report = verify_file(target)
    assert (report.ok, report.entries, report.head, report.chain) == (True, head.n, head.hash, head.chain)


def test_an_export_is_an_entry_and_so_is_its_seal(full: Ledger, tmp_path: Path) -> None:
    target = tmp_path / "ledger.jsonl"
    seal = write_export(full, target, by="S01", terminal="T1")
    made, sealed = full.entries(after_n=seal.n)
    assert (made.kind, made.person, made.terminal) == ("export.made", "S01", "T1")
    assert made.value == {
        "file": str(target),
        "sha256": hashlib.sha256(target.read_bytes()).hexdigest(),
        "head_n": 12,
        "head_hash": seal.hash,
    }
    assert (sealed.kind, sealed.value) == ("seal.made", {"n": 12, "hash": seal.hash, "to": str(target)})


def _lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").split("\n")[:-1]


def _edited(line: str) -> str:
    row = json.loads(line)
    row["body"] = row["body"].replace("k3", "k9")
    return json.dumps(row, ensure_ascii=False)


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        (lambda lines: [*lines[:8], _edited(lines[8]), *lines[9:]], (9, "hash")),
        (lambda lines: lines[:8] + lines[9:], (10, "missing")),
        (lambda lines: [*lines[:8], lines[9], lines[8], *lines[10:]], (10, "missing")),
        (lambda lines: lines[:-1], (0, "no_seal")),
        (lambda lines: [*lines[:-2], lines[-1]], (12, "own_seal")),
        (lambda lines: [*lines, lines[5]], (6, "own_seal")),
        (lambda lines: [*lines[:3], "no json", *lines[3:]], (4, "line")),
        (lambda lines: [*lines[:3], '{"body":1,"hash":"x"}', *lines[3:]], (4, "line")),
        (lambda lines: [*lines[:3], '{"body":"\\ud800","hash":"x"}', *lines[3:]], (4, "line")),
        (lambda lines: [], (0, "no_seal")),
    ],
)
def test_an_altered_export_is_noticed_by_us_and_by_the_stranger(
    full: Ledger, tmp_path: Path, change: object, problem: tuple[int, str]
) -> None:
    target = tmp_path / "ledger.jsonl"
    write_export(full, target)
    lines = change(_lines(target))  # type: ignore[operator]
    target.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
    found = [(p.n, p.say.key.removeprefix("ledger.verify.")) for p in verify_export(target).problems]
    assert problem in found
    assert _stranger(target).returncode != 0


def test_a_cut_export_with_a_forged_seal_shows_only_against_a_seal_kept_elsewhere(
    full: Ledger, tmp_path: Path
) -> None:
    target = tmp_path / "ledger.jsonl"
    seal = write_export(full, target)
    lines = _lines(target)
    forged = json.loads(lines[-1])
    forged["seal"] |= {"n": 9, "hash": json.loads(lines[8])["hash"]}
    target.write_text("\n".join([*lines[:9], json.dumps(forged)]) + "\n", encoding="utf-8")
    assert verify_export(target).ok
    assert [p.say.key for p in verify_export(target, (seal,)).problems] == ["ledger.verify.seal_cut"]


def test_an_export_of_the_later_part_is_verified_from_its_first_entry(full: Ledger, tmp_path: Path) -> None:
    target = tmp_path / "part.jsonl"
    seal = write_export(full, target, after_n=7)
    report = verify_file(target, (seal,))
    assert (report.ok, report.first, report.entries, report.n, report.sealed_n) == (True, 8, 5, 12, 12)


def test_nothing_is_overwritten(full: Ledger, tmp_path: Path) -> None:
    target = tmp_path / "there"
    target.write_text("kept")
    head = full.head()
    for make in (write_export, back_up):
        with pytest.raises(LedgerExistsError):
            make(full, target)
    assert target.read_text() == "kept"
    assert full.head() == head
    assert sorted(file.name for file in tmp_path.iterdir()) == ["ledger.db", "there"]


def test_a_copy_that_cannot_be_recorded_does_not_stay(full: Ledger, tmp_path: Path) -> None:
    full.disable_person("P02", by="A01")
    for make in (write_export, back_up):
        with pytest.raises(InactivePersonError):
            make(full, tmp_path / "copy", by="P02")
    assert [file.name for file in tmp_path.iterdir()] == ["ledger.db"]


def test_no_room_for_a_backup_names_the_backup_not_the_ledger(
    full: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever reads it would else make room on the ledger's disk, and send people to paper."""
    raw = connect.raw

    def small(path: Path, **how: bool) -> sqlite3.Connection:
        connection = raw(path, **how)
        if path != full.path:
            connection.execute("PRAGMA max_page_count = 2")
        return connection

    with monkeypatch.context() as no_room:
        no_room.setattr(connect, "raw", small)
        with pytest.raises(NotWrittenError) as fault:
            back_up(full, tmp_path / "copy.db")
    assert str(tmp_path / "copy.db") in str(fault.value)
    assert "No space left" in str(fault.value)
    assert not list(tmp_path.glob("*copy*"))


def test_a_copy_that_does_not_verify_does_not_count(
    full: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        export, "entry_line", lambda body, hash_: json.dumps({"body": body, "hash": hash_[::-1]})
    )
    head = full.head()
    with pytest.raises(CopyFaultError):
        write_export(full, tmp_path / "copy")
    assert [file.name for file in tmp_path.iterdir()] == ["ledger.db"]
    assert full.head() == head


def test_a_backup_is_a_ledger_that_holds_and_can_be_opened(full: Ledger, tmp_path: Path) -> None:
    target = tmp_path / "backup.db"
    head = full.head()
    seal = back_up(full, target, by="S01")
    assert verify_file(target, (seal,)).sealed_n == head.n
    copy = Ledger.open(target)
    assert copy.head() == head
    assert copy.people() == full.people()
    made = full.entry(head.n + 1)
    assert (made.kind, made.value["sha256"]) == (
        "backup.made",
        hashlib.sha256(target.read_bytes()).hexdigest(),
    )
    connection = sqlite3.connect(target)
    assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
    connection.close()


def test_a_backup_made_while_somebody_writes_holds(full: Ledger, tmp_path: Path) -> None:
    stop = threading.Event()
    written: list[int] = []

    def write() -> None:
        while not stop.is_set():
            written.append(full.append(note(f"w{len(written)}")).n)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        seals = [back_up(full, tmp_path / f"copy-{number}.db") for number in range(5)]
    finally:
        stop.set()
        writer.join()
    for number, seal in enumerate(seals):
        report = verify_file(tmp_path / f"copy-{number}.db", (seal,))
        assert report.ok
        assert report.n >= seal.n
    assert len(written) > 0
    assert verify_file(full.path, seals).ok


@pytest.mark.parametrize("starts", [0, 4])  # 0: writers wait from the first step on
def test_a_copy_ends_however_often_somebody_signs(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, starts: int
) -> None:
    """SQLite begins a copy again whenever somebody writes in between; steps of one page make that likely."""
    monkeypatch.setattr(backup, "_MOST_STARTS", starts)
    monkeypatch.setattr(backup, "_PAGES_AT_A_TIME", 1)
    copying = threading.Event()
    copying.set()

    def sign() -> None:
        other = Ledger.open(ledger.path, pin_profile=CHEAP_PROFILE)
        number = 0
        while copying.is_set():
            with contextlib.suppress(LedgerBusyError):
                other.append(note(f"w{number}"))
            number += 1

    signer = threading.Thread(target=sign)
    signer.start()
    try:
        target = tmp_path / "copy.db"
        backup.copy_file(ledger.path, target)
    finally:
        copying.clear()
        signer.join()
    assert verify_file(target).ok
