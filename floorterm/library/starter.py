"""The checklists that ship with the program."""

from pathlib import Path


def starter_folder() -> Path:
    """The starter set: `floorterm/starter` once installed, `checklists/` in a source tree."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "starter"
    return inside if inside.is_dir() else package.parent / "checklists"
