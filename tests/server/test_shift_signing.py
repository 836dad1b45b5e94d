"""A shift signed on a server: what another terminal records meanwhile is named, and of two leads one signs."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from floorterm.changeover.acts import Dispose
from floorterm.ledger import RefusedError
from floorterm.plant import Plant
from floorterm.shift.signing import KINDS
from floorterm.shift.window import window_named
from floorterm.shift_review import Review, countersign, review_of, sign
from tests.conftest import who
from tests.server.conftest import Server
from tests.server.test_terminals import two_terminals

KEY = "2026-11-24/early"


def _review(plant: Plant) -> Review:
    return review_of(plant, window_named(plant.library.plant.shifts, KEY, plant.zone))


def test_what_another_terminal_records_meanwhile_is_named_and_of_two_leads_one_signs(
    server: Server, database: str
) -> None:
    first, second = two_terminals(server, database)
    shown = _review(first)
    assert _review(second) == shown
    for one in shown.summary.undecided:
        act = Dispose(deviation=one.n, decision="hold", reason="the lab looks at it")
        second.act(one.work, act, who(second, "SH"), key=f"hold {one.n}")
        with pytest.raises(RefusedError, match="changed since this was shown"):
            sign(first, who(first, "CI"), shown, "all told", key="too early")
    shown, barrier = _review(first), Barrier(2)

    def signed(plant: Plant, code: str) -> str:
        barrier.wait()
        try:
            sign(plant, who(plant, code), shown, f"told by {code}", key=f"sign {code}")
        except RefusedError as refused:
            return refused.refusals[0].say.key
        return "signed"

    with ThreadPoolExecutor(2) as hands:
        told = [hands.submit(signed, plant, code) for plant, code in ((first, "CI"), (second, "SH"))]
        assert sorted(one.result() for one in told) == ["shift.sign_meanwhile", "signed"]
    signature = _review(second).signature
    assert signature is not None
    other = {"CI": "SH", "SH": "CI"}[signature.person]
    countersign(second, who(second, other), _review(second), key="take over")
    taken = _review(first).signature
    assert taken is not None
    assert taken.taken_over is not None
    assert (taken.taken_over.person, taken.holds) == (other, True)
    shift = [entry for entry in first.ledger.entries(kinds=KINDS) if entry.value["shift"] == KEY]
    assert len(shift) == 2
