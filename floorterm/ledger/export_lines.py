"""The lines of an export: `{"body":"<exact text>","hash":"..."}` for each entry, and the seal as the last.

The body stands as one JSON *string*, so that no tool re-orders what was hashed.
"""

import json
from collections.abc import Iterator
from pathlib import Path

from msgspec import Struct
from msgspec.structs import asdict

from floorterm.entries import BodyError, canonical, read_body
from floorterm.ledger.seal import Seal

LONGEST_LINE = 64 * 1024 * 1024


class LineOfEntry(Struct, frozen=True):
    """One entry as exported. `n` and `prev` are what its body says (0 and "" if it cannot be read)."""

    body: bytes
    hash: str
    n: int
    prev: str


class ExportFault(Struct, frozen=True):
    """A line that is none of ours."""

    reason: str


def entry_line(body: str, hash_: str) -> str:
    """The line of an entry, without its line end."""
    return json.dumps({"body": body, "hash": hash_}, ensure_ascii=False, separators=(",", ":"))


def seal_line(seal: Seal) -> str:
    """The last line, without its line end."""
    return canonical({"seal": asdict(seal)})


def read_lines(path: Path) -> Iterator[tuple[int, LineOfEntry | Seal | ExportFault]]:
    """(line number, what it is) for each line."""
    with path.open("rb") as file:
        number = 0
        while line := file.readline(LONGEST_LINE):
            number += 1
            yield number, _read(line)


def _read(line: bytes) -> LineOfEntry | Seal | ExportFault:
    try:
        found = read_body(line.decode("utf-8"))
    except (BodyError, UnicodeDecodeError) as fault:
        return ExportFault(str(fault))
    match found:
        case {"body": str(body), "hash": str(hash_)} if len(found) == 2:
            return _entry(body, hash_)
        case {"seal": {"chain": str(c), "plant": str(p), "n": int(n), "hash": str(h), "at": str(a)}}:
            return Seal(chain=c, plant=p, n=n, hash=h, at=a)
        case _:
            return ExportFault("neither an entry nor a seal")


def _entry(body: str, hash_: str) -> LineOfEntry | ExportFault:
    try:
        raw = body.encode("utf-8")
    except UnicodeEncodeError:
        return ExportFault("half a character")
    try:
        fields = read_body(body)
    except BodyError:
        fields = {}
    n, prev = fields.get("n"), fields.get("prev")
    number = n if isinstance(n, int) and not isinstance(n, bool) else 0
    return LineOfEntry(raw, hash_, number, prev if isinstance(prev, str) else "")
