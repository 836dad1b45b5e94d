"""Some schedules of several terminals and one record, compared with the model; a failure names its seed.

The controls show that the simulation can tell. Thousands of schedules: `python -m tests.benchmarks.schedules`.
"""

from collections import Counter
from pathlib import Path

import pytest

from floorterm.ledger.transaction import Transaction
from tests.durability.model import Act, Told, faults
from tests.durability.session import settings
from tests.durability.simulation import simulate
from tests.ledger.conftest import note, staffed


@pytest.mark.parametrize("server", [False, True], ids=["file", "server"])
def test_whatever_befalls_them_the_record_holds_what_the_people_were_told(
    tmp_path: Path, server: bool
) -> None:
    told: Counter[Told] = Counter()
    mishaps: Counter[str] = Counter()
    for seed in range(16):
        found = simulate(seed, tmp_path, server=server, terminals=2 + seed % 3)
        assert found.problems == [], f"seed {seed}, {found.mishaps}"
        told.update(found.told)
        mishaps.update(found.mishaps)
    assert min(told[Told.RECORDED], told[Told.NOT_RECORDED]) > 10
    assert min(mishaps["cut_power"], mishaps["kill"], mishaps["lose_link"] if server else 99) > 5


def test_the_same_seed_is_the_same_schedule(tmp_path: Path) -> None:
    one, again, other = (simulate(seed, tmp_path, server=True, acts=1) for seed in (3, 3, 4))
    assert one == again
    assert one.trace != other.trace


def _seeds_to_find(tmp_path: Path, *, server: bool) -> int:
    return next(seed for seed in range(60) if simulate(seed, tmp_path, server=server).problems)


def test_control_settings_that_lose_an_entry_are_found(tmp_path: Path) -> None:
    with settings("DELETE", "FULL"):
        _seeds_to_find(tmp_path, server=False)


def test_control_a_key_that_is_not_looked_up_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Transaction, "_recorded", lambda *_: None)
    _seeds_to_find(tmp_path, server=True)


def test_the_model_can_tell(tmp_path: Path) -> None:
    """Two acts of which the second began after the first was acknowledged, and what else could be in the record."""
    ledger = staffed(tmp_path / "ledger.db")
    drafts = [note("a", step="step/1"), note("b"), note("c"), note("d", step="step/2")]
    a, b, c, d = (ledger.append(draft) for draft in drafts)
    start = ledger.entries(limit=5)

    def wrong(*acts: Act) -> list[str]:
        return faults(acts, [*start, a, b, c, d], 5)

    first = Act((drafts[0],), 1, began=1, ended=2, told=Told.RECORDED, entries=[a])
    pair = Act((drafts[1], drafts[2]), 0, began=3, ended=4, told=Told.RECORDED, entries=[b, c])
    last = Act((drafts[3],), 2, began=4, ended=0, told=Told.NOTHING_SURE)
    assert wrong(first, pair, last) == []
    assert wrong(first, pair) == ["entries that nobody made"]
    for act, spoilt in (
        (last, {"told": Told.NOT_RECORDED}),
        (last, {"step": 3}),
        (first, {"entries": [b]}),
        (pair, {"drafts": (drafts[1], note("lost"))}),
        (first, {"began": 5, "ended": 6}),
        (pair, {"drafts": (drafts[1],)}),
    ):
        acts = [Act(**{**vars(it), **spoilt}) if it is act else it for it in (first, pair, last)]  # type: ignore[arg-type]
        assert wrong(*acts), spoilt
    assert faults([first], [*start, a, a], 5)[0] == "one key twice"
