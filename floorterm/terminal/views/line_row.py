"""One row of the Lines screen, apart from what makes it: it is kept for the next start too (`sight_memory`)."""

from msgspec import Struct

from floorterm.terminal.views.text import Line


class LineRow(Struct, frozen=True):
    """One row: what Enter opens (a work, or a line without one) its lines with what stands at the right."""

    key: str
    line: str
    work: str
    left: tuple[Line, ...]
    right: tuple[Line, ...]
    flushes: bool = False
