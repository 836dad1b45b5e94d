"""The guards of a ledger file, as SQLite statements: nothing changes, nothing goes, nothing jumps the queue.

Plain text, so that verifying needs no ORM. They stop mistakes and careless tools; whoever may write the file
can drop them, which `verify` reports, and what they then alter shows in the chain or against a seal.
"""

from collections.abc import Mapping
from types import MappingProxyType

APPLICATION_ID = 0x464C5452  # "FLTR"
SCHEMA_VERSION = 2  # see `layouts` for what each brought
LEAST_SQLITE = (3, 38, 0)  # `->>`

# Columns that the database generates from the body; `key` of entry 1 is the chain's identifier.
COLUMNS = (
    "kind", "at", "line", "changeover", "pos", "step", "person", "witness", "terminal", "corrects", "key",
)  # fmt: skip

_REFUSE = "CREATE TRIGGER {name} BEFORE {what} BEGIN SELECT RAISE(ABORT, '{why}'); END"

# A REPLACE deletes rows without asking the delete triggers, and it may do so through any unique column;
# so the insert guard itself refuses whatever would collide, besides whatever would leave a gap or a fork.
_INSERT = """CREATE TRIGGER entries_follow BEFORE INSERT ON entries BEGIN
SELECT RAISE(ABORT, 'floorterm: body and hash are text')
 WHERE typeof(NEW.body) <> 'text' OR typeof(NEW.hash) <> 'text';
SELECT RAISE(ABORT, 'floorterm: the number must follow the last one')
 WHERE NEW.n <> (SELECT coalesce(max(n), 0) + 1 FROM entries);
SELECT RAISE(ABORT, 'floorterm: the previous hash must be that of the last entry')
 WHERE (NEW.body ->> 'prev') IS NOT
 coalesce((SELECT hash FROM entries ORDER BY n DESC LIMIT 1), printf('%064d', 0));
SELECT RAISE(ABORT, 'floorterm: the key is taken')
 WHERE EXISTS (SELECT 1 FROM entries WHERE key = coalesce(NEW.body ->> 'key', NEW.body ->> 'chain'));
SELECT RAISE(ABORT, 'floorterm: the position is taken')
 WHERE EXISTS (SELECT 1 FROM entries WHERE changeover = (NEW.body ->> 'changeover')
 AND pos = CAST((NEW.body ->> 'pos') AS INTEGER));
END"""

# The last entry of a chain that goes on elsewhere: nothing follows it, whichever program would add it.
CLOSING = ("ledger.moved", "ledger.closed")
_END = f"""CREATE TRIGGER entries_end BEFORE INSERT ON entries
WHEN (SELECT kind FROM entries ORDER BY n DESC LIMIT 1) IN {CLOSING}
BEGIN SELECT RAISE(ABORT, 'floorterm: this ledger is closed'); END"""

GUARDS: Mapping[str, str] = MappingProxyType(
    {
        "entries_follow": _INSERT,
        "entries_stay": _REFUSE.format(
            name="entries_stay", what="UPDATE ON entries", why="floorterm: entries are never changed"
        ),
        "entries_remain": _REFUSE.format(
            name="entries_remain", what="DELETE ON entries", why="floorterm: entries are never deleted"
        ),
        "entries_end": _END,
        "people_remain": _REFUSE.format(
            name="people_remain", what="DELETE ON people", why="floorterm: people are disabled, never deleted"
        ),
        "people_keep_code": _REFUSE.format(
            name="people_keep_code",
            what="UPDATE OF code ON people",
            why="floorterm: a code is never given again",
        ),
    }
)
