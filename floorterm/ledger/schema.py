"""The tables, as SQLModel classes that SQLite and PostgreSQL both understand.

The body of an entry is kept as text exactly as it was hashed; the columns that queries need are *generated*
from it by the database, so that none can disagree with what was hashed.
"""

from typing import Any

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Computed,
    Index,
    Integer,
    Text,
    UniqueConstraint,
    cast,
)
from sqlalchemy.orm import registry
from sqlalchemy.types import UserDefinedType
from sqlmodel import Field, SQLModel

_registry = registry()


class _KeptJson(UserDefinedType[str]):
    """PostgreSQL's `json`, which keeps the text as given (`jsonb` would re-order it); read back as text."""

    cache_ok = True

    def get_col_spec(self, **_: Any) -> str:
        return "JSON"

    def column_expression(self, colexpr: Any) -> Any:
        return cast(colexpr, Text)


# Compared and sorted by the bytes, as SQLite does, whatever language the server was set up in.
_TEXT = Text().with_variant(Text(collation="C"), "postgresql")
_BODY = Text().with_variant(_KeptJson(), "postgresql")
_NUMBER = BigInteger().with_variant(Integer(), "sqlite")  # SQLite: exactly INTEGER makes it the row number


class _Base(SQLModel, registry=_registry):
    """Tables of the ledger alone, apart from any other SQLModel of the process."""


def _text(name: str, *, needed: bool = False) -> Any:
    generated = Computed(f"body ->> '{name}'", persisted=True)
    return Field(default=None, sa_column=Column(name, _TEXT, generated, nullable=not needed))


def _number(name: str) -> Any:
    expression = f"CAST((body ->> '{name}') AS INTEGER)"
    return Field(default=None, sa_column=Column(name, Integer, Computed(expression, persisted=True)))


class EntryRow(_Base, table=True):
    """One line of the ledger. `key` of the first entry, which has none, is the identifier of the chain."""

    __tablename__ = "entries"
    __table_args__ = (
        CheckConstraint("n = CAST((body ->> 'n') AS INTEGER)", name="entries_n_is_the_bodys"),
        CheckConstraint("length(hash) = 64", name="entries_hash_is_whole"),
        UniqueConstraint("key", name="entries_key_once"),
        UniqueConstraint("changeover", "pos", name="entries_position_once"),
        Index("entries_of_kind", "kind", "n"),
        Index("entries_of_changeover", "changeover", "n"),
        Index("entries_of_line", "line", "kind", "n"),
        Index("entries_at", "at"),
    )

    n: int = Field(sa_column=Column("n", _NUMBER, primary_key=True, autoincrement=False))
    body: str = Field(sa_column=Column("body", _BODY, nullable=False))
    hash: str = Field(sa_column=Column("hash", _TEXT, nullable=False))
    kind: str | None = _text("kind", needed=True)
    at: str | None = _text("at", needed=True)
    line: str | None = _text("line")
    changeover: str | None = _text("changeover")
    pos: int | None = _number("pos")
    step: str | None = _text("step")
    person: str | None = _text("person")
    witness: str | None = _text("witness")
    terminal: str | None = _text("terminal")
    corrects: int | None = _number("corrects")
    key: str | None = Field(
        default=None,
        sa_column=Column(
            "key",
            _TEXT,
            Computed("coalesce(body ->> 'key', body ->> 'chain')", persisted=True),
            nullable=False,
        ),
    )


class PersonRow(_Base, table=True):
    """Somebody who signs or once signed. Every change is an entry too, and `verify` compares the two."""

    __tablename__ = "people"

    code: str = Field(sa_column=Column("code", _TEXT, primary_key=True))
    name: str = Field(sa_column=Column("name", _TEXT, nullable=False))
    permission: str = Field(sa_column=Column("permission", _TEXT, nullable=False))
    duties: str = Field(sa_column=Column("duties", _TEXT, nullable=False))  # sorted, one a line
    lockout: str = Field(sa_column=Column("lockout", _TEXT, nullable=False))
    trained_on: str | None = Field(default=None, sa_column=Column("trained_on", _TEXT))
    valid_to: str | None = Field(default=None, sa_column=Column("valid_to", _TEXT))
    badge: str | None = Field(default=None, sa_column=Column("badge", _TEXT, unique=True))
    active: int = Field(sa_column=Column("active", Integer, nullable=False))


class PinRow(_Base, table=True):
    """The hash of a person's PIN (argon2id, PHC text). It stands in no entry and in no export."""

    __tablename__ = "pins"

    code: str = Field(sa_column=Column("code", _TEXT, primary_key=True))
    phc: str = Field(sa_column=Column("phc", _TEXT, nullable=False))
    one_time: int = Field(sa_column=Column("one_time", Integer, nullable=False))


class AttemptRow(_Base, table=True):
    """Wrong PINs in a row, of a person (`person:CODE`) or at a terminal (`terminal:NAME`)."""

    __tablename__ = "attempts"

    subject: str = Field(sa_column=Column("subject", _TEXT, primary_key=True))
    failures: int = Field(sa_column=Column("failures", Integer, nullable=False))
    failed_at: str = Field(sa_column=Column("failed_at", _TEXT, nullable=False))


METADATA = _registry.metadata
ENTRIES = METADATA.tables["entries"]
PEOPLE = METADATA.tables["people"]
PINS = METADATA.tables["pins"]
ATTEMPTS = METADATA.tables["attempts"]
GENERATED = tuple(column.name for column in ENTRIES.columns if column.computed is not None)
