"""A record as it was at one of its entries: a new file with the entries up to there, and the people of that moment.

Used to make a document anew from exactly what it was made from. The file's own guards look at every row, so one
that would not be one chain is never finished. It holds no PIN: nobody can sign in it.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from floorterm.ledger import reading
from floorterm.ledger.file_store import laying_out
from floorterm.ledger.people import row_of
from floorterm.ledger.persons import fold_person, person_of
from floorterm.ledger.schema import ENTRIES, PEOPLE
from floorterm.ledger.store import Store


def copy_up_to(source: Store, n: int, target: Path) -> None:
    """Write entries 1 to `n` of a store into the new ledger file `target`. Raises a LedgerError."""
    people: Mapping[str, Mapping[str, Any]] = {}
    after_n = 0
    with source.snapshot() as read, laying_out(target) as write:
        while lines := reading.lines(read, after_n, n):
            rows = [{"n": line.n, "body": line.body, "hash": line.hash} for line in lines]
            write.execute(insert(ENTRIES), rows)
            for line in lines:
                body = json.loads(line.body)
                people = fold_person(people, body["kind"], body.get("value", {}))
            after_n = lines[-1].n
        if people:
            write.execute(insert(PEOPLE), [row_of(person_of(record)) for record in people.values()])
