"""Making a ledger on a server: its tables and guards, the rights of the terminals, and a copy that is not in use yet.

A copy of a ledger that is still in use elsewhere is made *unfinished*: whole, verified, but no program opens it. It
is put in use by one statement once the other one is closed, so that at no moment two of them could be added to.
"""

import contextlib
from collections.abc import Iterator

from sqlalchemy import Connection, text

from floorterm.entries import digest
from floorterm.ledger.faults import LedgerExistsError, ServerAccountError
from floorterm.ledger.server import engine_of, explaining, name_of, read_url
from floorterm.ledger.server_guards import (
    FUNCTIONS,
    LAYOUT_VERSION,
    LOCK_KEY,
    RIGHTS,
    SERVER_GUARDS,
    function_statement,
)
from floorterm.ledger.tables import ENTRIES


def create_on_server(place: str, body: str) -> None:
    """Tables, guards and the first entry in an empty database, all or nothing.

    Whoever does this owns the tables; terminals work under another account (`grant_terminal`). Raises
    LedgerExistsError if a ledger stands there already.
    """
    with laying_out_server(place) as connection:
        connection.execute(ENTRIES.insert().values(n=1, body=body, hash=digest(body)))


@contextlib.contextmanager
def laying_out_server(place: str, *, role: str = "", unfinished_of: str = "") -> Iterator[Connection]:
    """Tables and guards in an empty database; what the caller adds is committed with them.

    `role` is given what a terminal needs. `unfinished_of` is the hash of a ledger's first entry: the copy of it is not
    in use until `put_in_use`, and takes the place of one that was left unfinished before. Raises LedgerExistsError,
    ServerAccountError (`grant_terminal`), or another LedgerError.
    """
    from floorterm.ledger.schema import METADATA  # noqa: PLC0415  loads the ORM, which an opened ledger does without

    with _transaction(place) as (connection, name):
        if connection.execute(text("SELECT to_regclass('ledger_layout')")).scalar() is not None:
            if not unfinished_of or _unfinished(connection) != unfinished_of:
                raise LedgerExistsError(path=name)
            _drop(connection)
        METADATA.create_all(connection, checkfirst=False)
        version = -LAYOUT_VERSION if unfinished_of else LAYOUT_VERSION
        connection.exec_driver_sql("CREATE TABLE ledger_layout (version integer NOT NULL)")
        connection.exec_driver_sql(f"INSERT INTO ledger_layout VALUES ({version})")
        schema = connection.execute(text("SELECT quote_ident(current_schema())")).scalar_one()
        for function in FUNCTIONS:
            connection.exec_driver_sql(function_statement(function, schema))
        for guard, trigger in SERVER_GUARDS.items():
            connection.exec_driver_sql(trigger.statement(guard))
        if role:
            _grant(connection, role, name)
        yield connection


def put_in_use(place: str, n: int, hash_: str) -> bool:
    """Programs may open the unfinished copy from here on; False if none that ends with this entry stands there."""
    with _transaction(place) as (connection, _):
        if not _unfinished(connection):
            return False
        head = connection.execute(text("SELECT n, hash FROM entries ORDER BY n DESC LIMIT 1")).one()
        if tuple(head) != (n, hash_):
            return False
        connection.exec_driver_sql("UPDATE ledger_layout SET version = -version")
        return True


def take_away(place: str) -> None:
    """Drop an unfinished copy; anything else is left alone. Raises a LedgerError."""
    with _transaction(place) as (connection, _):
        if _unfinished(connection):
            _drop(connection)


def grant_terminal(place: str, role: str) -> None:
    """Give an existing role what a terminal needs and no more (`server_guards.RIGHTS`).

    Raises ServerAccountError if the role does not exist, owns the tables itself, or the account may not grant.
    """
    with _transaction(place) as (connection, name):
        _grant(connection, role, name)


def check_role(place: str, role: str) -> None:
    """Raise ServerAccountError unless it is a role that terminals may work under; nothing is changed."""
    with _transaction(place) as (connection, name):
        _check_role(connection, role, name)


@contextlib.contextmanager
def _transaction(place: str) -> Iterator[tuple[Connection, str]]:
    """A transaction of the tables' owner under the chain's lock, and the place's name."""
    url = read_url(place)
    engine = engine_of(url)
    try:
        with explaining(name_of(url)), engine.begin() as connection:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": LOCK_KEY})
            yield connection, name_of(url)
    finally:
        engine.dispose()


def _unfinished(connection: Connection) -> str:
    """The hash of the first entry of a copy that is not in use yet; empty if there is none."""
    if connection.execute(text("SELECT to_regclass('ledger_layout')")).scalar() is None:
        return ""
    version = connection.execute(text("SELECT version FROM ledger_layout")).scalar()
    if version is None or version > 0:
        return ""
    return str(connection.execute(text("SELECT hash FROM entries WHERE n = 1")).scalar())


def _drop(connection: Connection) -> None:
    for table in RIGHTS:
        connection.exec_driver_sql(f"DROP TABLE {table}")
    for function in FUNCTIONS:
        connection.exec_driver_sql(f"DROP FUNCTION {function}()")


def _grant(connection: Connection, role: str, name: str) -> None:
    _check_role(connection, role, name)
    quoted = '"' + role.replace('"', '""') + '"'
    for table, rights in RIGHTS.items():
        connection.exec_driver_sql(f"REVOKE ALL ON {table} FROM PUBLIC")
        connection.exec_driver_sql(f"REVOKE ALL ON {table} FROM {quoted}")
        connection.exec_driver_sql(f"GRANT {rights} ON {table} TO {quoted}")


def _check_role(connection: Connection, role: str, name: str) -> None:
    """The owner, who may be a superuser's or a member's other name, can drop the guards: no terminal works so."""
    asked = text("SELECT pg_has_role(oid, current_user, 'MEMBER') FROM pg_roles WHERE rolname = :role")
    owns = connection.execute(asked, {"role": role}).scalar()
    if owns is None:
        raise ServerAccountError(place=name, reason=f"there is no role {role}")
    if owns:
        raise ServerAccountError(place=name, reason=f"the role {role} can do all that the tables' owner can")
