"""What a plant says about its record: where a second copy of the seals is kept."""

from pathlib import PurePosixPath, PureWindowsPath

from pydantic import field_validator

from floorterm.library.words import Model


class RecordPolicy(Model):
    """`witness`: the file at a second place to which a terminal adds a seal after each shift and at other times."""

    witness: str | None = None

    @field_validator("witness")
    @classmethod
    def _whole_path(cls, value: str | None) -> str | None:
        if value is None:
            return value
        whole = PurePosixPath(value).is_absolute() or PureWindowsPath(value).is_absolute()
        if whole and value.isprintable():
            return value
        raise ValueError("a whole path, such as /mnt/office/seals.txt")
