"""What a terminal saw of the ledger: an older copy or another history is known, while open and at the next start."""

import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from floorterm.ledger import CHEAP_PROFILE, Ledger, LedgerReplacedError, move_ledger
from floorterm.ledger.copy_faults import AnotherHistoryError, OlderCopyError
from floorterm.ledger.last_seen import LastSeen, memories_in
from floorterm.ledger.migrating import migrate
from floorterm.ledger.restore import go_on_with, restore, standing_of
from floorterm.terminal.opening import default_seen
from floorterm.terminal.opening import opened as plant_at
from tests.ledger.conftest import OPENING, Clock, new_ledger, note
from tests.ledger.tamper import Rows, recomputed, rewrite
from tests.ledger.test_restore import signing


@pytest.fixture
def memory(tmp_path: Path) -> LastSeen:
    return LastSeen(tmp_path / "state" / "L1.seen.json")


def _again(ledger: Ledger, memory: LastSeen) -> Ledger:
    """The ledger as the terminal opens it at its next start."""
    return Ledger.open(ledger.path, pin_profile=CHEAP_PROFILE, memory=memory)


def _cut(rows: Rows) -> Rows:
    return rows[:-1]


def test_an_end_cut_off_while_the_ledger_is_open_is_noticed_by_who_saw_it(ledger: Ledger) -> None:
    ledger.append(note("k1"))
    seen = ledger.head()
    rewrite(ledger.path, _cut)
    with pytest.raises(OlderCopyError) as fault:
        ledger.head()
    assert fault.value.say.facts == {
        "ends": seen.n - 1,
        "missing": 1,
        "seen": seen.n,
        "at": f"{seen.at:%Y-%m-%d %H:%M} UTC",
    }
    with pytest.raises(OlderCopyError):
        ledger.append(note("k2"))
    assert Ledger.open(ledger.path).head().n == seen.n - 1, "who did not see it cannot know"


def test_a_chain_computed_anew_under_an_open_ledger_is_noticed(ledger: Ledger) -> None:
    ledger.append(note("k1"))
    rewrite(ledger.path, lambda rows: recomputed([(n, body.replace("k1", "x1"), h) for n, body, h in rows]))
    with pytest.raises(AnotherHistoryError):
        ledger.append(note("k2"))


def test_what_others_add_is_no_other_history(ledger: Ledger) -> None:
    ledger.head()
    other = Ledger.open(ledger.path, pin_profile=CHEAP_PROFILE)
    other.append(note("k1"))
    assert ledger.append(note("k2")).n == other.head().n
    assert ledger.head() == other.head()


def test_an_older_copy_put_in_place_while_the_terminal_was_off(ledger: Ledger, memory: LastSeen) -> None:
    copy = ledger.path.with_name("older.db")
    shutil.copy(ledger.path, copy)
    terminal = _again(ledger, memory)
    n = terminal.append(note("k1")).n
    shutil.copy(copy, ledger.path)
    with pytest.raises(OlderCopyError):
        _again(ledger, memory).head()
    with pytest.raises(OlderCopyError):
        _again(ledger, memory).append(note("k2"))
    standing = standing_of(ledger.path)
    go_on_with(ledger.path, signing(), standing, pin_profile=CHEAP_PROFILE)
    assert _again(ledger, memory).head().n > n - 1, "two people answer for it, so the terminal goes on"
    shutil.copy(copy, ledger.path)
    with pytest.raises(OlderCopyError):
        _again(ledger, memory).head()


def test_another_history_put_in_place_while_the_terminal_was_off(ledger: Ledger, memory: LastSeen) -> None:
    copy = ledger.path.with_name("other.db")
    shutil.copy(ledger.path, copy)
    _again(ledger, memory).append(note("k1"))
    shutil.copy(copy, ledger.path)
    stranger = Ledger.open(ledger.path, pin_profile=CHEAP_PROFILE)
    stranger.append(note("k2"))
    stranger.append(note("k3"))
    with pytest.raises(AnotherHistoryError):
        _again(ledger, memory).head()


def test_another_plants_ledger_is_not_compared(ledger: Ledger, memory: LastSeen, tmp_path: Path) -> None:
    _again(ledger, memory).append(note("k1"))
    new_ledger(tmp_path / "fresh.db", Clock(OPENING + timedelta(days=1)))
    shutil.copy(tmp_path / "fresh.db", ledger.path)
    assert _again(ledger, memory).head().n == 1
    with pytest.raises(LedgerReplacedError):
        ledger.append(note("k2"))


@pytest.mark.parametrize("text", ["", "{", "[1]", "9" * 5000, '{"START": {"n": "1"}}', "[" * 100_000])
def test_a_memory_that_cannot_be_read_hinders_nobody(ledger: Ledger, memory: LastSeen, text: str) -> None:
    memory.path.parent.mkdir()
    memory.path.write_text(text.replace("START", f"{ledger.path} {ledger.start().hash}"))
    assert memory.of(str(ledger.path), ledger.start().hash) is None
    head = _again(ledger, memory).head()
    assert memory.of(str(ledger.path), ledger.start().hash) == head


def test_a_memory_that_cannot_be_written_hinders_nobody(ledger: Ledger, tmp_path: Path) -> None:
    (tmp_path / "state").write_text("a file where the folder should be")
    assert _again(ledger, LastSeen(tmp_path / "state" / "L1.seen.json")).append(note("k1"))


def test_each_terminal_remembers_in_the_state_of_its_account(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    plant_at(ledger.path, None, "L1")
    assert default_seen("L1").is_relative_to(tmp_path)
    assert LastSeen(default_seen("L1")).of(str(ledger.path), ledger.start().hash) == ledger.head()
    assert default_seen("../L 1").parent == default_seen("L1").parent
    rewrite(ledger.path, _cut)
    with pytest.raises(OlderCopyError):
        plant_at(ledger.path, None, "L1")


def test_a_carried_copy_at_the_old_place_is_no_older_copy(ledger: Ledger, memory: LastSeen) -> None:
    """The old file's last entry says where the chain goes on; the copy, which goes on, never had it."""
    terminal = _again(ledger, memory)
    carried = ledger.path.with_name("carried.db")
    move_ledger(terminal, carried, by="A01", identity="pin")
    terminal.head()
    carried.replace(ledger.path)
    assert _again(ledger, memory).append(note("k1"))


def test_a_place_is_the_same_however_it_is_named(
    ledger: Ledger, memory: LastSeen, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(ledger.path.parent)
    Ledger.open(Path(ledger.path.name), memory=memory).head()
    assert memory.of(str(ledger.path.resolve()), ledger.start().hash) == ledger.head()


def test_a_terminal_that_saw_a_restored_chain_goes_on_when_two_people_say_so(
    ledger: Ledger, memory: LastSeen
) -> None:
    """The machine is lost, and the only backup is from before a restore: the memory tells what is missing."""
    copy = ledger.path.with_name("older.db")
    shutil.copy(ledger.path, copy)
    restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    terminal = _again(ledger, memory)
    n = terminal.append(note("k1")).n
    ledger.path.unlink()
    silent = restore(copy, ledger.path, signing(), pin_profile=CHEAP_PROFILE)
    assert silent.entry.value["missing"] == 0, "without seal or memory nobody knew of more"
    with pytest.raises(OlderCopyError):
        _again(ledger, memory).head()
    standing = standing_of(ledger.path, memories=memories_in(memory.path.parent))
    assert (standing.unnamed, standing.known and standing.known.n) == (True, n)
    go_on_with(ledger.path, signing(), standing, pin_profile=CHEAP_PROFILE)
    assert _again(ledger, memory).append(note("k2")).n > silent.entry.n
    ledger.path.unlink()
    told = restore(copy, ledger.path, signing(), memories=(memory,), pin_profile=CHEAP_PROFILE)
    assert told.entry.value["known"]["n"] > n
    assert _again(ledger, memory).head().n == told.seal.n + 1


def test_migrating_is_no_other_history_for_a_terminal_that_saw_the_ledger_before(
    tmp_path: Path, memory: LastSeen
) -> None:
    old = tmp_path / "ledger.db"
    shutil.copy(Path(__file__).parents[1] / "data" / "ledgers" / "layout-1.db", old)
    before = Ledger.open(old, memory=memory).head()
    assert migrate(old, tmp_path / "before.db") is not None
    assert Ledger.open(old, memory=memory).head().n == before.n + 1
