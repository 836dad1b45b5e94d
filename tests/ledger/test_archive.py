"""A year as a file of its own: the next carries it on, the ledger keeps all, a stranger verifies several."""

import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from msgspec.structs import replace

from floorterm.cli import main
from floorterm.ledger import Ledger, LedgerExistsError, LedgerMissingError
from floorterm.ledger.archive import Archived, archive_year
from floorterm.ledger.copy_faults import EmptyYearError, YearNotOverError
from floorterm.ledger.verify import verify_exports
from floorterm.stranger import verify_record
from tests.ledger.conftest import Clock, note

ZONE = ZoneInfo("America/Denver")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "archive"
    made.mkdir()
    return made


@pytest.fixture
def years(ledger: Ledger, clock: Clock, folder: Path) -> list[Archived]:
    """2026 with entries 1 to 7, 2027 with what came after, the archive of 2026 among them."""
    ledger.append(note("k1"))
    clock.at = datetime(2027, 1, 1, 6, 59, tzinfo=UTC)  # 23:59 of 31 December at the plant
    ledger.append(note("k2"))
    clock.at = datetime(2027, 1, 1, 7, 0, tzinfo=UTC)
    ledger.append(note("k3"))
    first = archive_year(ledger, 2026, folder, ZONE)
    ledger.append(note("k4"))
    clock.at = datetime(2028, 1, 1, 7, 0, tzinfo=UTC)
    return [first, archive_year(ledger, 2027, folder, ZONE)]


def _keys(path: Path) -> list[str]:
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    return [json.loads(line["body"]).get("key", "") for line in lines if "body" in line]


def _stranger(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-I", "-S", verify_record.__file__, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_a_year_is_the_plants_own_and_the_next_begins_where_it_ends(years: list[Archived]) -> None:
    one, two = years
    assert (one.first, one.seal.n, two.first) == (1, 7, 8)
    assert _keys(one.path)[-2:] == ["k1", "k2"]
    assert _keys(two.path)[0] == "k3"
    assert "k4" in _keys(two.path)
    assert one.path.stat().st_mode & 0o222 == 0


def test_archives_in_order_are_one_chain_here_and_for_a_stranger(years: list[Archived]) -> None:
    paths = [one.path for one in years]
    report = verify_exports(paths, [one.seal for one in years])
    assert (report.ok, report.first, report.n) == (True, 1, years[1].seal.n)
    assert report.sealed_n == report.n
    assert _stranger(*paths).returncode == 0
    told = CliRunner().invoke(main, ["verify", *map(str, paths)])
    assert told.exit_code == 0, told.output
    assert f"{report.entries} entries, the chain holds" in told.output


@pytest.mark.parametrize("fault", ["order", "missing", "altered", "cut"])
def test_what_is_wrong_between_archives_shows(years: list[Archived], tmp_path: Path, fault: str) -> None:
    one, two = (made.path for made in years)
    paths = [one, two]
    lines = one.read_text(encoding="utf-8").splitlines(keepends=True)
    if fault == "order":
        paths = [two, one]
    elif fault == "missing":
        late = tmp_path / "late.jsonl"
        late.write_text("".join(two.read_text(encoding="utf-8").splitlines(keepends=True)[1:]))
        paths = [one, late]
    else:
        other = tmp_path / "other.jsonl"
        kept = (
            [*lines[:-2], lines[-1]]
            if fault == "cut"
            else [lines[0].replace("Example", "Another"), *lines[1:]]
        )
        other.write_text("".join(kept), encoding="utf-8")
        paths = [other, two]
    assert not verify_exports(paths).ok
    assert _stranger(*paths).returncode == 1


def test_a_year_that_runs_or_has_no_entry_or_an_archive_is_refused(
    ledger: Ledger, clock: Clock, folder: Path
) -> None:
    with pytest.raises(YearNotOverError):
        archive_year(ledger, 2026, folder, ZONE)
    with pytest.raises(EmptyYearError):
        archive_year(ledger, 2025, folder, ZONE)
    clock.at = datetime(2027, 6, 1, tzinfo=UTC)
    archive_year(ledger, 2026, folder, ZONE)
    with pytest.raises(LedgerExistsError):
        archive_year(ledger, 2026, folder, ZONE)
    with pytest.raises(LedgerMissingError):
        verify_exports([folder / "example-2026.jsonl", folder / "example-2027.jsonl"])


def test_entries_of_a_clock_that_was_set_back_over_new_year_go_into_the_next_archive(
    ledger: Ledger, clock: Clock, folder: Path
) -> None:
    clock.at = datetime(2027, 1, 2, tzinfo=UTC)
    first = archive_year(ledger, 2026, folder, ZONE)
    clock.at = datetime(2026, 12, 31, tzinfo=UTC)
    ledger.append(note("late"))
    clock.at = datetime(2028, 1, 2, tzinfo=UTC)
    second = archive_year(ledger, 2027, folder, ZONE)
    assert second.first == first.seal.n + 1
    assert "late" in _keys(second.path)


def test_the_archive_is_recorded_and_sealed(years: list[Archived], ledger: Ledger) -> None:
    made = ledger.entries(kinds=("archive.made",))
    assert [(entry.value["year"], entry.value["head_n"]) for entry in made] == [
        (2026, 7),
        (2027, years[1].seal.n),
    ]
    assert [entry.value["to"] for entry in ledger.entries(kinds=("seal.made",))] == [
        str(one.path) for one in years
    ]
    assert (
        CliRunner().invoke(main, ["archive", "2025", "--into", ".", "--db", str(ledger.path)]).exit_code == 1
    )


def test_a_seal_of_an_entry_before_a_part_is_said_not_to_be_compared(years: list[Archived]) -> None:
    """But the one of the entry that it follows is: the part names its hash."""
    two = years[1].path
    before = replace(years[0].seal, n=3)
    report = verify_exports([two], [before, years[0].seal])
    assert (report.ok, report.sealed_n) == (True, 7)
    assert [(one.n, one.say.key, one.say.facts["first"]) for one in report.remarks] == [
        (3, "ledger.verify.seal_before", 8)
    ]
    told = CliRunner().invoke(main, ["verify", str(two), "--since-seal", str(before)])
    assert told.exit_code == 0
    assert "an entry before this part" in told.output
    stranger = _stranger(two, "--seal", before)
    assert stranger.returncode == 0
    assert "the seal of entry 3 cannot be held against this part" in stranger.stdout
    wrong = replace(years[0].seal, hash="0" * 64)
    assert not verify_exports([two], [wrong]).ok
    assert _stranger(two, "--seal", wrong).returncode == 1


@pytest.mark.parametrize("other", ["ledger.db", "notes.txt", "postgresql://ann@db.example/floorterm"])
def test_several_files_are_verified_as_one_chain_only_if_each_is_an_export(
    years: list[Archived], ledger: Ledger, other: str
) -> None:
    place = other if "://" in other else ledger.path.with_name(other)
    ledger.path.with_name("notes.txt").write_text("nothing of ours")
    done = CliRunner().invoke(main, ["verify", str(years[0].path), str(place)])
    assert done.exit_code == 2, done.output
    assert "Verify it by itself" in done.stderr
