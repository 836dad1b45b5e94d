"""What a terminal said of its lines, kept for its next start: shown at once, if the record has not moved since.

A file of the account; `remembered` reads the plain lines in it by itself. It is used only for the very entry that it
was made of, in the same language, and before the first signed step in it reopens by itself; minutes are left out. It
is no proof: whoever may write the file can forge it, so it is shown until the record is open, and nothing can be
signed on it.
"""

import contextlib
import os
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from msgspec import Struct, field, json
from msgspec.structs import replace

from floorterm.entries import instant, stamp, visible
from floorterm.terminal.remembered import FOR_EVER, remembered, to_text
from floorterm.terminal.views.line_row import LineRow
from floorterm.terminal.views.text import Line, Span, Tone
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.ledger import Head, Ledger
    from floorterm.line_record import LineRecord

_TONES = get_args(Tone)


class Told(Struct, frozen=True):
    """Rows of the lines with work, the step that each has come to by the row's key, and until when all of it is so
    if nothing is recorded (None: for ever).
    """

    rows: tuple[LineRow, ...]
    steps: Mapping[str, str] = field(default_factory=dict)
    until: datetime | None = None


class SightMemory:
    """The file of a terminal. To be used from one thread at a time."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._record: LineRecord | None = None

    def of(self, head: "Head", language: str, now: datetime) -> Told | None:
        """What was told of this very entry in this language; None if there is nothing, or it cannot be read."""
        kept_file = remembered(str(self._path))
        if kept_file is None or not kept_file.holds(head.n, head.hash, language, stamp(now.astimezone(UTC))):
            return None
        try:
            until = None if kept_file.until == FOR_EVER else instant(kept_file.until)
            kept = json.decode(kept_file.rest)
            rows = tuple(_row(one) for one in kept["rows"])
            steps = {str(key): visible(str(text)) for key, text in kept["steps"].items()}
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return None
        return Told(rows, steps, until)

    def keep(self, ledger: "Ledger", language: str) -> None:
        """Tell anew and keep it; a file that cannot be written keeps nobody from working. Raises LedgerError."""
        from floorterm.line_record import LineRecord  # noqa: PLC0415  a start with memory needs neither
        from floorterm.terminal.views.first_rows import told_of  # noqa: PLC0415

        if self._record is None:
            self._record = LineRecord(ledger)  # its own: folds of the screens belong to another thread
        head = ledger.head()  # before what is told: an entry in between makes it useless, never wrong
        at = self._record.now()
        told = told_of(self._record, language)
        timeless = replace(told, rows=tuple(map(_timeless, told.rows)))
        until = stamp(told.until.astimezone(UTC)) if told.until else FOR_EVER
        value = {"rows": [_kept(row) for row in timeless.rows], "steps": dict(told.steps)}
        text = to_text(
            (head.n, head.hash, language, stamp(at.astimezone(UTC)), until),
            list(plain_lines(timeless, ledger.start().plant, language)),
            json.encode(value).decode(),
        )
        with contextlib.suppress(OSError):
            self._write(text.encode())

    def _write(self, content: bytes) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        fresh = self._path.with_suffix(".new")
        fd = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)  # names of people stand in it
        with os.fdopen(fd, "wb") as file:
            file.write(content)
        fresh.replace(self._path)


def plain_lines(told: Told, heading: str, language: str) -> Iterator[str]:
    """The lines with work as plain lines, each with the step that its work has come to."""
    yield visible(f"{words('terminal.lines', language)}  {heading}")
    yield words("terminal.opening", language)
    for row in told.rows:
        yield ""
        for left, right in zip_longest(row.left, row.right, fillvalue=()):
            yield visible("  ".join(span.text for span in (*left, *right)))
        if row.key in told.steps:
            yield visible(f"> {told.steps[row.key]}")


def _timeless(row: LineRow) -> LineRow:
    return replace(row, right=((), *row.right[1:]))  # minutes against the standard stand first


def _kept(row: LineRow) -> dict[str, Any]:
    return {
        "key": row.key,
        "line": row.line,
        "work": row.work,
        "flushes": row.flushes,
        "left": [[[span.text, span.tone] for span in line] for line in row.left],
        "right": [[[span.text, span.tone] for span in line] for line in row.right],
    }


def _row(kept: Mapping[str, Any]) -> LineRow:
    key, line, work = (str(kept[name]) for name in ("key", "line", "work"))
    return LineRow(key, line, work, _lines(kept["left"]), _lines(kept["right"]), bool(kept["flushes"]))


def _lines(kept: Any) -> tuple[Line, ...]:
    return tuple(
        tuple(Span(visible(str(text)), tone if tone in _TONES else "") for text, tone in line)
        for line in kept
    )
