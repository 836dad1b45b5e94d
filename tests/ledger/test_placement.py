"""Network drives are refused: the file system of a path, read from the mount tables of the systems."""

from pathlib import Path

import pytest

from floorterm.ledger import Ledger, NetworkDriveError, placement
from tests.ledger.conftest import new_ledger

# The layout of /proc/self/mountinfo is that of proc(5); the lines are invented.
MOUNTINFO = """\
22 1 254:1 / / rw,relatime - ext4 /dev/vda1 rw
30 22 0:30 / /mnt/share rw,relatime shared:1 master:2 - cifs //server/share rw
31 30 0:31 / /mnt/share/local rw - ext4 /dev/vdb rw
32 22 0:32 / /srv/with\\040space rw - nfs4 server:/export rw
33 22 0:33 / /mnt/over rw - ext4 /dev/vdc rw
34 22 0:34 / /mnt/over rw - fuse.sshfs user@server:/ rw
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/ledger.db", "ext4"),
        ("/mnt/share/ledger.db", "cifs"),
        ("/mnt/share/local/ledger.db", "ext4"),
        ("/mnt/shared/ledger.db", "ext4"),
        ("/srv/with space/ledger.db", "nfs4"),
        ("/mnt/over/ledger.db", "fuse.sshfs"),
    ],
)
def test_the_file_system_of_a_path_is_that_of_its_deepest_and_latest_mount(path: str, kind: str) -> None:
    assert placement.kind_of(path, placement.mounts_of_linux(MOUNTINFO)) == kind


def test_the_mounts_of_macos_are_read_too() -> None:
    # Lines as mount(8) of macOS prints them, from memory; the names are invented.
    listed = (
        "/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)\n"
        "//user@server/share on /Volumes/my share (smbfs, nodev, nosuid, mounted by user)\n"
    )
    mounts = placement.mounts_of_macos(listed)
    assert placement.kind_of("/Volumes/my share/ledger.db", mounts) == "smbfs"
    assert placement.kind_of("/Users/x/ledger.db", mounts) == "apfs"


def test_a_ledger_on_a_network_drive_is_neither_made_nor_opened(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new_ledger(path)
    table = path.with_name("mountinfo")
    table.write_text(f"22 1 0:1 / / rw - ext4 x rw\n30 22 0:3 / {path.parent.resolve()} rw - nfs4 x rw\n")
    monkeypatch.setattr(placement, "_MOUNTINFO", table)
    monkeypatch.setattr(placement.sys, "platform", "linux")
    with pytest.raises(NetworkDriveError, match="nfs4"):
        Ledger.open(path)
    with pytest.raises(NetworkDriveError):
        new_ledger(path.with_name("other.db"))


def test_this_machines_own_disk_is_no_network_drive(tmp_path: Path) -> None:
    assert placement.network_kind(tmp_path) == ""
