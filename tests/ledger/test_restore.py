"""A copy put in the ledger's place: what it lacks is said, two people sign, the chain gets another identifier."""

import sqlite3
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace

from floorterm.entries import Draft
from floorterm.ledger import (
    CHEAP_PROFILE,
    Ledger,
    LedgerReplacedError,
    RefusedError,
    Seal,
    WrongPinError,
    back_up,
    verify_file,
)
from floorterm.ledger.copy_faults import CopyNotSoundError, MovedOnError, OtherLedgerError
from floorterm.ledger.drill import drill
from floorterm.ledger.people import PIN_BURST
from floorterm.ledger.restore import Sign, Signed, Standing, examine, go_on_with, restore, standing_of
from floorterm.wording import words
from tests.ledger.conftest import OPENING, PIN, Clock, new_ledger, note
from tests.ledger.tamper import recomputed, rewrite

KEPT = Path(__file__).parents[1] / "data" / "ledgers"


def signing(by: str = "S01", witness: str = "P01", reason: str = "the disk failed", pin: str = PIN) -> Sign:
    def sign(ledger: Ledger, standing: Standing) -> Signed:
        for code in (by, witness):
            ledger.check_pin(code, pin)
        return Signed(by=by, witness=witness, reason=reason, terminal="T1")

    return sign


@pytest.fixture
def copy(ledger: Ledger, tmp_path: Path, clock: Clock) -> Path:
    """A backup at entry 6; the live ledger goes on to entry 11 (two of its own, three of people)."""
    ledger.append(note("k1"))
    target = tmp_path / "copies" / "copy.db"
    target.parent.mkdir()
    back_up(ledger, target)
    clock.advance(60)
    for number in range(3):
        ledger.append(note(f"later{number}"))
    return target


def _newest(ledger: Ledger) -> Seal:
    return Seal.of(ledger.head(), ledger.start().plant)


def test_a_copy_stands_against_the_newest_seal_and_the_ledger_in_place(ledger: Ledger, copy: Path) -> None:
    seal = _newest(ledger)
    ledger.path.rename(ledger.path.with_name("away.db"))
    against_seal = examine(copy, ledger.path, (seal,))
    assert (against_seal.n, against_seal.missing, against_seal.parted) == (6, 5, False)
    assert examine(copy, ledger.path).known is None, "nothing is known without a seal or a ledger in place"
    ledger.path.with_name("away.db").rename(ledger.path)
    assert examine(copy, ledger.path).missing == 5, "the ledger in place is known of"
    assert words("copies.short_of", n=5, ends=6, known=11, at="x").endswith("5 entries are missing.")


def test_a_restore_is_the_next_entry_with_both_heads_two_people_and_a_new_chain(
    ledger: Ledger, copy: Path
) -> None:
    old, seal, before = ledger.head(), _newest(ledger), copy.read_bytes()
    done = restore(copy, ledger.path, signing(), seals=(seal,), pin_profile=CHEAP_PROFILE)
    back = Ledger.open(ledger.path)
    entry = back.entry(7)
    assert entry == done.entry
    assert (entry.kind, entry.person, entry.witness, entry.reason) == (
        "ledger.restored", "S01", "P01", "the disk failed",
    )  # fmt: skip
    assert entry.value["kept"] == {"n": 6, "hash": entry.prev}
    assert entry.value["known"] == {"n": 11, "hash": old.hash, "chain": old.chain}
    assert (entry.value["missing"], entry.value["was"]) == (5, old.chain)
    assert back.head().chain == entry.value["chain"] != old.chain
    assert done.seal == Seal(
        chain=entry.value["chain"], plant="Example Plant", n=7, hash=entry.hash, at=done.seal.at
    )
    assert copy.read_bytes() == before, "the copy stays what it was"
    assert done.aside is not None
    assert Ledger.open(done.aside, read_only=True).head() == old, "what was replaced is kept, whole"


def test_after_a_restore_every_kind_of_seal_says_what_it_can(ledger: Ledger, copy: Path) -> None:
    kept, lost = Seal.of(ledger.head(), "Example Plant"), ledger.entry(9)
    early = ledger.entry(6)
    chain = ledger.start().chain
    done = restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    back = Ledger.open(ledger.path, clock=Clock(done.entry.at))
    for number in range(6):
        back.append(note(f"after{number}"))

    def seal(n: int, hash_: str, of: str = chain) -> Seal:
        return Seal(chain=of, plant="Example Plant", n=n, hash=hash_, at="2026-03-02T15:00:00.000000Z")

    def said(*seals: Seal) -> tuple[list[str], list[str]]:
        report = verify_file(ledger.path, seals)
        keys = [[one.say.key.removeprefix("ledger.verify.") for one in part]
                for part in (report.problems, report.remarks)]  # fmt: skip
        return keys[0], keys[1]

    assert said(seal(6, early.hash)) == ([], ["restored"])
    assert verify_file(ledger.path, (seal(6, early.hash),)).sealed_n == 6
    assert said(seal(6, "0" * 64)) == (["seal_hash"], ["restored"])
    assert said(kept) == ([], ["restored", "seal_lost"])
    assert said(seal(9, lost.hash)) == ([], ["restored", "seal_lost"]), "never taken for the new entry 9"
    assert said(seal(12, "1" * 64)) == (["seal_not_named"], ["restored"])
    assert said(seal(11, "1" * 64)) == (["seal_not_named"], ["restored"])
    assert said(done.seal, _newest(back)) == ([], ["restored"])
    assert said(seal(9, "1" * 64, done.seal.chain)) == (["seal_hash"], ["restored"])
    assert said(seal(99, "1" * 64, done.seal.chain)) == (["seal_cut"], ["restored"])
    assert said(seal(9, "1" * 64, "elsewhere")) == (["seal_chain"], ["restored"])


def test_a_restored_ledger_is_copied_and_restored_again(ledger: Ledger, copy: Path, tmp_path: Path) -> None:
    first = restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    seal = _newest(Ledger.open(ledger.path))
    second = restore(copy, ledger.path, signing(), seals=(seal,), pin_profile=CHEAP_PROFILE)
    assert second.entry.n == first.entry.n, "the first restore is among what the copy lacks"
    assert second.entry.value["known"]["chain"] == first.seal.chain
    report = verify_file(ledger.path, (seal,))
    assert (report.ok, [one.say.key for one in report.remarks]) == (
        True, ["ledger.verify.restored", "ledger.verify.seal_lost"],
    )  # fmt: skip
    again = tmp_path / "again.db"
    back_up(Ledger.open(ledger.path), again)
    assert verify_file(again, (second.seal,)).sealed_n == second.seal.n


@pytest.mark.parametrize(
    ("sign", "fault"),
    [
        (signing(by="S01", witness="S01"), RefusedError),
        (signing(by="P01", witness="P02"), RefusedError),
        (signing(reason="  "), RefusedError),
        (signing(pin="135790"), WrongPinError),
    ],
)
def test_without_two_people_and_a_reason_nothing_changes(
    ledger: Ledger, copy: Path, sign: Sign, fault: type[Exception]
) -> None:
    head = ledger.head()
    with pytest.raises(fault):
        restore(copy, ledger.path, sign, pin_profile=CHEAP_PROFILE)
    assert ledger.head() == head
    assert sorted(file.name for file in ledger.path.parent.iterdir()) == ["copies", "ledger.db"]
    assert Ledger.open(copy).head().n == 6


def test_a_copy_that_does_not_hold_is_not_put_in_place(ledger: Ledger, copy: Path) -> None:
    rewrite(copy, lambda rows: [*rows[:3], (4, rows[3][1].replace("Zoë", "Zoe"), rows[3][2]), *rows[4:]])
    with pytest.raises(CopyNotSoundError):
        restore(copy, ledger.path, signing())


def test_a_copy_computed_anew_does_not_pass_an_older_seal(ledger: Ledger, copy: Path) -> None:
    seal = Seal.of(ledger.head(), "Example Plant")
    early = Seal(
        chain=seal.chain, plant=seal.plant, n=5, hash=ledger.entry(5).hash, at="2026-03-02T14:05:00.000000Z"
    )
    rewrite(
        copy, lambda rows: recomputed([(n, body.replace("Jo Pell", "Jo Bell"), h) for n, body, h in rows])
    )
    with pytest.raises(CopyNotSoundError, match="sealed"):
        examine(copy, ledger.path.with_name("nowhere.db"), (early,))


def test_a_copy_of_another_ledger_is_refused(ledger: Ledger, copy: Path, tmp_path: Path) -> None:
    other = new_ledger(tmp_path / "other.db", Clock(OPENING + timedelta(days=1)))
    with pytest.raises(OtherLedgerError):
        restore(copy, other.path, signing())
    nowhere = tmp_path / "nowhere.db"
    theirs = replace(Seal.of(other.head(), "Other Plant"), chain="else")
    with pytest.raises(OtherLedgerError):
        examine(copy, nowhere, (theirs,))
    assert examine(copy, nowhere, (replace(theirs, plant="Example Plant"),)).unnamed, "only people can know"
    assert not examine(copy, nowhere, (_newest(ledger),)).unnamed


def test_a_damaged_ledger_is_kept_beside(ledger: Ledger, copy: Path) -> None:
    ledger.path.write_bytes(b"no database at all")
    done = restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    assert done.aside is not None
    assert done.aside.read_bytes() == b"no database at all"
    assert "known" not in done.entry.value
    assert verify_file(ledger.path).ok


def test_a_journal_without_its_file_is_not_played_into_the_copy(ledger: Ledger, copy: Path) -> None:
    ledger.path.unlink()
    journal = ledger.path.with_name("ledger.db-journal")
    journal.write_bytes(b"half a journal")
    restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    assert not journal.exists()
    assert [file.read_bytes() for file in ledger.path.parent.glob("*-journal")] == [b"half a journal"]


def test_a_ledger_that_was_open_records_nothing_after_the_swap(ledger: Ledger, copy: Path) -> None:
    restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    with pytest.raises(LedgerReplacedError):
        ledger.append(note("too late"))
    with pytest.raises(LedgerReplacedError):
        ledger.head()


def test_what_is_recorded_while_two_people_sign_is_not_lost_unsaid(ledger: Ledger, copy: Path) -> None:
    """A terminal that nobody ended goes on: nobody who signs was told of its entry, and the restore would hide it."""
    asked = signing()

    def sign(opened: Ledger, standing: Standing) -> Signed:
        assert standing.missing == 5
        ledger.append(note("meanwhile"))
        return asked(opened, standing)

    with pytest.raises(MovedOnError) as fault:
        restore(copy, ledger.path, sign, pin_profile=CHEAP_PROFILE)
    assert fault.value.say.facts["n"] == 12
    assert ledger.head().n == 12, "the place is as it was"
    assert [one.name for one in ledger.path.parent.glob("*.db*")] == [ledger.path.name]
    done = restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    assert done.entry.value["missing"] == 6, "given again, it says so"


def _next(looks: list[Callable[[], None]]) -> None:
    looks.pop(0)()


def test_a_writer_that_waited_for_the_lock_finds_the_other_file(
    ledger: Ledger, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It looked at the file before the swap and got the old file's lock after it."""
    first = ledger.store.check_same
    looks: list[Callable[[], None]] = [lambda: None, first]
    restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    monkeypatch.setattr(ledger.store, "check_same", lambda: _next(looks))
    with pytest.raises(LedgerReplacedError):
        ledger.append(note("too late"))
    assert not looks


def test_an_older_copy_put_in_place_by_hand_goes_on_with_two_people(ledger: Ledger, copy: Path) -> None:
    seal = _newest(ledger)
    ledger.path.write_bytes(copy.read_bytes())
    standing = standing_of(ledger.path, (seal,))
    assert standing.missing == 5
    done = go_on_with(ledger.path, signing(), standing, pin_profile=CHEAP_PROFILE)
    assert (done.entry.n, done.entry.value["missing"], done.aside) == (7, 5, None)
    assert verify_file(ledger.path, (seal, done.seal)).ok


def test_two_that_went_different_ways_are_told_apart(ledger: Ledger, copy: Path) -> None:
    Ledger.open(copy, clock=Clock()).append(note("elsewhere"))
    assert examine(copy, ledger.path).parted


def test_a_restore_entry_that_does_not_fit_is_noticed(ledger: Ledger, copy: Path) -> None:
    restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)

    def other_head(rows: list[tuple[int, str, str]]) -> list[tuple[int, str, str]]:
        return recomputed(
            [(n, body.replace('"kept":{"hash":"', '"kept":{"hash":"f'), h) for n, body, h in rows]
        )

    rewrite(ledger.path, other_head)
    assert [one.say.key for one in verify_file(ledger.path).problems] == ["ledger.verify.restored_entry"]
    connection = sqlite3.connect(ledger.path)
    assert connection.execute("SELECT count(*) FROM entries WHERE kind = 'ledger.restored'").fetchone() == (
        1,
    )
    connection.close()


def test_a_seal_from_before_the_restore_that_comes_late_is_still_compared(ledger: Ledger, copy: Path) -> None:
    """Whatever identifier it carries: brought by an older version, it has the one of after the restore."""
    done = restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    live = Ledger.open(ledger.path, pin_profile=CHEAP_PROFILE)
    entry = live.entry(4)
    true = Seal(chain=live.chain_at(4), plant="P", n=4, hash=entry.hash, at="2026-03-02T14:05:00Z")
    late = replace(true, chain=done.seal.chain)
    assert true.chain != late.chain
    assert live.chain_at(live.head().n) == live.head().chain
    assert verify_file(ledger.path, (true, late)).ok
    for seal in (true, late):
        report = verify_file(ledger.path, (replace(seal, hash="0" * 64),))
        assert [one.say.key for one in report.problems] == ["ledger.verify.seal_hash"], seal.chain
        assert report.differs_n == 4


def test_damage_of_the_ledger_in_place_does_not_keep_it_from_being_replaced(
    ledger: Ledger, copy: Path
) -> None:
    connection = sqlite3.connect(ledger.path)
    connection.execute("DROP TRIGGER entries_stay")
    connection.execute("PRAGMA ignore_check_constraints = 1")
    n = Ledger.open(copy).head().n
    connection.execute("UPDATE entries SET body = json_set(body, '$.value', '\u0007') WHERE n = ?", (n,))
    connection.commit()
    connection.close()
    assert restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE).aside is not None


def test_a_copy_from_before_a_restore_is_proved_and_restored_with_later_seals(
    ledger: Ledger, copy: Path
) -> None:
    """The restored chain has an identifier that the older copy cannot know; the live ledger or two people do."""
    restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    live = Ledger.open(ledger.path, pin_profile=CHEAP_PROFILE)
    live.append(note("after the restore"))
    seal = _newest(live)
    proof, _ = drill(copy, live, lambda _: None, seals=(seal,))
    assert proof.n == 6
    assert not examine(copy, ledger.path, (seal,)).unnamed, "the ledger in place names it"
    ledger.path.rename(ledger.path.with_name("away.db"))
    done = restore(copy, ledger.path, signing(), seals=(seal,), pin_profile=CHEAP_PROFILE)
    assert (done.entry.n, done.entry.value["known"]["chain"]) == (7, seal.chain)
    assert [one.say.key for one in verify_file(ledger.path, (seal,)).remarks] == [
        "ledger.verify.restored", "ledger.verify.seal_lost",
    ]  # fmt: skip


def test_nothing_comes_between_the_copys_head_and_the_entry_that_names_it(ledger: Ledger, copy: Path) -> None:
    """Wrong PINs and a clock that was set get their entries after it: before it they would take lost numbers."""

    def sign(scratch: Ledger, standing: Standing) -> Signed:
        burst = Draft(kind=PIN_BURST, key="burst", value={"code": "S02", "failures": 20})
        scratch.unit_of_work(lambda transaction: transaction.append((burst,)))
        return signing()(scratch, standing)

    ahead = Ledger.open(copy, clock=Clock(OPENING + timedelta(days=36500)), pin_profile=CHEAP_PROFILE)
    kept = ahead.append(note("by a clock that ran ahead"))
    done = restore(copy, ledger.path, sign, pin_profile=CHEAP_PROFILE)
    back = Ledger.open(ledger.path)
    assert [entry.kind for entry in back.entries(after_n=kept.n)] == [
        "ledger.restored", "clock.stepped", "pin.burst", "seal.made",
    ]  # fmt: skip
    assert done.entry.value["kept"] == {"n": kept.n, "hash": kept.hash}
    assert verify_file(ledger.path).ok


def test_a_copy_of_an_older_layout_is_restored_and_brought_up_to_date(tmp_path: Path) -> None:
    copy, place = KEPT / "layout-1.db", tmp_path / "ledger.db"
    before = copy.read_bytes()
    n = Ledger.open(copy, read_only=True).head().n
    restore(copy, place, signing("SS", "AA"), pin_profile=CHEAP_PROFILE)
    assert copy.read_bytes() == before
    back = Ledger.open(place, clock=Clock(), pin_profile=CHEAP_PROFILE)
    assert [entry.kind for entry in back.entries(after_n=n)] == [
        "ledger.restored", "schema.migrated", "seal.made",
    ]  # fmt: skip
    assert back.entry(n + 2).value["backup"]["file"] == str(copy)
    assert {entry.terminal for entry in back.entries(after_n=n)} == {"T1"}
    assert back.append(note("k1", person="AA")).n == n + 4
    assert verify_file(place).ok


def test_a_later_seal_of_a_chain_that_nobody_names_does_not_hide_what_is_missing(
    ledger: Ledger, copy: Path, tmp_path: Path
) -> None:
    """Another plant of the same name, or a restored chain with lower numbers: our own seal still counts."""
    ours = _newest(ledger)
    theirs = replace(ours, chain="elsewhere", n=3, hash="1" * 64, at="2026-12-31T00:00:00.000000Z")
    ledger.path.unlink()
    standing = examine(copy, tmp_path / "nowhere.db", (ours, theirs))
    assert (standing.known and standing.known.chain, standing.missing) == (ours.chain, 5)
    alone = examine(copy, tmp_path / "nowhere.db", (theirs,))
    assert (alone.unnamed, alone.missing) == (True, 0)
