"""Backups in a folder: which are kept, and that nothing else is ever removed."""

import errno
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from floorterm.cli import main
from floorterm.ledger import CopyFaultError, Ledger, Seal, back_up, verify_file
from floorterm.ledger.backup import last_backup
from floorterm.ledger.copy_faults import KeepRuleError
from floorterm.ledger.export import file_digest
from floorterm.ledger.rotation import Keep, Made, back_up_into, not_kept
from tests.ledger.conftest import Clock, note

DENVER = ZoneInfo("America/Denver")
NOON = datetime(2026, 3, 2, 19, 0, tzinfo=UTC)


def _made(*hours: float) -> list[Made]:
    return [Made(Path(f"/b/{hour}.db"), NOON - timedelta(hours=hour), "") for hour in hours]


def _kept(backups: list[Made], rule: str) -> list[str]:
    gone = not_kept(backups, Keep.parse(rule), DENVER)
    return [made.path.stem for made in backups if made not in gone]


def test_each_day_week_and_month_keeps_its_newest() -> None:
    daily = _made(*(24 * day for day in range(40)))
    assert _kept(daily, "3/0/0") == ["0", "24", "48"]
    assert _kept(daily, "1/2/0") == ["0", "24"], "the 2nd is a Monday: the week before ends on the 1st"
    assert _kept(daily, "0/0/2") == ["0", "48"], "February ends on the 28th"
    assert _kept(_made(0, 1, 2, 30), "2/0/0") == ["0", "30"], "days without a backup are not counted"


def test_a_day_is_the_plants_own() -> None:
    """06:59 and 07:01 UTC are two days in Denver."""
    backups = [
        Made(Path(f"/b/{minute}"), NOON.replace(hour=7) + timedelta(minutes=minute), "") for minute in (1, -1)
    ]
    assert not_kept(backups, Keep(2, 0, 0), DENVER) == ()


@given(st.lists(st.floats(0, 24 * 900), max_size=40), st.tuples(*[st.integers(0, 9)] * 3))
def test_the_newest_is_always_kept_and_no_more_than_the_rule_says(
    hours: list[float], rule: tuple[int, int, int]
) -> None:
    backups = _made(*hours)
    gone = not_kept(backups, Keep(*rule), DENVER)
    kept = [made for made in backups if made not in gone]
    assert len({made.at for made in kept}) <= max(1, sum(rule))
    if backups:
        assert max(made.at for made in kept) == max(made.at for made in backups)


@pytest.mark.parametrize("text", ["", "7", "7/4", "7/4/x", "-1/2/3", "7/4/12/1", "7 / 4 / 12"])
def test_a_rule_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(KeepRuleError):
        Keep.parse(text)


def test_only_unaltered_backups_of_this_ledger_are_removed(
    ledger: Ledger, clock: Clock, tmp_path: Path
) -> None:
    folder = tmp_path / "backups"
    folder.mkdir()
    named = folder / "before-the-upgrade.db"
    back_up(ledger, named)
    foreign = folder / "floorterm-id-1-20260101T000000Z-3.db"
    foreign.write_text("somebody else's")
    made = []
    for _ in range(4):
        made.append(back_up_into(ledger, folder, Keep(9, 0, 0)))
        clock.advance(24 * 3600)
    with made[1].path.open("ab") as file:
        file.write(b"!")
    last = back_up_into(ledger, folder, Keep(2, 0, 0))
    assert last.removed == (made[0].path, made[2].path)
    assert last.altered == (made[1].path,), "an altered file is somebody's business, and is left"
    assert sorted(folder.iterdir()) == sorted([named, foreign, made[1].path, made[3].path, last.path])
    told = ledger.entries(kinds=("backup.removed",))
    assert [one["file"] for one in told[0].value["files"]] == [str(path) for path in last.removed]
    assert verify_file(last.path, (last.seal,)).ok


def test_the_newest_backup_is_known_by_its_entry(ledger: Ledger, clock: Clock, tmp_path: Path) -> None:
    assert last_backup(ledger) is None
    back_up(ledger, tmp_path / "one.db")
    clock.advance(3600)
    back_up(ledger, tmp_path / "two.db")
    found = last_backup(ledger)
    assert found is not None
    assert (found.at, found.value["file"]) == (clock.at, str(tmp_path / "two.db"))


def test_a_copy_is_held_against_the_seals_that_are_known(ledger: Ledger, tmp_path: Path) -> None:
    known = ledger.seal("paper")
    later = ledger.append(note("k1"))
    wrong = Seal(chain=known.chain, plant=known.plant, n=later.n, hash="0" * 64, at=known.at)
    with pytest.raises(CopyFaultError, match="sealed"):
        back_up(ledger, tmp_path / "copy.db", seals=(known, wrong))
    assert last_backup(ledger) is None
    assert not (tmp_path / "copy.db").exists()
    back_up(ledger, tmp_path / "copy.db", seals=(known,))


def test_the_backup_just_made_is_kept_though_a_clock_ran_ahead_before(
    ledger: Ledger, clock: Clock, tmp_path: Path
) -> None:
    clock.advance(300 * 86400)
    ahead = back_up_into(ledger, tmp_path, Keep(daily=1, weekly=1, monthly=1))
    clock.advance(-299 * 86400)
    made = back_up_into(ledger, tmp_path, Keep(daily=1, weekly=1, monthly=1))
    assert made.path.exists()
    assert made.path not in made.removed
    assert ahead.path.exists()


def _daily(ledger: Ledger, clock: Clock, folder: Path, days: int) -> list[Path]:
    made = []
    for _ in range(days):
        made.append(back_up_into(ledger, folder, Keep(9, 0, 0)).path)
        clock.advance(24 * 3600)
    return made


def test_a_backup_that_cannot_be_removed_is_said_and_what_is_gone_is_recorded(
    ledger: Ledger, clock: Clock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = _daily(ledger, clock, tmp_path, 3)
    unlink = Path.unlink

    def refuses(path: Path, missing_ok: bool = False) -> None:
        if path == made[1]:
            raise PermissionError(errno.EPERM, "Operation not permitted")
        unlink(path, missing_ok)

    monkeypatch.setattr(Path, "unlink", refuses)
    command = ["backup", "--into", str(tmp_path), "--keep", "1/0/0", "--db", str(ledger.path)]
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 1
    assert f"{made[1]}: Operation not permitted" in done.stderr
    assert [path.exists() for path in made] == [False, True, False]
    (told,) = ledger.entries(kinds=("backup.removed",))
    assert [one["file"] for one in told.value["files"]] == [str(made[0]), str(made[2])]


def test_what_is_gone_is_recorded_also_when_the_rotation_is_broken_off(
    ledger: Ledger, clock: Clock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = _daily(ledger, clock, tmp_path, 2)

    def stopped(path: Path) -> str:
        if path == made[1]:
            raise KeyboardInterrupt
        return file_digest(path)

    monkeypatch.setattr("floorterm.ledger.rotation.file_digest", stopped)
    with pytest.raises(KeyboardInterrupt):
        back_up_into(ledger, tmp_path, Keep(1, 0, 0))
    (told,) = ledger.entries(kinds=("backup.removed",))
    assert [one["file"] for one in told.value["files"]] == [str(made[0])]
