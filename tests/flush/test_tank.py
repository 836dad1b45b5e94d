"""Rinses of a shared tank, tank and train together, the dosing pipe.

Worked figures: closed forms with a scan over whole rinses (rinses) and an explicit Runge-Kutta pair beside a
30 to 40 digit matrix exponential (tank and train); searches here are scanned by brute force once more.
"""

from math import ceil, inf, isinf, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.flush import LineModel, TankInputError, Unit, washout
from floorterm.flush.tank import (
    RinseCosts,
    RinsePlans,
    Tank,
    pipe_residual,
    pipe_volumes,
    rinse_plans,
    share_after,
    share_for_floor,
    tank_and_train,
    tank_floor,
)
from floorterm.wording import sentence

COSTS = RinseCosts(per_unit=1.2, per_rinse=9)
TANK = Tank(heel=6, fill=100, largest_charge=80)
T11 = LineModel(
    units=(
        Unit(name="mixer", mixed_kg=90),
        Unit(name="refiner", mixed_kg=70, tanks=2),
        Unit(name="plodder", mixed_kg=110, tanks=3),
    ),
    flash_fraction=0.18,
    flash_to="mixer",
)
SMALL = Tank(heel=2.5, fill=40, largest_charge=10)


@pytest.fixture(scope="module")
def plans() -> RinsePlans:
    """Heel 6 L, down to 5e-4 of it, 1.2 a litre, 9 a rinse, at most 80 L at a time."""
    return rinse_plans(TANK, 5e-4, COSTS)


# --- rinses -------------------------------------------------------------------------------------------


def test_the_fewest_rinses(plans: RinsePlans) -> None:
    """6 (2000^(1/3) - 1) = 69.59526299 L; one or two rinses do not fit under 80 L."""
    assert plans.fewest.rinses == 3
    assert plans.fewest.charge == pytest.approx(69.59526299, abs=5e-9)
    assert plans.fewest.share_left == pytest.approx(5e-4, rel=1e-12)


def test_the_cheapest_rinses(plans: RinsePlans) -> None:
    assert plans.cheapest.rinses == 7
    assert plans.cheapest.charge == pytest.approx(11.77161778, abs=5e-9)
    assert plans.cheapest.total == pytest.approx(82.40132443, abs=5e-9)
    assert plans.cheapest.cost == pytest.approx(161.8815893, abs=5e-8)


def test_a_continuous_rinse_is_the_least_volume_of_all(plans: RinsePlans) -> None:
    """6 ln 2000 = 45.60541476 L."""
    assert plans.continuous == pytest.approx(45.60541476, abs=5e-9)
    assert plans.continuous < plans.cheapest.total < plans.fewest.total


def test_the_plan_in_whole_litres_is_rounded_up_and_still_reaches_the_share(plans: RinsePlans) -> None:
    """7 x 12 L = 163.8; (6 / 18)^7 = 4.572e-4."""
    assert (plans.in_marks.rinses, plans.in_marks.charge) == (7, 12.0)
    assert plans.in_marks.cost == pytest.approx(163.8)
    assert plans.in_marks.share_left == pytest.approx((1 / 3) ** 7)


@given(
    heel=st.floats(0.2, 20),
    share=st.floats(1e-6, 0.9),
    largest=st.floats(2, 100),
    per_unit=st.floats(0, 5),
    per_rinse=st.floats(0.5, 50),
)
def test_no_plan_of_a_brute_force_scan_is_better(
    heel: float, share: float, largest: float, per_unit: float, per_rinse: float
) -> None:
    costs = RinseCosts(per_unit=per_unit, per_rinse=per_rinse)
    found = rinse_plans(Tank(heel=heel, fill=50, largest_charge=largest), share, costs)
    charges = {k: heel * (share ** (-1 / k) - 1) for k in range(1, 400)}
    feasible = {k: charge for k, charge in charges.items() if charge <= largest * (1 + 1e-9)}
    assert found.fewest.rinses == min(feasible)
    cheapest = min(k * (per_unit * charge + per_rinse) for k, charge in feasible.items())
    assert found.cheapest.cost == pytest.approx(cheapest, rel=1e-9)
    whole = []
    for litres in range(1, int(largest) + 1):
        rinses = max(1, ceil(-log(share) / log(1 + litres / heel) - 1e-9))
        whole.append(rinses * (per_unit * litres + per_rinse))
    assert found.in_marks.cost == pytest.approx(min(whole), rel=1e-9)
    for plan in (found.fewest, found.cheapest, found.in_marks):
        assert plan.share_left <= share * (1 + 1e-8)
        assert plan.charge <= largest * (1 + 1e-9)


@given(st.lists(st.floats(0.1, 40), min_size=2, max_size=5))
def test_equal_charges_are_the_best_of_their_number(charges: list[float]) -> None:
    """The product of (1 + V / h) is largest at equal charges (inequality of the means)."""
    unequal = 1.0
    for charge in charges:
        unequal *= 6 / (6 + charge)
    assert share_after(6, sum(charges) / len(charges), len(charges)) <= unequal * (1 + 1e-12)


def test_a_tank_of_its_own_needs_no_rinse() -> None:
    own = Tank(heel=0, fill=80, largest_charge=80, dedicated=True)
    found = rinse_plans(own, 5e-4, COSTS)
    assert {plan.rinses for plan in (found.fewest, found.cheapest, found.in_marks)} == {0}
    assert (found.cheapest.cost, found.continuous, tank_floor(own)) == (0.0, 0.0, 0.0)


# --- the floor ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rinses", "percent"),
    [(0, 6.250), (1, 1.7857), (2, 0.5102)],
)
def test_a_heel_of_4_kg_under_60_kg_of_new_oil(rinses: int, percent: float) -> None:
    """4 / 64, then times 4 / 14 a rinse of 10 kg: divisions that can be redone by hand."""
    tank = Tank(heel=4, fill=60, largest_charge=10)
    assert 100 * tank_floor(tank, 10, rinses) == pytest.approx(percent, abs=5e-5)


def test_a_share_for_a_floor_is_the_inverse() -> None:
    share = share_for_floor(SMALL, tank_floor(SMALL, 10, 2))
    assert share == pytest.approx(share_after(2.5, 10, 2))
    assert share_for_floor(SMALL, 0.1) > 1, "the fill alone is enough"


# --- tank and train together --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rinses", "floor", "at_700", "m_star"),
    [
        (1, 0.01176470588, 0.06342918488, inf),
        (2, 0.002352941176, 0.05450946283, 1525.013954),
        (3, 0.0004705882353, 0.05272551842, 1269.121227),
    ],
)
def test_the_heel_is_a_floor_that_the_line_does_not_wash_out(
    rinses: int, floor: float, at_700: float, m_star: float
) -> None:
    """Heel 2.5, rinses of 10, fill 40 kg, limit 0.003."""
    assert tank_floor(SMALL, 10, rinses) == pytest.approx(floor, rel=1e-9)
    line = washout(T11, floor=tank_floor(SMALL, 10, rinses))
    assert line.residual(700) == pytest.approx(at_700, rel=1e-9)
    rows = tank_and_train(T11, SMALL, 0.003, [10], COSTS, 1.0, most_rinses=3)
    row = next(row for row in rows if row.rinses == rinses)
    assert row.m_star_kg == pytest.approx(m_star, rel=1e-9)
    assert row.reachable is not isinf(m_star)


def test_the_third_rinse_saves_256_kg_of_line_mass() -> None:
    rows = {row.rinses: row for row in tank_and_train(T11, SMALL, 0.003, [10], COSTS, 1.0, most_rinses=3)}
    assert rows[2].m_star_kg - rows[3].m_star_kg == pytest.approx(256, abs=0.5)
    assert rows[3].diverted_kg == pytest.approx(0.82 * rows[3].m_star_kg)


@given(soap=st.floats(0.01, 10), per_rinse=st.floats(1, 200))
def test_the_best_row_is_the_least_sum_of_rinses_and_flush(soap: float, per_rinse: float) -> None:
    """Against each row's flush computed anew with its floor."""
    costs = RinseCosts(per_unit=0.5, per_rinse=per_rinse)
    rows = tank_and_train(T11, SMALL, 0.003, [5, 10, 20], costs, soap, most_rinses=4)
    assert [row.cost for row in rows] == sorted(row.cost for row in rows)
    assert {row.charge for row in rows} == {0.0, 5, 10}, "20 kg do not fit"
    best = rows[0]
    anew = washout(T11, floor=best.floor).kg_to_reach(0.003)
    assert best.m_star_kg == pytest.approx(anew, rel=1e-8)
    assert best.cost == pytest.approx(best.rinses * (0.5 * best.charge + per_rinse) + soap * 0.82 * anew)


def test_dear_soap_buys_more_rinses() -> None:
    cheap = tank_and_train(T11, SMALL, 0.003, [10], COSTS, 0.01)[0]
    dear = tank_and_train(T11, SMALL, 0.003, [10], COSTS, 10.0)[0]
    assert cheap.rinses < dear.rinses


def test_a_tank_of_its_own_leaves_one_row() -> None:
    own = Tank(heel=2.5, fill=40, largest_charge=10, dedicated=True)
    (row,) = tank_and_train(T11, own, 0.003, [10], COSTS, 1.0)
    assert (row.rinses, row.floor) == (0, 0.0)
    assert row.m_star_kg == washout(T11).kg_to_reach(0.003)


def test_diverted_flash_counts_as_diverted() -> None:
    row = tank_and_train(T11, SMALL, 0.003, [10], COSTS, 1.0, divert_flash=True)[0]
    assert row.diverted_kg == row.m_star_kg


# --- the dosing pipe ----------------------------------------------------------------------------------


def test_a_laminar_pipe_needs_many_of_its_volumes() -> None:
    """1 / (4 t^2): 0.002 needs 11.18033989 volumes, 2.5 volumes leave 0.04. Source: laminar pipe flow in
    Levenspiel, Chemical Reaction Engineering, 3rd ed., p. 344.
    """
    assert pipe_volumes(0.002) == pytest.approx(11.18033989, abs=5e-9)
    assert pipe_residual(2.5) == pytest.approx(0.04)
    assert pipe_residual(0.3) == pipe_residual(0.5) == 1.0
    assert pipe_volumes(1.0) == 0.0


@given(st.floats(1e-6, 0.99))
def test_volumes_and_residual_of_a_pipe_are_inverse(residual: float) -> None:
    assert pipe_residual(pipe_volumes(residual)) == pytest.approx(residual, rel=1e-9)


# --- refusals -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Tank(heel=0, fill=10, largest_charge=10), "heel"),
        (lambda: Tank(heel=float("nan"), fill=10, largest_charge=10), "heel"),
        (lambda: Tank(heel=1, fill=0, largest_charge=10), "fill"),
        (lambda: Tank(heel=1, fill=10, largest_charge=0), "largest_charge"),
        (lambda: RinseCosts(per_unit=-1, per_rinse=1), "per_unit"),
        (lambda: RinseCosts(per_unit=1, per_rinse=0), "per_rinse"),
        (lambda: rinse_plans(TANK, 1.0, COSTS), "share"),
        (lambda: rinse_plans(TANK, 0.0, COSTS), "share"),
        (lambda: rinse_plans(Tank(heel=6, fill=10, largest_charge=1e-18), 5e-4, COSTS), "largest_charge"),
        (lambda: rinse_plans(TANK, 5e-4, COSTS, mark=100), "mark"),
        (lambda: rinse_plans(TANK, 5e-4, COSTS, mark=1e-9), "mark"),
        (lambda: tank_floor(TANK, -1, 1), "charge"),
        (lambda: tank_floor(TANK, 1, -1), "rinses"),
        (lambda: tank_floor(TANK, 1, True), "rinses"),
        (lambda: tank_and_train(T11, SMALL, 0.003, [20], COSTS, 1.0), "charges"),
        (lambda: tank_and_train(T11, SMALL, 0.003, [0], COSTS, 1.0), "charges[0]"),
        (lambda: tank_and_train(T11, SMALL, 0.0, [10], COSTS, 1.0), "limit"),
        (lambda: pipe_volumes(0.0), "residual"),
        (lambda: pipe_residual(-1.0), "volumes"),
    ],
)
def test_what_no_plan_can_be_made_for_is_refused_by_field(make, field: str) -> None:
    with pytest.raises(TankInputError) as fault:
        make()
    assert fault.value.field == field
    assert field in sentence(fault.value.say, "es")
