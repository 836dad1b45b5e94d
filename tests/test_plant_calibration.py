"""Accepted figures of a line: who may, what refuses, what worksheets and their notes make of them."""

from collections.abc import Mapping
from decimal import Decimal

import pytest
from msgspec.structs import replace

from floorterm.changeover.accepting import Acceptance, AcceptedValue, SampleFile
from floorterm.ledger import RefusedError
from floorterm.library.calibrated import (
    CalibratedValue,
    CalibrationMismatchError,
    differences,
    with_calibration,
)
from floorterm.library.model import Library
from floorterm.plant import Plant
from tests.conftest import who


def accepted(unit: str = "plodder", new: str = "36", *, before: int = 0) -> Acceptance:
    return Acceptance(
        values=(
            AcceptedValue(
                unit=unit,
                field="mixed_kg",
                old=Decimal(30),
                new=Decimal(new),
                se=Decimal("0.7"),
                low=Decimal(34),
                high=Decimal(38),
            ),
        ),
        spread=Decimal("0.065"),
        confidence=Decimal("0.95"),
        factor=Decimal("1.2"),
        changeovers=1,
        files=(SampleFile(name="checks.csv", sha256="0" * 64),),
        before=before,
    )


def _keys(error: pytest.ExceptionInfo[RefusedError]) -> set[str]:
    return {refusal.say.key for refusal in error.value.refusals}


def test_worksheets_from_then_on_use_the_figures_and_name_the_entry(plant: Plant) -> None:
    old = plant.worksheet("L1", "clove-leaf").flush
    entry = plant.accept_calibration(who(plant, "SS"), "L1", accepted(), "sampled", key="k1")
    new = plant.worksheet("L1", "clove-leaf").flush
    assert old is not None
    assert new is not None
    assert new.calibration_n == entry.n
    assert new.spread == Decimal("0.065")
    assert new.required_kg > old.required_kg
    assert "plodder" in new.measured
    assert "plodder" in old.assumed
    assert plant.library.lines["L1"].units[4].mixed_kg == 30, "the file stays what it is"
    started = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k2")
    kept = started.worksheet.flush
    assert kept is not None
    assert kept.calibration_n == entry.n
    assert any(f"entry {entry.n}" in text["en"] for text in kept.chain)
    assert kept.proposed


def test_only_a_supervisor_or_safety_officer_accepts_and_only_with_a_reason(plant: Plant) -> None:
    with pytest.raises(RefusedError) as refused:
        plant.accept_calibration(who(plant, "AA"), "L1", accepted(), " ", key="k1")
    assert _keys(refused) == {"plant.supervisor_accepts", "plant.reason_missing"}
    assert plant.calibration("L1") is None


def test_a_proposal_on_figures_that_have_moved_since_is_refused(plant: Plant) -> None:
    first = plant.accept_calibration(who(plant, "SS"), "L1", accepted(), "sampled", key="k1")
    with pytest.raises(RefusedError) as refused:
        plant.accept_calibration(who(plant, "SS"), "L1", accepted(new="40"), "again", key="k2")
    assert _keys(refused) == {"plant.calibration_moved"}
    second = accepted(new="33", before=first.n)
    plant.accept_calibration(who(plant, "SS"), "L1", second, "again", key="k3")
    found = plant.calibration("L1")
    assert found is not None
    assert [one.value for one in found.values] == [Decimal(33)]


def test_pressing_twice_accepts_once(plant: Plant) -> None:
    first = plant.accept_calibration(who(plant, "SS"), "L1", accepted(), "sampled", key="same")
    assert plant.accept_calibration(who(plant, "SS"), "L1", accepted(), "sampled", key="same").n == first.n


def test_figures_of_a_unit_that_is_gone_no_longer_count(plant: Plant) -> None:
    plant.accept_calibration(who(plant, "SS"), "L1", accepted(), "sampled", key="k1")
    line = plant.library.lines["L1"]
    rebuilt = replace(line, units=tuple(unit for unit in line.units if unit.name != "plodder"))
    lines: Mapping[str, object] = {**plant.library.lines, "L1": rebuilt}
    changed = Plant(replace(plant.library, lines=lines), plant.ledger, "T1")
    assert changed.calibration("L1") is None


def test_a_line_with_accepted_figures_is_measured_where_they_touch_it(library: Library) -> None:
    line = library.lines["L1"]
    values = (
        CalibratedValue(unit="refiner", field="tanks", value=Decimal(2)),
        CalibratedValue(unit="refiner", field="mixed_kg", value=Decimal("15")),
    )
    found = with_calibration(line, values)
    units = {unit.name: unit for unit in found.units}
    assert units["refiner"].tanks == 2
    assert isinstance(units["refiner"].tanks, int)
    assert units["refiner"].evidence == "measured"
    assert units["plodder"] == line.units[4]
    assert differences(line, values) == ((values[0], Decimal(3)),)
    with pytest.raises(CalibrationMismatchError, match="no unit 'mill'"):
        with_calibration(line, (CalibratedValue(unit="mill", field="mixed_kg", value=Decimal(1)),))
