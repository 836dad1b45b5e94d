"""Terminals that run in processes of their own, for tests that kill the server under them."""

import itertools
import time
from multiprocessing.connection import Connection

from floorterm.ledger import Ledger
from floorterm.ledger.faults import LedgerError
from tests.ledger.conftest import note


def write_through_all(place: str, name: str, pipe: Connection) -> None:
    """Record one entry after the other and press the same key again when told that it was not recorded."""
    ledger = Ledger.open(place)
    for number in itertools.count():
        while True:
            try:
                entry = ledger.append(note(f"{name}-{number}"))
            except LedgerError as fault:
                pipe.send_bytes(f"fault {type(fault).__name__}".encode())
                time.sleep(0.05)
            else:
                break
        pipe.send_bytes(f"{entry.n} {entry.hash}".encode())
