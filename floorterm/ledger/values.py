"""What the ledger answers besides entries: small frozen values. No database is loaded for them."""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.people import Person
    from floorterm.wording import Refusal

Place = Path | str
"""Where a ledger is: a file's path, or the URL of a database server."""


def is_server(place: Place) -> bool:
    """Whether a place is the URL of a database server and no path."""
    return isinstance(place, str) and place.startswith(("postgresql://", "postgres://"))


class Head(Struct, frozen=True):
    """The last entry of the chain: its number, hash and time, and the identifier that the chain has there."""

    n: int
    hash: str
    at: datetime
    chain: str


class Start(Struct, frozen=True, kw_only=True):
    """What entry 1 says: the chain's first identifier, the plant, its time zone, the folder of its checklists."""

    chain: str
    plant: str
    time_zone: str
    at: datetime
    hash: str
    plant_id: str = ""
    checklists: str = ""


class Ref(Struct, frozen=True, kw_only=True):
    """An entry without its value, read from the generated columns: for finding without parsing bodies."""

    n: int
    at: datetime
    kind: str
    line: str
    changeover: str
    pos: int
    step: str
    person: str


class EntriesReader(Protocol):
    """How entries are read; the filters narrow each other down."""

    def __call__(
        self,
        *,
        changeover: str | None = None,
        line: str | None = None,
        kinds: Iterable[str] | None = None,
        after_n: int = 0,
        since: datetime | None = None,
        until: datetime | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> "list[Entry]":
        """Entries in order of their numbers; `since` counts, `until` does not."""


class Asked(Struct, frozen=True):
    """What a guard is asked with: who signs as they are now, the entry's time, and the entries so far.

    All of it is read inside the transaction that would write the entry. `stepped` is how far the clock was set
    since the last entry, where no entry says so yet.
    """

    person: "Person | None"
    witness: "Person | None"
    now: datetime
    entries: EntriesReader
    stepped: timedelta | None = None


Guard = Callable[[Asked], Sequence["Refusal"]]
