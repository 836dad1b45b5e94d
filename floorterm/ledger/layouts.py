"""The layouts that a ledger's tables and guards have had, and what leads from each to the next. Forward only.

A layout is a number in the file (`user_version`) or on the server (`ledger_layout`). No step may touch what was
hashed: `migrating` compares every body and hash before and after, and takes the step back if one differs.
"""

from collections.abc import Mapping
from types import MappingProxyType

from msgspec import Struct

from floorterm.ledger.guards import GUARDS, SCHEMA_VERSION
from floorterm.ledger.server_guards import SERVER_GUARDS, function_statement

# Guards by the layout that brought them; all others stand since layout 1.
_SINCE: Mapping[str, int] = MappingProxyType({"entries_end": 2})


def has_guard(name: str, layout: int) -> bool:
    """Whether a ledger of that layout has the guard of that name."""
    return _SINCE.get(name, 1) <= layout


class Step(Struct, frozen=True, kw_only=True):
    """What leads to layout `to`: statements for a file, and for a server (`{schema}` is where its tables are)."""

    to: int
    why: str
    file: tuple[str, ...]
    server: tuple[str, ...]


STEPS = (
    Step(
        to=2,
        why="a closed ledger takes no entry, whoever adds it",
        file=(GUARDS["entries_end"],),
        server=(
            function_statement("entries_end", "{schema}"),
            SERVER_GUARDS["entries_end"].statement("entries_end"),
        ),
    ),
)
assert STEPS[-1].to == SCHEMA_VERSION
