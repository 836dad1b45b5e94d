"""Flash returned, diverted, or diverted first and returned later."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from floorterm.flush import LineModel, UnitStart, WashoutInputError, washout
from floorterm.flush.flash import flash_plan, safe_return
from floorterm.flush.following import Followed
from tests.flush.parcels import means, simulate
from tests.flush.test_washout_integrator import integrated, kg_balance
from tests.flush.washout_lines import line, lines, t11

FEW = settings(max_examples=25, deadline=None)
SLOW = settings(max_examples=12, deadline=None)


def tailed() -> LineModel:
    """80/1; 60/2 with dead share 0.22; 110/2 with dead share 0.24; p 0.30: the slow tail governs."""
    return line(
        {"mixed_kg": 80},
        {"mixed_kg": 60, "tanks": 2, "dead_fraction": 0.22, "exchange_ratio": 0.003},
        {"mixed_kg": 110, "tanks": 2, "dead_fraction": 0.24, "exchange_ratio": 0.0025},
        flash_fraction=0.30,
        flash_to="u1",
    )


def test_flash_returned_at_the_first_reach_makes_bars_bad_again() -> None:
    """Worked figures by two independent codes that agree to 1e-9: two linear systems chained, the peak by a
    search for the maximum, the safe return by bisection.
    """
    plan = flash_plan(tailed(), 0.008)
    diverted, at_once, returned = (plan.option(key) for key in ("diverted", "returned_at_once", "returned"))
    assert diverted is not None
    assert at_once is not None
    assert returned is not None
    assert diverted.m_star_kg == pytest.approx(1205.949709, rel=1e-9)
    assert at_once.peak == pytest.approx(0.009546257, abs=5e-10)
    assert at_once.peak_kg - diverted.m_star_kg == pytest.approx(451.442, abs=5e-4)
    assert plan.rise_kg == pytest.approx(1248.178518, rel=1e-9)
    assert plan.safe_return_kg == pytest.approx(1789.421942, rel=1e-9)
    assert returned.m_star_kg == pytest.approx(2562.601128, rel=1e-9)
    assert at_once.m_star_kg == pytest.approx(1205.949709 + 1248.178518, rel=1e-9)
    assert diverted.flash_kg == pytest.approx(0.30 * 1789.421942, rel=1e-9)
    assert [say.key for say in plan.say] == ["strategies.flash.later"]


def test_at_a_limit_that_the_front_governs_the_same_line_shows_no_rise() -> None:
    """Worked figure: at 0.012 returning at once does no harm."""
    plan = flash_plan(tailed(), 0.012)
    diverted = plan.option("diverted")
    assert diverted is not None
    assert plan.rise_kg == 0.0
    assert plan.safe_return_kg == diverted.m_star_kg
    assert plan.say == ()


def test_bars_and_flash_of_the_train_diverted_and_returned() -> None:
    """90/1, 70/2, 110/3, p 0.18, limit 0.02: 722.0537998 kg of bars returned; diverted 475.8803982 and
    104.4615508 (kg balances by a Runge-Kutta pair and a 30-digit matrix exponential).
    """
    plan = flash_plan(t11(flash_fraction=0.18, flash_to="u1"), 0.02)
    returned, diverted = plan.option("returned"), plan.option("diverted")
    assert returned is not None
    assert diverted is not None
    assert (returned.bars_kg, returned.flash_kg) == pytest.approx((722.0537998, 0.0), rel=5e-10)
    assert (diverted.bars_kg, diverted.flash_kg) == pytest.approx((475.8803982, 104.4615508), rel=5e-10)
    assert diverted.diverted_kg == pytest.approx(580.3419490, rel=5e-10)
    assert returned.first_kg == pytest.approx(returned.m_star_kg)


def test_a_line_whose_flash_leaves_it_has_one_way_only() -> None:
    plan = flash_plan(t11(flash_fraction=0.15), 0.02)
    (option,) = plan.options
    assert option.m_star_kg == pytest.approx(580.3419490, rel=5e-10)
    assert option.flash_kg == pytest.approx(0.15 * 580.3419490, rel=5e-10)


def test_a_conveyor_that_nobody_emptied_is_never_safe_where_its_soap_is_too_much() -> None:
    """By hand: 10 kg of full dose into a 270 kg line, of which far more than 2 % must show at once."""
    model = t11(flash_fraction=0.18, flash_to="u1", return_kg=10)
    standing = flash_plan(model, 0.02)
    assert standing.safe_return_kg == math.inf
    assert standing.conveyor_kg == 10
    assert [say.key for say in standing.say] == ["strategies.flash.never", "strategies.flash.conveyor"]
    emptied = flash_plan(model, 0.02, conveyor_emptied=True)
    assert emptied.safe_return_kg == pytest.approx(580.3419490, rel=5e-10)
    assert emptied.conveyor_kg == 0


def test_a_conveyor_with_little_soap_only_delays_the_safe_return() -> None:
    model = t11(flash_fraction=0.18, flash_to="u1", return_kg=5)
    standing, emptied = safe_return(model, 0.02), safe_return(model, 0.02, conveyor_emptied=True)
    assert emptied < standing < math.inf
    assert Followed(model, resume_kg=standing).highest(standing)[1] == pytest.approx(0.02, rel=1e-9)


@SLOW
@given(lines(plug=False, most=4), st.sampled_from((0.02, 0.005, 0.001)))
def test_the_safe_return_is_safe_and_none_earlier_is(model: LineModel, limit: float) -> None:
    assume(model.returned_fraction)
    safe = safe_return(model, limit)
    reach = washout(model, divert_flash=True).kg_to_reach(limit)
    assert safe >= reach * (1 - 1e-9)
    assert Followed(model, resume_kg=safe).highest(safe)[1] <= limit * (1 + 1e-9)
    if safe > reach * (1 + 1e-6):
        earlier = safe - 1e-3 * (safe - reach)
        assert Followed(model, resume_kg=earlier).highest(earlier)[1] > limit


@SLOW
@given(lines(most=4), st.floats(100.0, 900.0), st.floats(1.0, 600.0), st.booleans())
def test_a_later_return_never_has_a_higher_peak(
    model: LineModel, kg: float, more: float, emptied: bool
) -> None:
    assume(model.returned_fraction)
    assume(model.dose_index <= model.flash_index)
    early, late = (Followed(model, resume_kg=at, emptied=emptied).highest(at)[1] for at in (kg, kg + more))
    assert late <= early * (1 + 1e-9)


@FEW
@given(lines(most=6), st.floats(0.001, 0.5))
def test_returned_all_the_time_equals_the_sum_over_passes(model: LineModel, limit: float) -> None:
    """Two ways through the program that share only the list of cells: uniformization, and short series."""
    short, curve = Followed(model, resume_kg=0.0), washout(model)
    for kg in (0.0, 40.0, 200.0, 555.0, 1500.0):
        assert short.residual(kg) == pytest.approx(curve.residual(kg), rel=1e-9, abs=1e-13)
    assert short.kg_to_reach(limit) == pytest.approx(curve.kg_to_reach(limit), rel=1e-9)
    assert short.first_reach(limit) == pytest.approx(curve.kg_to_reach(limit), rel=1e-9)


def test_a_tiny_dead_part_beside_slow_ones_does_not_put_the_end_out_of_reach() -> None:
    """Stiff: 0.19 kg that exchange fast force short steps while 10 kg give off their soap for 10 t."""
    model = line(
        {"mixed_kg": 15, "tanks": 4, "dead_fraction": 0.05, "exchange_ratio": 0.2, "plug_kg": 35},
        {"mixed_kg": 200, "dead_fraction": 0.05, "exchange_ratio": 0.005, "plug_kg": 35},
        flash_fraction=0.1,
        flash_to="u2",
        return_kg=12,
    )
    short, curve = Followed(model, resume_kg=0.0), washout(model)
    assert short.kg_to_reach(0.001) == pytest.approx(curve.kg_to_reach(0.001), rel=1e-9)


@FEW
@given(lines(most=5), st.data())
def test_diverted_from_any_start_equals_the_washout(model: LineModel, data: st.DataObject) -> None:
    some = st.sampled_from((0.0, 0.07, 0.5, 1.0))
    start = {
        unit.name: UnitStart(active=data.draw(some), dead=data.draw(some), plug=data.draw(some))
        for unit in model.units
    }
    short, curve = Followed(model, start=start), washout(model, divert_flash=True, start=start)
    for kg in (3.0, 40.25, 200.5, 555.5, 1500.5):
        assert short.residual(kg) == pytest.approx(curve.residual(kg), rel=1e-9, abs=1e-13)
    assert short.kg_to_reach(0.03) == pytest.approx(curve.kg_to_reach(0.03), rel=1e-8, abs=1e-6)


@SLOW
@given(lines(plug=False, most=4), st.floats(50.0, 900.0))
def test_flash_switched_on_agrees_with_a_general_integrator(model: LineModel, kg: float) -> None:
    """Two linear systems one after the other, integrated by an explicit Runge-Kutta pair of order 8 (scipy)."""
    assume(model.returned_fraction)
    curve = Followed(model, resume_kg=kg)
    off, x0 = kg_balance(model, divert=True)
    on, _ = kg_balance(model, divert=False)
    from scipy.integrate import solve_ivp

    x = solve_ivp(lambda _, x: off @ x, (0, kg), x0, method="DOP853", rtol=3e-13, atol=1e-24).y[:, -1]
    later = [30.0, 150.0, 400.0, 1200.0]
    for after, expected in zip(later, integrated(on, x, later), strict=True):
        if expected > 1e-9:
            assert curve.residual(kg + after) == pytest.approx(expected, rel=1e-8)


@st.composite
def looped(draw: st.DrawFn) -> LineModel:
    """Lines with plugs, conveyor and dead parts in the loop; every delay a whole number of kg."""
    count = draw(st.integers(1, 3))
    upstream = draw(st.integers(0, 1)) if count > 1 else 0
    units: list[dict[str, Any]] = []
    for place in range(count):
        stagnant = draw(st.sampled_from((0.0, 0.15)))
        tanks = draw(st.integers(1, 3))
        units.append(
            {
                "mixed_kg": draw(st.floats(30.0, 90.0)) * tanks,
                "tanks": tanks,
                "plug_kg": draw(st.sampled_from((0.0, 12.0, 35.0))) if place >= upstream else 0.0,
                "dead_fraction": stagnant,
                "exchange_ratio": draw(st.floats(0.02, 0.2)) if stagnant else 0.0,
            }
        )
    return line(
        *units,
        flash_fraction=0.2,
        flash_to=f"u{upstream + 1}",
        return_kg=draw(st.sampled_from((2.0, 4.0, 10.0))),
        dose_at="u1",
    )


@settings(max_examples=24, deadline=None)
@given(looped(), st.sampled_from((0, 150, 420)), st.booleans())
def test_plugs_in_the_loop_agree_with_parcels_while_flash_is_switched(
    model: LineModel, off_until: int, emptied: bool
) -> None:
    """A brute-force simulation of parcels, extrapolated from two sizes: to 1e-6."""
    assume(off_until or not emptied)
    curve = Followed(model, resume_kg=float(off_until), emptied=emptied)
    end = 800

    def run(delta: float) -> list[float]:
        return simulate(model, delta, round(end / delta), off_until=round(off_until / delta), emptied=emptied)

    found = means(run, 1.0)
    for j in (10, 60, 149, 170, 300, 430, 480, 600, 799):
        assert curve.area(j, j + 1) == pytest.approx(found[j], rel=1e-6, abs=1e-9)


def test_a_plug_ahead_of_the_return_moves_slower_once_flash_returns() -> None:
    """By hand: 40 kg of plug, 20 kg through until the switch, 20 / 0.8 = 25 kg more after it; then a 0.2
    share of what came out 50 kg (10 kg of conveyor at p 0.2) before is all that is left.
    """
    model = line({"plug_kg": 40}, {"plug_kg": 5}, flash_fraction=0.2, flash_to="u2", return_kg=10)
    curve = Followed(model, resume_kg=20.0, emptied=False)
    assert [curve.residual(kg) for kg in (30, 49.9)] == pytest.approx([1.0, 1.0])
    assert curve.residual(50.1) == pytest.approx(0.2)  # 20 + 25 + 5: fresh part clean, conveyor full dose
    assert curve.residual(74.9) == pytest.approx(0.2)
    assert curve.residual(75.1) == pytest.approx(0.2)  # what left at full dose from 20 kg on comes round
    assert curve.residual(105.1) == pytest.approx(0.04)  # 50.1 + 50 + 5
    assert curve.residual(161.0) == pytest.approx(0.008)


def test_a_round_without_any_content_returns_what_comes() -> None:
    model = line({"mixed_kg": 90}, {}, flash_fraction=0.2, flash_to="u2")
    assert Followed(model, resume_kg=0.0).residual(100) == pytest.approx(math.exp(-0.8 * 100 / 90), rel=1e-12)


@FEW
@given(lines(most=4), st.floats(0.0, 0.9), st.floats(0.001, 0.5))
def test_a_carried_residual_only_rescales(model: LineModel, floor: float, limit: float) -> None:
    """r = f + (1 - f) W: a limit above the floor is met where W meets (limit - f) / (1 - f)."""
    assume(limit > floor * 1.01)
    plan = flash_plan(model, limit, floor=floor)
    shifted = washout(model, divert_flash=True).kg_to_reach((limit - floor) / (1 - floor))
    diverted = plan.option("diverted")
    assert diverted is not None
    assert diverted.m_star_kg == pytest.approx(shifted, rel=1e-8, abs=1e-9)


def test_a_limit_under_the_floor_has_no_way() -> None:
    plan = flash_plan(tailed(), 0.008, floor=0.008)
    assert plan.safe_return_kg == math.inf
    assert all(option.m_star_kg == math.inf for option in plan.options)
    assert [say.key for say in plan.say] == ["strategies.flash.unreachable"]


@pytest.mark.parametrize("bad", [0.0, -0.1, math.nan, math.inf, "1"])
def test_a_limit_is_above_zero(bad: Any) -> None:
    with pytest.raises(WashoutInputError, match="limit"):
        flash_plan(tailed(), bad)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"resume_kg": -1.0}, "resume_kg"),
        ({"resume_kg": math.nan}, "resume_kg"),
        ({"start": {"u9": 0.5}}, "start"),
        ({"start": {"u1": 1.5}}, "start.u1"),
    ],
)
def test_following_names_the_field_it_refuses(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(WashoutInputError) as caught:
        Followed(tailed(), **fields)
    assert caught.value.field == field


def test_a_line_that_went_on_cannot_be_switched_in_its_past() -> None:
    curve = Followed(tailed())
    curve.residual(500.0)
    with pytest.raises(WashoutInputError, match="resume_kg"):
        curve.resumed(100.0, emptied=True)


def test_the_area_is_what_the_line_held() -> None:
    """Flash diverted: the whole content comes out (kg balance)."""
    model = t11()
    curve = Followed(model)
    end = curve.kg_to_reach(1e-12)
    assert curve.area(0.0, end) == pytest.approx(model.content_kg, rel=1e-9)
    assert curve.area(0.0, 100.0) == pytest.approx(
        float(np.trapezoid([curve.residual(kg) for kg in range(101)], dx=1.0)), rel=1e-4
    )
