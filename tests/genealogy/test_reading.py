"""Lots that the steps of a work name: corrected, entered from paper or signed again afterwards."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import CorrectStep, LateStep
from floorterm.demo import shipped
from floorterm.entries import Entry, stamp
from floorterm.genealogy import Lot, Past, Taken
from floorterm.genealogy.reading import past_of
from floorterm.ledger import Ledger

NOODLES, PALLET = "prep/noodle-lot", "release/pallet-label"
HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def work() -> tuple[Entry, ...]:
    """The demo's first changeover, which ended."""
    return tuple(Ledger.open(shipped(), read_only=True).entries(changeover="C-0001"))


def _signed(work: tuple[Entry, ...], step: str) -> Entry:
    return next(one for one in work if one.step == step)


def _corrected(old: Entry, at: datetime, text: str, *, n: int = 9001, corrects: int = 0) -> Entry:
    value = {"step": old.step, "corrects": corrects or old.n, "text": text, "reason": "read wrongly"}
    return replace(old, n=n, at=at, kind=CorrectStep.KIND, value=value)


def _again(old: Entry, at: datetime, text: str, n: int = 9001) -> Entry:
    return replace(old, n=n, at=at, value={**old.value, "text": text})


def _noodles(past: Past) -> list[Taken]:
    return [one for one in past.taken if one.lot.sort == "noodles"]


def test_a_corrected_lot_was_in_use_when_it_was_signed_not_when_it_was_corrected(
    work: tuple[Entry, ...],
) -> None:
    (was,) = _noodles(past_of((), (work,)))
    late = work[-1].at + 5 * HOUR
    first = _corrected(_signed(work, NOODLES), late, "N-WRONG")
    # a second correction names the signature or the first correction
    for named in (0, first.n):
        then = _corrected(_signed(work, NOODLES), late + HOUR, "N-RIGHT", n=9002, corrects=named)
        (now,) = _noodles(past_of((), ((*work, first, then),)))
        assert (now.lot.name, now.at, now.n) == ("N-RIGHT", was.at, 9002)
        assert now.facts == was.facts
        found = past_of((), ((*work, first, then),))
        said = [(one.n, one.was.name, one.now.name) for one in found.renamed]
        assert said == [(9001, was.lot.name, "N-WRONG"), (9002, "N-WRONG", "N-RIGHT")]
        assert [one.n for one in found.renamings(Lot("noodles", "N-WRONG"))] == [9001, 9002]


def test_a_corrected_pallet_ended_when_it_was_signed(work: tuple[Entry, ...]) -> None:
    (was,) = past_of((), (work,)).made
    step = next(one for one in work if one.n == was.n)
    (now,) = past_of((), ((*work, _corrected(step, was.at + 5 * HOUR, "PAL-RIGHT")),)).made
    assert (now.lot, now.begun, now.at) == (Lot("pallet", "PAL-RIGHT"), was.begun, was.at)


def test_what_was_done_on_paper_was_in_use_from_the_papers_time(work: tuple[Entry, ...]) -> None:
    def late(entry: Entry) -> Entry:
        if entry.kind != "step.signed":
            return entry
        value: dict[str, Any] = {**entry.value, "done_at": stamp(entry.at), "by": "AA", "by_name": "A"}
        return replace(entry, kind=LateStep.KIND, at=entry.at + 9 * HOUR, value=value)

    live, paper = (past_of((), (each,)) for each in (work, tuple(map(late, work))))
    assert paper == live


def test_what_a_step_named_before_it_was_done_again_was_fed_too(work: tuple[Entry, ...]) -> None:
    step = _signed(work, NOODLES)
    (was,) = _noodles(past_of((), (work,)))
    assert step.at < was.at
    # made ready anew before the line stood for it: the first one was put back
    at = work.index(step) + 1
    early = (*work[:at], _again(step, step.at + timedelta(seconds=1), "N-2"), *work[at:])
    assert [one.lot.name for one in _noodles(past_of((), (early,)))] == ["N-2"]
    # afterwards both went in
    later = (*work, _again(step, was.at + HOUR, "N-2"))
    assert [(one.lot.name, one.at) for one in _noodles(past_of((), (later,)))] == [
        (was.lot.name, was.at),
        ("N-2", was.at + HOUR),
    ]
