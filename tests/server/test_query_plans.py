"""The same on a server: with walking through a table ruled out as far as it can be, an index answers everything.

On a table of a thousand rows the planner walks because that is cheapest; `enable_seqscan=off` asks whether there
is another way, which is what counts once there are a million.
"""

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import create_engine

from floorterm.plant import Plant
from tests.query_plans import Statement, everything_asked, issued
from tests.server.conftest import Server
from tests.server.test_terminals import two_terminals


def _nodes(plan: dict[str, Any], above: str = "") -> Iterator[tuple[dict[str, Any], str]]:
    yield plan, above
    for below in plan.get("Plans", ()):
        yield from _nodes(below, plan["Node Type"])


def _walking(plant_url: str, statements: list[Statement]) -> list[tuple[str, str]]:
    """Statements that read entries without a condition on an index; the last row by a limit is no walk."""
    engine = create_engine(plant_url.replace("postgresql:", "postgresql+psycopg:"))
    found = []
    with engine.connect() as connection:
        connection.exec_driver_sql("SET enable_seqscan = off")
        for statement in statements:
            explained = connection.exec_driver_sql(f"EXPLAIN (FORMAT JSON) {statement.text}", statement.given)
            told = explained.scalar_one()
            (whole,) = json.loads(told) if isinstance(told, str) else told
            for node, above in _nodes(whole["Plan"]):
                if "Scan" not in node["Node Type"] or node.get("Relation Name", "entries") != "entries":
                    continue
                by_index = "Index Cond" in node or node["Node Type"] == "Bitmap Heap Scan" or above == "Limit"
                if not by_index and "Subquery" not in node["Node Type"]:
                    found.append((statement.text, node["Node Type"]))
    engine.dispose()
    return found


def test_no_command_of_the_day_walks_the_record_on_a_server(server: Server, database: str) -> None:
    plant, _ = two_terminals(server, database)
    assert isinstance(plant, Plant)
    with issued() as statements:
        everything_asked(plant)
    assert len(statements) > 12
    plant.ledger.close()
    url = server.url(database)
    assert _walking(url, statements) == []
    by_terminal = Statement("SELECT n FROM entries WHERE terminal = %(t)s", {"t": "T1"})
    assert len(_walking(url, [by_terminal])) == 1, "what no index answers is seen"
