"""The columns and limits of the tables as a server has them once floorterm has made them; what `verify` compares with.

Everything is read off `schema`, so that a column or a key stands in one place. A server writes an expression its own
way (more brackets, `::text`, another form of CAST); `plain` brings both to one form.
"""

import re
from collections.abc import Mapping

from sqlalchemy import CheckConstraint, PrimaryKeyConstraint, Table, UniqueConstraint
from sqlalchemy.dialects import postgresql

from floorterm.ledger.schema import METADATA

_CAST = re.compile(r"CAST\((.*?) AS INTEGER\)")
_FORM = re.compile(r"('[^']*')|[\s()]|::text")
Column = tuple[str, bool, str, str]
"""Type with its collation, whether it must be filled, "s" if it is generated, and from what."""


def plain(expression: str) -> str:
    """An expression without what only its writing adds; texts within it stay as they are."""
    told = _CAST.sub(r"\1::integer", expression).replace("COALESCE", "coalesce")
    return _FORM.sub(lambda found: found[1] or "", told)


def made_limits() -> Mapping[str, Mapping[str, str]]:
    """For each table, its keys and conditions in the plain form, with the name by which people are told of each."""
    return {name: dict(_limits_of(table)) for name, table in METADATA.tables.items()}


def _limits_of(table: Table) -> list[tuple[str, str]]:
    found = []
    for one in table.constraints:
        if isinstance(one, CheckConstraint):
            made = f"CHECK ({one.sqltext})"
        elif isinstance(one, PrimaryKeyConstraint | UniqueConstraint):
            kind = "PRIMARY KEY" if isinstance(one, PrimaryKeyConstraint) else "UNIQUE"
            made = f"{kind} ({', '.join(column.name for column in one.columns)})"
        else:
            raise TypeError(one)  # a kind of limit that nothing would compare
        found.append((plain(made), str(one.name or f"{table.name}: {made}")))
    return found


def made_columns() -> Mapping[tuple[str, str], Column]:
    """Each column of each table."""
    dialect = postgresql.dialect()  # type: ignore[no-untyped-call]
    found: dict[tuple[str, str], Column] = {("ledger_layout", "version"): ("INTEGER", True, "", "")}
    for table in METADATA.tables.values():
        for column in table.columns:
            made = str(column.computed.sqltext) if column.computed is not None else ""
            kind = column.type.compile(dialect=dialect)
            generated = "s" if column.computed is not None else ""
            found[table.name, column.name] = (kind, not column.nullable, generated, plain(made))
    return found
