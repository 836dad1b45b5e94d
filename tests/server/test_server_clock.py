"""On a server one clock counts for every terminal: the server's."""

from datetime import UTC, datetime, timedelta

import pytest

from floorterm.ledger import CHEAP_PROFILE, Ledger, clock
from tests.ledger.conftest import note


def test_entries_carry_the_servers_time_and_a_terminal_that_is_apart_is_told_once(
    place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    off = timedelta(hours=1)
    monkeypatch.setattr(clock, "wall_clock", lambda: datetime.now(UTC) + off)
    ledger = Ledger.open(place, pin_profile=CHEAP_PROFILE)
    first = ledger.append(note("k1"))
    ledger.append(note("k2"))
    assert abs(first.at - datetime.now(UTC)) < timedelta(minutes=1)
    (told,) = ledger.entries(kinds=("clock.apart",))
    assert told.n == first.n - 1
    assert told.terminal == first.terminal
    assert abs(float(told.value["by"]["number"]) - off.total_seconds()) < 60
    off = timedelta(0)
    ledger.append(note("k3"))
    assert len(ledger.entries(kinds=("clock.apart",))) == 1, "what is well is not told"
    off = timedelta(hours=-2)
    ledger.append(note("k4"))
    assert [float(entry.value["by"]["number"]) < 0 for entry in ledger.entries(kinds=("clock.apart",))] == [
        False,
        True,
    ]
    ledger.close()
