"""Every call to the disk that a commit makes goes wrong in turn: the ledger is before the act or after it.

Longer: `python -m tests.benchmarks.commit_faults`. With the system calls of Python's own SQLite, and with kills at
each: `python -m tests.benchmarks.system_calls`.
"""

from collections import Counter
from pathlib import Path

import apsw
import pytest

from floorterm.ledger.file_store import FileStore
from tests.durability.faults import KINDS, RECORDED, UNKNOWN, Trial, calls_of_an_append, trial
from tests.durability.machine import Fault


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("faults")


@pytest.fixture(scope="module")
def calls(folder: Path) -> list[str]:
    return calls_of_an_append(folder)


def test_a_commit_makes_the_calls_that_are_made_to_fail(calls: list[str]) -> None:
    made = Counter(calls)
    assert made.keys() == KINDS.keys()
    assert made["xSync"] == 3, "the journal twice, then the file"
    assert made["xDelete and sync"] == 1, "the folder"


@pytest.mark.parametrize("lasts", [False, True], ids=["once", "from-there-on"])
def test_every_call_of_a_commit_may_fail(folder: Path, calls: list[str], lasts: bool) -> None:
    """Here one way of failing for each call, and every fourth write; the longer form has all of them."""
    told: Counter[str] = Counter()
    for number, call in enumerate(calls):
        if call == "xWrite" and number % 4 and calls[number + 1] == "xWrite":
            continue
        code, share = KINDS[call][number % len(KINDS[call])]
        found = trial(folder, number, Fault(code, share), lasts=lasts)
        assert found.wrong == [], f"call {number} ({call}) fails with {code}, {share} of it done: {found}"
        told[found.told] += 1
    assert told.keys() >= {"LedgerFullError", "LedgerDiskError", "LedgerCannotOpenError"}
    assert ("LedgerBusyError" in told) == lasts, "a lock that is taken for a moment is waited for"


@pytest.mark.parametrize("share", [0.5, 1.0], ids=["unsynced", "synced"])
def test_a_journal_that_was_removed_though_the_disk_says_it_failed(
    folder: Path, calls: list[str], share: float
) -> None:
    """The entry can be read, and a power cut could bring the journal back: first it is made to stay."""
    fault = Fault(apsw.SQLITE_IOERR_DIR_FSYNC, share)
    last = calls.index("xDelete and sync")
    once = trial(folder, last, fault, lasts=False, cuts=8)
    assert (once.told, once.wrong) == (RECORDED, [])
    lasting = trial(folder, last, fault, lasts=True, cuts=8)
    assert (lasting.told, lasting.now, lasting.wrong) == (UNKNOWN, lasting.before + 1, [])


def test_control_what_is_found_and_not_made_to_stay_is_lost(
    folder: Path, calls: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(FileStore, "assure", lambda _: None)
    fault = Fault(apsw.SQLITE_IOERR_DIR_FSYNC, 0.5)
    found = trial(folder, calls.index("xDelete and sync"), fault, lasts=False, cuts=8)
    assert "said to be recorded, and is not there for good" in found.wrong


def test_a_trial_can_tell() -> None:
    """A ledger that says *recorded* of what is not there for good is found, and so on."""
    assert Trial(RECORDED, 5, 5, (5,), 6, (6,)).wrong
    assert Trial(RECORDED, 5, 6, (6, 5), 6, (6,)).wrong
    assert Trial("LedgerDiskError", 5, 6, (6,), 6, (6,)).wrong
    assert Trial("LedgerDiskError", 5, 5, (6,), 6, (6,)).wrong
    assert Trial("LedgerDiskError", 5, 5, (5,), 6, (6,), expected="LedgerFullError").wrong
    assert Trial(RECORDED, 5, 6, (6,), 7, (7,)).wrong
    assert Trial(UNKNOWN, 5, 6, (5, 6), 6, (6, 5)).wrong
    assert not Trial(UNKNOWN, 5, 6, (5, 6), 6, (6, 6)).wrong
