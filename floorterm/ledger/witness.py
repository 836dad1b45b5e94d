"""The witness file: seals kept at a second place, one a line, only ever added to.

It is plain text: a seal as it is printed, or a remark behind `#`, which whoever compares passes over. The file should
belong to another account on another machine. A terminal never creates it: where a network drive is not there,
its empty folder often is, and a new file in it would be kept by nobody.
"""

import contextlib
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from floorterm.ledger.faults import SealFaultError
from floorterm.ledger.proof_faults import WitnessAwayError, WitnessLineError
from floorterm.ledger.seal import Seal

_REMARK = "#"


def read_seals(path: Path) -> tuple[Seal, ...]:
    """Every seal of a witness file; a line that was cut while it was written is passed over.

    Raises WitnessLineError, which names a line that is no seal, or WitnessAwayError.
    """
    found = []
    lines = list(_lines(path))
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.startswith(_REMARK):
            continue
        try:
            found.append(Seal.parse(line))
        except SealFaultError as fault:
            if _is_torn(line, lines[number:]):
                continue
            raise WitnessLineError(path=str(path), line=number, text=repr(line[:80])) from fault
    return tuple(found)


def _is_torn(line: str, later: Sequence[str]) -> bool:
    """The beginning of a seal that stands whole further on: the way there went away while it was added."""
    begun = line.rstrip("\n")
    return begun.startswith("floorterm seal: entry ") and any(other.startswith(begun) for other in later)


def seals_among(path: Path) -> tuple[Seal, ...]:
    """Every seal; lines that are none are passed over, they are for `read_seals` to find. Raises WitnessAwayError."""
    found = []
    for line in _lines(path):
        with contextlib.suppress(SealFaultError):
            found.append(Seal.parse(line))
    return tuple(found)


def append_seals(path: Path, seals: Sequence[Seal], *, remark: str = "", create: bool = False) -> None:
    """Add seals, with a remark above them, and have them on the disk. Raises WitnessAwayError.

    With `create`, a file that is not there is made; its folder has to be there.
    """
    lines = [f"{_REMARK} {remark}"] if remark else []
    text = "".join(f"{line}\n" for line in (*lines, *map(str, seals)))
    flags = os.O_RDWR | os.O_APPEND | (os.O_CREAT if create else 0)
    try:
        file = os.open(path, flags, 0o644)
        try:
            # half a line that a cut left behind must not swallow the first of these
            head = b"\n" if _torn(file) else b""
            _write_whole(file, head + text.encode("utf-8"))
            os.fsync(file)
        finally:
            os.close(file)
    except OSError as fault:
        raise WitnessAwayError(path=str(path), reason=fault.strerror or str(fault)) from fault


def _torn(file: int) -> bool:
    end = os.lseek(file, 0, os.SEEK_END)
    if not end:
        return False
    os.lseek(file, end - 1, os.SEEK_SET)
    return os.read(file, 1) != b"\n"


def _write_whole(file: int, content: bytes) -> None:
    """All of it, or nothing is left of it where the file may be cut: a full disk takes half a line."""
    end = os.lseek(file, 0, os.SEEK_END)
    taken = os.write(file, content)
    if taken != len(content):
        with contextlib.suppress(OSError):  # the account may be allowed to add only
            if os.lseek(file, 0, os.SEEK_END) == end + taken:
                os.ftruncate(file, end)
        raise OSError("the file took only a part of the line")


def _lines(path: Path) -> Iterable[str]:
    try:
        return path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError as fault:
        raise WitnessAwayError(path=str(path), reason=fault.strerror or str(fault)) from fault
