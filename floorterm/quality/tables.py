"""The published tables of this room, kept as data beside it."""

import csv
from functools import cache
from importlib.resources import files


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a table in its order, each by column."""
    text = (files("floorterm.quality") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
