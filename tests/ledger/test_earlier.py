"""A copy of the entries up to a number, for a document that is made anew: nobody who signs waits for it."""

from pathlib import Path
from typing import Any

import pytest

from floorterm.ledger import CHEAP_PROFILE, Ledger, earlier, reading, verify_file
from tests.ledger.conftest import Clock, counted, note


def test_entries_are_signed_while_it_is_made_and_none_of_them_is_in_it(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_work = Ledger.open(ledger.path, clock=Clock(), new_id=counted(99), pin_profile=CHEAP_PROFILE)
    fold, n = earlier.fold_person, ledger.head().n
    monkeypatch.setattr(reading, "LINES_PAGE", 2)

    def while_somebody_signs(people: Any, kind: str, value: Any) -> Any:
        at_work.append(note(f"k{at_work.head().n}"))
        return fold(people, kind, value)

    monkeypatch.setattr(earlier, "fold_person", while_somebody_signs)
    monkeypatch.setattr(earlier, "_AT_ONCE", 2)
    earlier.copy_up_to(ledger, n, tmp_path / "then.db")
    assert ledger.head().n == 2 * n
    report = verify_file(tmp_path / "then.db")
    assert (report.ok, report.n) == (True, n)
    assert Ledger.open(tmp_path / "then.db").people() == ledger.people()
