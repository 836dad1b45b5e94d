"""What a stranger gets with a record: a verifier in one file of plain Python, and a page that describes the format."""

from importlib.resources import files
from pathlib import Path

NAMES = ("verify_record.py", "FORMAT.md")


def write_beside(folder: Path) -> tuple[Path, ...]:
    """Write both into a folder, as they are. A file that says the same already stays.

    Raises FileExistsError if another one of that name is there, or another OSError.
    """
    written = []
    for name in NAMES:
        content, target = (files(__name__) / name).read_bytes(), folder / name
        if not (target.exists() and target.read_bytes() == content):
            with target.open("xb") as file:
                file.write(content)
        written.append(target)
    return tuple(written)
