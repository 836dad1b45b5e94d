"""Nothing that runs by day walks the whole record: the plans of the statements that screens and commands issue.

Deliberately apart, since they are about every entry: verifying, exporting, copying, moving, and reading all works
(`PlantRecord.works`), which no screen and no command of the day asks for.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing

from floorterm.changeover.acts import STARTED, SignStep
from floorterm.changeover.register import ENDS, HOLDS, STIRS
from floorterm.demo import open_still
from floorterm.plant import Plant
from tests.query_plans import Statement, everything_asked, issued
from tests.terminal.shell import opened, until, visited

_FREQUENT = {STARTED, HOLDS, *ENDS, *STIRS, SignStep.KIND}
_BOUNDS = ("n>?", "rowid>?", "changeover=?")
_WALKS_ON = "USING INTEGER PRIMARY KEY (rowid>?)"  # from a number on, to the end of the record


def _plan(connection: sqlite3.Connection, statement: Statement) -> Iterator[str]:
    for *_, detail in connection.execute(f"EXPLAIN QUERY PLAN {statement.text}", statement.given):
        yield detail


def _walking(plant: Plant, statements: Iterable[Statement]) -> list[tuple[str, str]]:
    """Statements that would read in proportion to the record, with the part of the plan that says so."""
    with closing(sqlite3.connect(plant.ledger.path)) as connection:
        return [
            (statement.text, detail)
            for statement in statements
            for detail in _plan(connection, statement)
            if detail.startswith("SCAN entries") or (statement.asks_for_times and _WALKS_ON in detail)
        ]


def test_what_is_found_by_a_walk_is_seen_here() -> None:
    """The measure itself: a question that no index answers, and a period asked for without its numbers."""
    plant = open_still()
    by_terminal = Statement("SELECT n FROM entries WHERE terminal = ?", ("T1",))
    period = Statement(
        "SELECT body FROM entries WHERE entries.at >= ? AND entries.at < ? AND n > ? ORDER BY n LIMIT ?",
        ("2026", "2027", 5, 2000),
    )
    assert len(_walking(plant, (by_terminal, period))) == 2


def test_no_command_of_the_day_walks_the_record() -> None:
    plant = open_still()
    with issued() as statements:
        everything_asked(plant)
    assert len(statements) > 12
    assert any(statement.asks_for_times for statement in statements)
    assert _walking(plant, statements) == []


def test_what_grows_with_the_work_is_read_from_the_last_standing_on() -> None:
    """Of kinds that every work brings more of, only those after a number; other kinds are few."""
    plant = open_still()
    everything_asked(plant)  # records a standing
    with issued() as statements:
        everything_asked(plant)
    frequent = [statement for statement in statements if _FREQUENT & set(statement.given)]
    assert len(frequent) >= 4
    with closing(sqlite3.connect(plant.ledger.path)) as connection:
        for statement in frequent:
            for detail in _plan(connection, statement):
                if detail.startswith("SEARCH entries"):
                    assert any(bound in detail for bound in _BOUNDS), (statement, detail)


async def test_no_screen_walks_the_record() -> None:
    plant = open_still()
    with issued() as statements:
        async with opened(plant) as (app, pilot):
            for key in ("f2", "f4", "f5", "enter"):
                async with visited(pilot, key):
                    pass
            async with visited(pilot, "f8"):
                await pilot.press("left")
                await pilot.press("f4")
                await until(pilot, lambda: type(app.screen).__name__ == "EntriesScreen")
                await pilot.press("escape", "f6")
                await until(pilot, lambda: type(app.screen).__name__ == "ReviewScreen")
    assert len(statements) > 8
    assert _walking(plant, statements) == []
