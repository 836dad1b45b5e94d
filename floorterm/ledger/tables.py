"""The tables as statements name them: columns with their types, without what only making them needs.

Every terminal needs these before anybody can sign, so they are SQLAlchemy's light constructs. Keys, conditions and
generated columns stand in `schema`, as SQLModel classes, which load the ORM; a test holds the two together.
"""

from typing import Any

from sqlalchemy import BigInteger, Integer, Text, cast, column, table
from sqlalchemy.types import UserDefinedType


class _KeptJson(UserDefinedType[str]):
    """PostgreSQL's `json`, which keeps the text as given (`jsonb` would re-order it); read back as text."""

    cache_ok = True

    def get_col_spec(self, **_: Any) -> str:
        return "JSON"

    def column_expression(self, colexpr: Any) -> Any:
        return cast(colexpr, Text)


# Compared and sorted by the bytes, as SQLite does, whatever language the server was set up in.
TEXT = Text().with_variant(Text(collation="C"), "postgresql")
BODY = Text().with_variant(_KeptJson(), "postgresql")
NUMBER = BigInteger().with_variant(Integer(), "sqlite")  # SQLite: exactly INTEGER makes it the row number
WHOLE = Integer()

ENTRIES = table(
    "entries",
    column("n", NUMBER),
    column("body", BODY),
    column("hash", TEXT),
    column("kind", TEXT),
    column("at", TEXT),
    column("line", TEXT),
    column("changeover", TEXT),
    column("pos", WHOLE),
    column("step", TEXT),
    column("person", TEXT),
    column("witness", TEXT),
    column("terminal", TEXT),
    column("corrects", WHOLE),
    column("key", TEXT),
)
PEOPLE = table(
    "people",
    column("code", TEXT),
    column("name", TEXT),
    column("permission", TEXT),
    column("duties", TEXT),
    column("lockout", TEXT),
    column("trained_on", TEXT),
    column("valid_to", TEXT),
    column("badge", TEXT),
    column("active", WHOLE),
)
PINS = table("pins", column("code", TEXT), column("phc", TEXT), column("one_time", WHOLE))
ATTEMPTS = table("attempts", column("subject", TEXT), column("failures", WHOLE), column("failed_at", TEXT))
TABLES = (ENTRIES, PEOPLE, PINS, ATTEMPTS)
