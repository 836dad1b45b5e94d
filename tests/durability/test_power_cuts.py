"""The power goes at any call to the disk: what was acknowledged is there, whole and in one line.

The controls show that the simulated disk can tell: with SQLite's own default, and with no syncs at all, it finds
what is lost. Many more images: `python -m tests.benchmarks.power_cuts`.
"""

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from tests.durability.disk import Disk, Truncate, Write
from tests.durability.session import Found, check_all, play, settings


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """Where the session plays, and where it is looked at afterwards."""
    found = tmp_path / "day", tmp_path / "morning"
    for folder in found:
        folder.mkdir()
    return found


def _cut(folders: tuple[Path, Path], *, images: int) -> Iterator[Found]:
    session = play(folders[0], seed=1, images=images, rounds=1)
    assert len(session.entries) == 12
    assert session.calls > 200, "the session is cut at every call that changes the disk"
    return check_all(session, folders[1])


def test_no_power_cut_loses_an_acknowledged_entry_or_leaves_half_an_act(folders: tuple[Path, Path]) -> None:
    found = list(_cut(folders, images=2))
    assert [it for it in found if it.lost or it.fault] == []
    assert {it.cut.acknowledged for it in found} >= {5, 6, 8, 9, 10, 11, 12}, "every act was cut"


def test_control_the_default_of_sqlite_loses_the_newest_act_and_nothing_else(
    folders: tuple[Path, Path],
) -> None:
    with settings("DELETE", "FULL"):
        found = list(_cut(folders, images=1))
    assert any(it.lost for it in found), "a disk that loses nothing here sees nothing"
    assert max(it.lost for it in found) <= 2
    assert not any(it.fault for it in found)


def test_control_without_syncs_the_file_is_damaged(folders: tuple[Path, Path]) -> None:
    with settings("DELETE", "OFF"):
        found = _cut(folders, images=1)
    assert any(it.lost for it in found)
    assert any(it.fault for it in found)


def test_a_disk_keeps_what_was_synced_and_forgets_or_tears_the_rest() -> None:
    disk = Disk({"a": b"old" * 1000})
    file = disk.find("a")
    assert file is not None
    file.change(Write(0, b"NEW" * 1000))
    seen = {disk.after_cut(Random(seed))["a"] for seed in range(40)}
    assert b"old" * 1000 in seen
    assert b"NEW" * 1000 in seen
    assert len(seen) > 10, "torn, too"
    file.sync()
    file.change(Truncate(3))
    assert {disk.after_cut(Random(seed))["a"] for seed in range(20)} == {b"NEW" * 1000, b"NEW"}


def test_names_are_kept_by_the_folder_only() -> None:
    disk = Disk({"a": b"x"})
    disk.make("b").sync()
    disk.remove("a")
    seen = {tuple(sorted(disk.after_cut(Random(seed)))) for seed in range(40)}
    assert seen == {(), ("a",), ("b",), ("a", "b")}
    disk.sync_names()
    assert {tuple(disk.after_cut(Random(seed))) for seed in range(10)} == {("b",)}
