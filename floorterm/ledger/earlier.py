"""A record as it was at one of its entries: a new file with the entries up to there, and the people of that moment.

Used to make a document anew from exactly what it was made from. The file's own guards look at every row, so one
that would not be one chain is never finished. It holds no PIN: nobody can sign in it.
"""

import json
from collections.abc import Mapping
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from floorterm.ledger.chain import Chain
from floorterm.ledger.file_store import laying_out
from floorterm.ledger.people import row_of
from floorterm.ledger.persons import fold_person, person_of
from floorterm.ledger.tables import ENTRIES, PEOPLE

_AT_ONCE = 1000  # rows of one statement


def copy_up_to(source: Chain, n: int, target: Path) -> None:
    """Write entries 1 to `n` of a ledger into the new ledger file `target`. Raises a LedgerError.

    They never change, so they are read page by page: nobody who signs waits for the copy.
    """
    people: Mapping[str, Mapping[str, Any]] = {}
    left = source.lines(0, n)
    with laying_out(target) as write:
        while lines := tuple(islice(left, _AT_ONCE)):
            rows = [{"n": line.n, "body": line.body, "hash": line.hash} for line in lines]
            write.execute(insert(ENTRIES), rows)
            for line in lines:
                body = json.loads(line.body)
                people = fold_person(people, body["kind"], body.get("value", {}))
        if people:
            write.execute(insert(PEOPLE), [row_of(person_of(record)) for record in people.values()])
