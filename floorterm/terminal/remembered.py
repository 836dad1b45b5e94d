"""The file in which a terminal keeps what it said last, and the plain lines in it that stand before anything else.

Standard library alone, and little of it: these lines are there sooner than most libraries are imported. The file
begins with a line of seven words: the version of the program that wrote it, number and hash of the record's last entry,
language, from when and until when it is so, and how many plain lines follow. Behind those stands one line of JSON,
which is `sight_memory`'s.
"""

import os
import sqlite3
import time

from floorterm import __version__

TYPE_CHECKING = False  # `typing` itself is slower than all of this
if TYPE_CHECKING:
    from collections.abc import Mapping

SUFFIX = ".sight"
FOR_EVER = "-"
_MOST = 1 << 16
_PATIENCE_S = 0.05  # for a writer that holds the record: first lines do not wait for it
_WORDS = 7


class Remembered:
    """What stands in the file; nothing of it is proved."""

    __slots__ = ("at", "hash", "language", "lines", "n", "rest", "until")

    def __init__(self, head: list[str], lines: list[str], rest: str) -> None:
        self.n, self.hash, self.language, self.at, self.until = head
        self.lines = lines
        self.rest = rest

    def holds(self, n: int, hash_: str, language: str, now: str) -> bool:
        """Whether it was said of this very entry, in this language, and is still so at a time (a stamp of UTC)."""
        return (
            (self.n, self.hash, self.language) == (str(n), hash_, language)
            and self.at <= now
            and (self.until == FOR_EVER or now <= self.until)
        )


def path_of(name: str, env: "Mapping[str, str]") -> str | None:
    """Where a terminal keeps it, in the account's folder for such things. `name` is a part of a file's name."""
    home = env.get("XDG_STATE_HOME") or os.path.expanduser("~/.local/state")  # noqa: PTH111  no pathlib yet
    return os.path.join(home, "floorterm", name + SUFFIX) if os.path.isabs(home) else None  # noqa: PTH117, PTH118


def remembered(path: str) -> Remembered | None:
    """What a file holds; None if it is unreadable or another version's, or has lines that could command a terminal."""
    try:
        with open(path, "rb") as file:  # noqa: PTH123
            first, _, rest = file.read(_MOST).decode("utf-8").partition("\n")
        version, *head, last = first.split(" ")
        count = int(last)
        if version != __version__ or len(head) != _WORDS - 2 or not 0 <= count < _MOST:
            return None
        lines = rest.split("\n", count)
        if len(lines) <= count:
            return None
    except (OSError, ValueError):
        return None
    rest = lines.pop()
    return Remembered(head, lines, rest) if all(line.isprintable() for line in lines) else None


def to_text(head: "tuple[int, str, str, str, str]", lines: list[str], rest: str) -> str:
    """The content of such a file. A space of another kind (in numbers of some languages) is written as a plain one."""
    plain = ("".join(sign if sign.isprintable() else " " for sign in line) for line in lines)
    return "\n".join((" ".join(map(str, (__version__, *head, len(lines)))), *plain, rest))


def lines_of(db: str, path: str, language: str) -> list[str]:
    """The plain lines that a terminal said last, if they are still so of this ledger file; else nothing."""
    kept = remembered(path)
    if kept is None or not kept.lines:
        return []
    seconds, part = divmod(time.time_ns(), 10**9)
    now = f"{time.strftime('%Y-%m-%dT%H:%M:%S', time.gmtime(seconds))}.{part // 1000:06}Z"
    head = _head(db)
    return kept.lines if head and kept.holds(*head, language, now) else []


def _head(db: str) -> tuple[int, str] | None:
    """Number and hash of the last entry; what is wrong with a file is said by those who open it."""
    place = os.path.abspath(db).replace("%", "%25").replace("?", "%3f").replace("#", "%23")  # noqa: PTH100
    try:
        connection = sqlite3.connect(f"file:{place}?mode=ro", uri=True, timeout=_PATIENCE_S)
        try:
            row = connection.execute("SELECT n, hash FROM entries ORDER BY n DESC LIMIT 1").fetchone()
        finally:
            connection.close()
    except (sqlite3.Error, ValueError):
        return None
    return (row[0], row[1]) if row else None
