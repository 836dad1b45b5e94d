"""Seals for the second place: when one is due, that none is lost while it is away, that nothing waits for it."""

from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from floorterm.changeover.acts import Abandon, LockoutAct, Release
from floorterm.changeover.compose import compose
from floorterm.demo.clock import SetClock
from floorterm.entries import Draft
from floorterm.ledger import Ledger, write_export
from floorterm.ledger.proof_faults import WitnessAwayError, WitnessDiffersError
from floorterm.ledger.seal import SEAL_MADE
from floorterm.ledger.witness import read_seals
from floorterm.library.model import RecordPolicy, Shift, Text
from floorterm.lockout.model import Event
from floorterm.plant import Plant
from floorterm.sealing import SEAL_AWAY, Kept, bring, keep
from floorterm.shift.signing import COUNTERSIGNED, SIGNED
from floorterm.shift.window import last_end
from tests.conftest import START, who
from tests.library.helper import made

ZONE = ZoneInfo("America/Denver")


@pytest.fixture
def witness(tmp_path: Path) -> Path:
    """An empty witness file: the place answers."""
    file = tmp_path / "witness.txt"
    file.touch()
    return file


def _keep(plant: Plant, witness: Path) -> Kept:
    return keep(plant.ledger, plant.library.plant.shifts, plant.zone, witness, "T1")


def _why(plant: Plant) -> list[str]:
    return [entry.value["why"] for entry in plant.ledger.entries(kinds=(SEAL_MADE,)) if "why" in entry.value]


def test_the_first_look_at_the_place_seals_and_the_next_has_nothing_to_do(
    plant: Plant, witness: Path
) -> None:
    head = plant.ledger.head()
    kept = _keep(plant, witness)
    assert kept.made is not None
    assert (kept.made.n, kept.made.hash, kept.brought) == (head.n, head.hash, 1)
    assert read_seals(witness) == (kept.made,)
    assert _keep(plant, witness) == Kept(None, 0)
    assert plant.ledger.head().n == head.n + 1


def test_a_seal_is_due_after_a_shift_in_which_something_was_recorded(
    plant: Plant, witness: Path, clock: SetClock
) -> None:
    _keep(plant, witness)
    clock.move_to(START + timedelta(hours=8, minutes=1))
    assert _keep(plant, witness).made is None  # nothing but the seal itself was recorded in that shift
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "again", key="k1")
    assert _keep(plant, witness).made is not None
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "again", key="k2")
    assert _keep(plant, witness).made is None
    clock.move_to(START + timedelta(hours=16, minutes=1))
    assert _keep(plant, witness).made is not None
    assert _why(plant) == ["first", "shift", "shift"]


def test_a_seal_is_due_every_day_whatever_happens(plant: Plant, witness: Path, clock: SetClock) -> None:
    _keep(plant, witness)
    clock.move_to(START + timedelta(hours=23, minutes=59))
    _keep(plant, witness)
    clock.move_to(START + timedelta(hours=24))
    _keep(plant, witness)
    assert _why(plant) == ["first", "daily"]


def test_a_seal_is_due_at_an_export(plant: Plant, witness: Path, tmp_path: Path) -> None:
    _keep(plant, witness)
    write_export(plant.ledger, tmp_path / "export.jsonl")
    _keep(plant, witness)
    assert _why(plant) == ["first", "export"]


@pytest.mark.parametrize(
    ("draft", "why"),
    [
        (Draft(kind=Release.KIND, key="x", person="SS"), "release"),
        (Draft(kind=LockoutAct.KIND, key="x", person="AA", value={"event": str(Event.CLOSE)}), "lockout"),
        (Draft(kind="step.signed", key="x", person="AA", step="clean/close"), "lockout"),
        (Draft(kind=LockoutAct.KIND, key="x", person="AA", value={"event": str(Event.VERIFY)}), ""),
        (Draft(kind=SIGNED, key="x", person="SS"), "shift"),
        (Draft(kind=COUNTERSIGNED, key="x", person="SS"), "shift"),
        (Draft(kind=Abandon.KIND, key="x", person="AA"), ""),
    ],
)
def test_a_seal_is_due_at_a_release_at_the_end_of_a_lockout_and_when_a_shift_is_signed(
    plant: Plant, witness: Path, draft: Draft, why: str
) -> None:
    _keep(plant, witness)
    plant.ledger.append(draft)
    _keep(plant, witness)
    assert _why(plant)[1:] == ([why] if why else [])


def test_the_step_that_ends_a_lockout_is_the_one_that_is_looked_for(plant: Plant) -> None:
    sheet = compose(plant.library, "L1", "cedar-vetiver", "eucalyptus", plant.today())
    ends = [step.id for section in sheet.sections for step in section.steps if step.event is Event.CLOSE]
    assert ends
    assert all(step.endswith("/close") for step in ends)


def test_a_place_that_is_away_stops_nothing_and_gets_all_later_with_the_gap_shown(
    plant: Plant, witness: Path, clock: SetClock
) -> None:
    _keep(plant, witness)
    away = witness.with_suffix(".away")
    witness.rename(away)
    made = []
    for hours in (25, 50):
        clock.move_to(START + timedelta(hours=hours))
        with pytest.raises(WitnessAwayError):
            _keep(plant, witness)
        made.append(plant.ledger.entries(kinds=(SEAL_MADE,), newest_first=True, limit=1)[0].value["n"])
    assert not witness.exists()
    with pytest.raises(WitnessAwayError):  # nothing is due: looked again, said again, nothing recorded
        _keep(plant, witness)
    told = plant.ledger.entries(kinds=(SEAL_AWAY,))
    assert [(entry.value["n"], entry.value["to"]) for entry in told] == [(n, str(witness)) for n in made]
    away.rename(witness)
    assert _keep(plant, witness) == Kept(None, 2)
    assert [seal.n for seal in read_seals(witness)][1:] == made
    remark = witness.read_text().splitlines()[1]
    assert remark.startswith("# ")
    assert "brought late: 2, owed since 2026-11-24T" in remark


def test_a_seal_that_is_brought_at_once_has_no_remark(plant: Plant, witness: Path) -> None:
    _keep(plant, witness)
    assert "#" not in witness.read_text()


def test_nothing_is_added_where_the_place_holds_a_seal_of_another_past(
    plant: Plant, witness: Path, clock: SetClock
) -> None:
    old = plant.ledger.path.read_bytes()
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "again", key="k1")
    _keep(plant, witness)
    kept = witness.read_bytes()
    plant.ledger.close()
    plant.ledger.path.write_bytes(old)  # an old copy put back
    back = Ledger.open(plant.ledger.path, clock=clock)
    with pytest.raises(WitnessDiffersError):
        bring(back, witness)
    for number in range(3):  # and work goes on in it, past the sealed number
        back.append(Draft(kind="work.note", key=f"n{number}", person="AA"))
    with pytest.raises(WitnessDiffersError):
        bring(back, witness)
    assert witness.read_bytes() == kept


def test_of_two_terminals_one_makes_the_seal(plant: Plant, witness: Path, clock: SetClock) -> None:
    other = Ledger.open(plant.ledger.path, clock=clock)
    shifts = plant.library.plant.shifts
    first = keep(plant.ledger, shifts, plant.zone, witness, "T1")
    assert keep(other, shifts, plant.zone, witness, "T2") == Kept(None, 0)
    assert read_seals(witness) == (first.made,)


@pytest.mark.parametrize(
    ("ends", "instant", "after"),
    [
        (time(3), datetime(2026, 3, 8, 9, tzinfo=UTC), 23),  # 02:00 to 03:00 is left out in this night
        (time(2, 30), datetime(2026, 3, 8, 9, 30, tzinfo=UTC), 24),  # there is none: by the old offset
        (time(3), datetime(2026, 11, 1, 10, tzinfo=UTC), 25),  # 01:00 to 02:00 comes twice in this one
        (time(1, 30), datetime(2026, 11, 1, 7, 30, tzinfo=UTC), 24),  # the first of the two
    ],
)
def test_the_end_of_a_night_in_which_the_clock_is_changed(ends: time, instant: datetime, after: int) -> None:
    night = Shift(id="n", name=Text(en="n"), start=time(ends.hour + 16, ends.minute), hours=8)
    assert last_end((night,), instant, ZONE) == instant
    assert last_end((night,), instant - timedelta(seconds=1), ZONE) == instant - timedelta(hours=after)
    for hours in (0, 3, 11):
        assert last_end((night,), (instant + timedelta(hours=hours)).astimezone(ZONE), ZONE) == instant


@pytest.mark.parametrize("path", ["seals.txt", "../seals.txt", "", "/mnt/a\0b", "/mnt/\x1b[2J"])
def test_the_second_place_is_named_by_a_whole_path(path: str) -> None:
    with pytest.raises(ValueError, match="whole path"):
        made(RecordPolicy, {"witness": path})
    assert made(RecordPolicy, {"witness": "/mnt/office/seals.txt"}).witness
    assert made(RecordPolicy, {"witness": r"\\office\records\seals.txt"}).witness
