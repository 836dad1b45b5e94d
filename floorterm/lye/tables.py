"""The tables that ship with the code, each row with its source, its status and who confirmed it.

What the columns mean and how far each table holds is written down in `data/SOURCES.md`.
"""

import csv
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from io import StringIO
from types import MappingProxyType
from typing import Literal, get_args

from msgspec import Struct

from floorterm.lye.errors import TableError

Status = Literal["text-seen", "partly-seen", "computed", "computed-outside-range", "from-memory"]
STATUSES: tuple[Status, ...] = get_args(Status)


class Origin(Struct, frozen=True):
    """Where a datum comes from. `confirmed_by` is empty until a person held it against its source."""

    table: str
    source: str
    status: Status
    confirmed_by: str

    @property
    def unconfirmed(self) -> bool:
        """Nobody has read the text behind it, and no person has confirmed it since."""
        return self.status != "text-seen" and not self.confirmed_by


class Row(Struct, frozen=True):
    """One row of a table: its own columns as they are written, and its origin."""

    cells: Mapping[str, str]
    origin: Origin

    def __getitem__(self, column: str) -> str:
        return self.cells[column]

    def number(self, column: str) -> float:
        """A column as a number. Raises TableError."""
        try:
            return float(self.cells[column])
        except ValueError as fault:
            raise TableError(
                f"{self.origin.table}: {self.cells[column]!r} in {column} is no number."
            ) from fault


@cache
def table(name: str) -> tuple[Row, ...]:
    """All rows of `data/<name>.csv` in their order. Raises TableError for a row without a source or status."""
    text = (files("floorterm.lye") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    return read(name, text)


def read(name: str, text: str) -> tuple[Row, ...]:
    """Rows from the text of a table. Raises TableError naming the row."""
    rows = []
    for n, cells in enumerate(csv.DictReader(StringIO(text)), start=2):
        try:
            source, status, confirmed_by = (cells.pop(key) for key in ("source", "status", "confirmed_by"))
        except KeyError as fault:
            raise TableError(f"{name}, row {n}: the column {fault} is missing.") from fault
        if not source:
            raise TableError(f"{name}, row {n}: every row names its source.")
        known = next((one for one in STATUSES if one == status), None)
        if known is None:
            raise TableError(
                f"{name}, row {n}: status {status!r} is not known; known are {', '.join(STATUSES)}."
            )
        origin = Origin(name, source, known, confirmed_by or "")
        rows.append(Row(MappingProxyType(dict(cells)), origin))
    return tuple(rows)


@cache
def _figures() -> Mapping[str, Row]:
    return {row["figure"]: row for row in table("figures")}


def figure(name: str) -> float:
    """One single figure of `figures.csv` by its name."""
    return _figures()[name].number("value")


def figure_origin(name: str) -> Origin:
    """Where a single figure comes from."""
    return _figures()[name].origin


def merged(origins: Iterable[Origin]) -> tuple[Origin, ...]:
    """Each origin once, in the order of first use."""
    return tuple(dict.fromkeys(origins))
