"""The guards of a ledger on PostgreSQL: the same refusals as `guards` has for a file.

One function a table, one trigger a function for rows and one for TRUNCATE. The owner of the tables can drop
them, which `verify` reports; the role of the terminals cannot.
"""

from collections.abc import Mapping
from types import MappingProxyType

from msgspec import Struct

from floorterm.ledger.guards import CLOSING, SCHEMA_VERSION

LAYOUT_VERSION = SCHEMA_VERSION
LEAST_SERVER = 120000  # generated columns

# `encode(sha256(...))` is the chain's own rule, asked of the server too, so that no program can insert an entry
# whose hash is not that of its text. The advisory lock is taken here as well: whoever inserts without it waits.
_FOLLOW = """
DECLARE
    last_n bigint;
    last_hash text;
BEGIN
    IF TG_OP <> 'INSERT' THEN
        RAISE EXCEPTION 'floorterm: entries are never changed or deleted';
    END IF;
    PERFORM pg_advisory_xact_lock(1179407442);
    SELECT n, hash INTO last_n, last_hash FROM entries ORDER BY n DESC LIMIT 1;
    IF NEW.n <> coalesce(last_n, 0) + 1 THEN
        RAISE EXCEPTION 'floorterm: the number must follow the last one';
    END IF;
    IF (NEW.body ->> 'prev') IS DISTINCT FROM coalesce(last_hash, repeat('0', 64)) THEN
        RAISE EXCEPTION 'floorterm: the previous hash must be that of the last entry';
    END IF;
    IF encode(sha256(convert_to(NEW.body::text, 'UTF8')), 'hex') <> NEW.hash THEN
        RAISE EXCEPTION 'floorterm: the hash is not that of the body';
    END IF;
    RETURN NEW;
END
"""

_REMAIN = """
BEGIN
    IF TG_OP = 'UPDATE' THEN
        IF NEW.code = OLD.code THEN
            RETURN NEW;
        END IF;
        RAISE EXCEPTION 'floorterm: a code is never given again';
    END IF;
    RAISE EXCEPTION 'floorterm: people are disabled, never deleted';
END
"""

_END = f"""
BEGIN
    IF (SELECT kind FROM entries ORDER BY n DESC LIMIT 1) IN {CLOSING} THEN
        RAISE EXCEPTION 'floorterm: this ledger is closed';
    END IF;
    RETURN NEW;
END
"""

LOCK_KEY = 0x464C5452  # as in the function above; one chain a database


class ServerGuard(Struct, frozen=True):
    """A trigger: on which table, when, for what, and the function that it runs."""

    table: str
    when: str
    function: str

    def statement(self, name: str) -> str:
        """The SQL that makes it."""
        return (
            f"CREATE TRIGGER {name} {self.when.format(table=self.table)} EXECUTE FUNCTION {self.function}()"
        )


FUNCTIONS: Mapping[str, str] = MappingProxyType(
    {"entries_follow": _FOLLOW, "entries_end": _END, "people_remain": _REMAIN}
)


def function_statement(name: str, schema: str) -> str:
    """The SQL that makes one of `FUNCTIONS`.

    The schema is named, and temporary tables come last: nobody can put another table of the same name before it.
    """
    return (
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql"
        f" SET search_path = {schema}, pg_temp AS $guard${FUNCTIONS[name]}$guard$"
    )


_ROWS = "BEFORE INSERT OR DELETE OR UPDATE ON {table} FOR EACH ROW"
_ADDED = "BEFORE INSERT ON {table} FOR EACH ROW"
_GONE = "BEFORE DELETE OR UPDATE ON {table} FOR EACH ROW"
_EMPTIED = "BEFORE TRUNCATE ON {table} FOR EACH STATEMENT"
SERVER_GUARDS: Mapping[str, ServerGuard] = MappingProxyType(
    {
        "entries_follow": ServerGuard("entries", _ROWS, "entries_follow"),
        "entries_whole": ServerGuard("entries", _EMPTIED, "entries_follow"),
        "entries_end": ServerGuard("entries", _ADDED, "entries_end"),
        "people_remain": ServerGuard("people", _GONE, "people_remain"),
        "people_whole": ServerGuard("people", _EMPTIED, "people_remain"),
    }
)

# What a terminal's role may do. It can add entries and read them; it can neither change nor remove one, nor
# touch the guards. The tables of people follow the entries and are compared with them by `verify`.
RIGHTS: Mapping[str, str] = MappingProxyType(
    {
        "ledger_layout": "SELECT",
        "entries": "SELECT, INSERT",
        "people": "SELECT, INSERT, UPDATE",
        "pins": "SELECT, INSERT, UPDATE, DELETE",
        "attempts": "SELECT, INSERT, UPDATE, DELETE",
    }
)
