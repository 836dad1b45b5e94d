"""What a plant says about its record: where a second copy of the seals is kept."""

from pathlib import PurePosixPath, PureWindowsPath
from typing import Annotated

from msgspec import Struct

from floorterm.library.shapes import Rule


def _no_whole_path(path: str) -> str:
    whole = PurePosixPath(path).is_absolute() or PureWindowsPath(path).is_absolute()
    return "" if whole and path.isprintable() else "a whole path, such as /mnt/office/seals.txt"


class RecordPolicy(Struct, frozen=True, kw_only=True):
    """`witness`: the file at a second place to which a terminal adds a seal after each shift and at other times."""

    witness: Annotated[str, Rule(_no_whole_path)] | None = None
