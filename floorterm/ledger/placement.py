"""On which kind of file system a path lies. SQLite's locks fail on network drives: those are refused.

Linux is read from the mount table, macOS from `mount`, Windows from the drive type.
"""

import re
import sys
from pathlib import Path, PurePosixPath

_MOUNTINFO = Path("/proc/self/mountinfo")
_NETWORK = frozenset(
    {
        "nfs", "nfs3", "nfs4", "cifs", "smb", "smb2", "smb3", "smbfs", "smbnetfs", "sshfs", "9p",
        "afs", "afpfs", "ncpfs", "ceph", "fuse.ceph", "glusterfs", "fuse.glusterfs", "lustre", "davfs",
        "webdav", "fuse.sshfs", "fuse.davfs2", "fuse.rclone", "fuse.s3fs", "fuse.gvfsd-fuse",
        "coda", "ocfs2", "gfs2", "beegfs",
    }
)  # fmt: skip
_DRIVE_REMOTE = 4


def _unescape(text: str) -> str:
    return re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), text)


def mounts_of_linux(mountinfo: str) -> list[tuple[str, str]]:
    """(mount point, type) of each line of a Linux mount table (`/proc/self/mountinfo`), in its order."""
    found = []
    for line in mountinfo.splitlines():
        before, separator, after = line.partition(" - ")
        fields, kinds = before.split(), after.split()
        if separator and len(fields) > 4 and kinds:
            found.append((_unescape(fields[4]), kinds[0]))
    return found


def mounts_of_macos(output: str) -> list[tuple[str, str]]:
    """(mount point, type) of each line that macOS's `mount` prints."""
    return [(found[1], found[2]) for found in re.finditer(r"^.* on (.+) \((\w+)", output, re.MULTILINE)]


def kind_of(path: str, mounts: list[tuple[str, str]]) -> str:
    """The type of the file system that holds an absolute path: of the deepest mount, the latest of equals."""
    best, kind = -1, ""
    place = PurePosixPath(path)
    for point, found in mounts:
        depth = len(PurePosixPath(point).parts)
        if depth >= best and place.is_relative_to(point):
            best, kind = depth, found
    return kind


def network_kind(path: Path) -> str:
    """The type of the network file system that holds the path, or "" for a disk of this machine.

    A system whose mounts cannot be read counts as local: the program would be of no use there otherwise.
    """
    whole = path.resolve()
    if str(whole).startswith(("\\\\", "//")):
        return "UNC"
    if sys.platform == "win32":
        import ctypes  # noqa: PLC0415

        remote = ctypes.windll.kernel32.GetDriveTypeW(whole.anchor) == _DRIVE_REMOTE
        return "network drive" if remote else ""
    import subprocess  # noqa: PLC0415  not for a first frame

    try:
        if sys.platform == "darwin":
            listed = subprocess.run(["/sbin/mount"], capture_output=True, text=True, check=True, timeout=5)
            mounts = mounts_of_macos(listed.stdout)
        else:
            mounts = mounts_of_linux(_MOUNTINFO.read_text(encoding="utf-8", errors="surrogateescape"))
    except (OSError, subprocess.SubprocessError):
        return ""
    kind = kind_of(str(whole), mounts)
    return kind if kind in _NETWORK else ""
