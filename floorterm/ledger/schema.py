"""The tables, as SQLModel classes that SQLite and PostgreSQL both understand.

They are loaded where tables are made or compared; what statements name is `tables`.
The body of an entry is kept as text exactly as it was hashed; the columns that queries need are *generated*
from it by the database, so that none can disagree with what was hashed.
"""

from typing import Any

from sqlalchemy import CheckConstraint, Column, Computed, Index, UniqueConstraint
from sqlalchemy.orm import registry
from sqlmodel import Field, SQLModel

from floorterm.ledger.tables import BODY, NUMBER, TEXT, WHOLE

_registry = registry()


class _Base(SQLModel, registry=_registry):
    """Tables of the ledger alone, apart from any other SQLModel of the process."""


def _text(name: str, *, needed: bool = False) -> Any:
    generated = Computed(f"body ->> '{name}'", persisted=True)
    return Field(default=None, sa_column=Column(name, TEXT, generated, nullable=not needed))


def _number(name: str) -> Any:
    expression = f"CAST((body ->> '{name}') AS INTEGER)"
    return Field(default=None, sa_column=Column(name, WHOLE, Computed(expression, persisted=True)))


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

    n: int = Field(sa_column=Column("n", NUMBER, primary_key=True, autoincrement=False))
    body: str = Field(sa_column=Column("body", BODY, nullable=False))
    hash: str = Field(sa_column=Column("hash", TEXT, nullable=False))
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
            TEXT,
            Computed("coalesce(body ->> 'key', body ->> 'chain')", persisted=True),
            nullable=False,
        ),
    )


class PersonRow(_Base, table=True):
    """Somebody who signs or once signed. Every change is an entry too, and `verify` compares the two."""

    __tablename__ = "people"

    code: str = Field(sa_column=Column("code", TEXT, primary_key=True))
    name: str = Field(sa_column=Column("name", TEXT, nullable=False))
    permission: str = Field(sa_column=Column("permission", TEXT, nullable=False))
    duties: str = Field(sa_column=Column("duties", TEXT, nullable=False))  # sorted, one a line
    lockout: str = Field(sa_column=Column("lockout", TEXT, nullable=False))
    trained_on: str | None = Field(default=None, sa_column=Column("trained_on", TEXT))
    valid_to: str | None = Field(default=None, sa_column=Column("valid_to", TEXT))
    badge: str | None = Field(default=None, sa_column=Column("badge", TEXT, unique=True))
    active: int = Field(sa_column=Column("active", WHOLE, nullable=False))


class PinRow(_Base, table=True):
    """The hash of a person's PIN (argon2id, PHC text). It stands in no entry and in no export."""

    __tablename__ = "pins"

    code: str = Field(sa_column=Column("code", TEXT, primary_key=True))
    phc: str = Field(sa_column=Column("phc", TEXT, nullable=False))
    one_time: int = Field(sa_column=Column("one_time", WHOLE, nullable=False))


class AttemptRow(_Base, table=True):
    """Wrong PINs in a row, of a person (`person:CODE`) or at a terminal (`terminal:NAME`)."""

    __tablename__ = "attempts"

    subject: str = Field(sa_column=Column("subject", TEXT, primary_key=True))
    failures: int = Field(sa_column=Column("failures", WHOLE, nullable=False))
    failed_at: str = Field(sa_column=Column("failed_at", TEXT, nullable=False))


METADATA = _registry.metadata
GENERATED = tuple(column.name for column in METADATA.tables["entries"].columns if column.computed is not None)
