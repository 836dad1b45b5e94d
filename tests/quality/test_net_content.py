"""Net content. TNE and reference test: 76/211/EEC Annex I 2.4 and II, UK SI 2006/659 Schedule 2 (both read).
MAV and plan of the Handbook 133 form: from memory; arithmetic by hand.
"""

from decimal import Decimal

import pytest
from scipy import stats

from floorterm.quality import (
    DoublePlan,
    Plan,
    QualityError,
    allowed_variation,
    average_plan,
    correction_factor,
    dried,
    judge_average,
    judge_individual,
    tolerable_error,
)

TWELVE = [
    Decimal(100) + Decimal(error)
    for error in ["0.4", "-0.6", "0.1", "-1.2", "0.3", "-0.9", "0.2", "-0.4", "-1.5", "0.6", "-0.8", "-0.2"]
]


@pytest.mark.parametrize(
    ("nominal", "tne"),
    [("20", "1.8"), ("25", "2.3"), ("50", "4.5"), ("90", "4.5"), ("100", "4.5"), ("113", "5.1"), ("125", "5.7"),
     ("150", "6.8"), ("175", "7.9"), ("200", "9"), ("250", "9"), ("300", "9"), ("375", "11.3"), ("400", "12.0"),
     ("500", "15"), ("800", "15"), ("1000", "15"), ("12000", "150"), ("20000", "200")],
)  # fmt: skip
def test_the_tolerable_error_is_the_directives_table_rounded_up_to_a_tenth(nominal: str, tne: str) -> None:
    assert tolerable_error(Decimal(nominal)) == Decimal(tne)


@pytest.mark.parametrize(
    ("labelled", "mav"),
    [("35", "3.5"), ("36", "3.6"), ("100", "7.2"), ("117", "9.0"), ("125", "9.0"), ("400", "18.1"), ("570", "21.7")],
)  # fmt: skip
def test_the_allowed_variation_steps_at_its_lower_bounds(labelled: str, mav: str) -> None:
    assert allowed_variation(Decimal(labelled)) == Decimal(mav)


def test_masses_outside_the_tables_are_refused_and_not_extrapolated() -> None:
    with pytest.raises(QualityError):
        tolerable_error(Decimal("4.9"))
    with pytest.raises(QualityError):
        allowed_variation(Decimal(571))


def test_the_mean_factors_are_students_t_at_0_995_over_the_root_of_n() -> None:
    """scipy's t distribution stands for the published one."""
    for kind, batch in (("double", 100), ("double", 501), ("double", 9999), ("destructive", 100)):
        plan = average_plan(batch, kind)  # type: ignore[arg-type]
        assert plan is not None
        assert plan.mean_factor == pytest.approx(
            stats.t.ppf(0.995, plan.mean_n - 1) / plan.mean_n**0.5, abs=5e-4
        )


def test_the_plans_are_those_of_the_directive() -> None:
    """76/211/EEC Annex II 2.2 (double); SI 2006/659 Schedule 2 (single)."""
    rows = [(100, 30, 1, 3, 30, 4), (500, 30, 1, 3, 30, 4), (501, 50, 2, 5, 50, 6), (3200, 50, 2, 5, 50, 6),
            (3201, 80, 3, 7, 80, 8)]  # fmt: skip
    for batch, *plan in rows:
        found = average_plan(batch)
        assert found is not None
        assert found.counts == DoublePlan(*plan)
    for batch, n, accept in ((100, 50, 3), (501, 80, 5), (3201, 125, 7)):
        single = average_plan(batch, "single")
        assert single is not None
        assert single.counts == Plan(n, accept)
    assert average_plan(99) is None


@pytest.mark.parametrize(
    ("batch", "kind", "shares"),
    [(4000, "single", (1.0000, 0.9864, 0.7117, 0.2090)), (4000, "double", (1.0000, 0.9829, 0.6475, 0.1576)),
     (200, "single", (0.9984, 0.9638, 0.7604, 0.4253)), (200, "destructive", (0.9831, 0.9118, 0.7358, 0.5169))],
)  # fmt: skip
def test_the_operating_characteristics_of_the_net_content_plans(
    batch: int, kind: str, shares: tuple[float, ...]
) -> None:
    """Reckoned apart with scipy's binomial distribution at 1, 2.5, 5 and 8 % below T1."""
    plan = average_plan(batch, kind)  # type: ignore[arg-type]
    assert plan is not None
    found = [plan.counts.chance(share) for share in (0.01, 0.025, 0.05, 0.08)]
    assert found == pytest.approx(shares, abs=5e-5)


def _sample(n: int, mean: str, half: str = "1.0") -> list[Decimal]:
    """n packs with that mean, half of them `half` above and half below."""
    return [Decimal(mean) + (Decimal(half) if at % 2 else -Decimal(half)) for at in range(n)]


def test_a_mean_of_99_60_with_s_1_fails_on_fifty_and_passes_on_thirty_and_twenty() -> None:
    """Hand reckoning: limits 100 - 0.379 s, 100 - 0.503 s and 100 - 0.640 s; s here is sqrt(n / (n - 1))."""
    assert judge_average(Decimal(100), _sample(50, "99.60"), 1000).reasons == ("mean",)
    assert judge_average(Decimal(100), _sample(30, "99.60"), 200).verdict == "accept"
    assert judge_average(Decimal(100), _sample(20, "99.60"), 200, kind="destructive").verdict == "accept"


def test_exactly_on_t1_is_not_below_and_a_tenth_less_is() -> None:
    masses = [Decimal("101")] * 48
    on = judge_average(Decimal(100), [*masses, Decimal("95.5"), Decimal("95.5")], 1000)
    under = judge_average(Decimal(100), [*masses, Decimal("95.4"), Decimal("95.5")], 1000)
    assert (on.beyond, under.beyond) == (0, 1)


def test_between_accept_and_reject_a_second_sample_is_asked_and_then_decides() -> None:
    first = [*[Decimal("101")] * 47, *[Decimal("95")] * 3]
    assert judge_average(Decimal(100), first, 1000).verdict == "second_sample"
    good = [Decimal("101")] * 47
    assert judge_average(Decimal(100), [*first, *good, *[Decimal("95")] * 3], 1000).verdict == "accept"
    bad = [*first, *good[:46], *[Decimal("95")] * 4]
    assert judge_average(Decimal(100), bad, 1000).reasons == ("beyond",)


def test_one_pack_below_t2_fails_the_batch() -> None:
    masses = [*[Decimal("102")] * 49, Decimal("90.9")]
    assert judge_average(Decimal(100), masses, 1000).reasons == ("far_below",)
    masses[-1] = Decimal("91")
    assert judge_average(Decimal(100), masses, 1000).verdict == "accept"


def test_of_a_small_batch_all_are_weighed_and_five_in_a_hundred_may_be_below() -> None:
    masses = [*[Decimal("101")] * 38, *[Decimal("95")] * 2]
    assert judge_average(Decimal(100), masses, 40).verdict == "accept"
    assert judge_average(Decimal(100), [*masses[1:], Decimal("95")], 40).reasons == ("beyond",)
    with pytest.raises(QualityError):
        judge_average(Decimal(100), masses, 41)


def test_twelve_bars_pass_by_their_error_limit_and_half_a_gram_less_fails() -> None:
    """Hand reckoning: mean -0.3333, s 0.67600, limit 0.635 s = 0.42926."""
    found = judge_individual(Decimal(100), TWELVE, 200)
    assert found.mean_g == pytest.approx(99.6667, abs=5e-5)
    assert found.s_g == pytest.approx(0.67600, abs=5e-6)
    assert 100 - found.least_mean_g == pytest.approx(0.42926, abs=5e-6)
    assert found.verdict == "accept"
    lighter = [mass - Decimal("0.5") for mass in TWELVE]
    assert judge_individual(Decimal(100), lighter, 200).reasons == ("mean",)
    assert judge_individual(Decimal(100), lighter, 200, moisture_g=Decimal("0.5")).verdict == "grey"


def test_a_pack_beyond_the_allowed_variation_fails_a_lot_of_up_to_3200_and_one_is_let_pass_above() -> None:
    """48 packs and one let pass above 3,200: from memory."""
    light = Decimal("92.7")
    twelve = [*[Decimal("101.5")] * 11, light]
    assert judge_individual(Decimal(100), twelve, 200).reasons == ("beyond",)
    many = [*[Decimal("101.5")] * 47, light]
    assert judge_individual(Decimal(100), many, 4000).verdict == "accept"
    assert judge_individual(Decimal(100), [*many[1:], light], 4000).reasons == ("beyond",)
    assert judge_individual(Decimal(100), [*twelve[:-1], Decimal("92.8")], 200).beyond == 0


def test_the_correction_factors_are_students_t_at_0_975_over_the_root_of_n() -> None:
    for lot, n in [*((n, n) for n in range(2, 12)), (200, 12), (3200, 24), (4000, 48)]:
        assert correction_factor(lot, n) == pytest.approx(stats.t.ppf(0.975, n - 1) / n**0.5, abs=1e-3)
    with pytest.raises(QualityError):
        correction_factor(200, 13)


@pytest.mark.parametrize(
    ("later", "mass"), [("12", "100.2614"), ("11", "99.1348"), ("10", "98.0333"), ("8", "95.9022")]
)
def test_a_bar_of_102_g_loses_what_its_water_weighs(later: str, mass: str) -> None:
    """Hand reckoning: m (1 - w0) / (1 - w1), packed at 13.5 % water."""
    found = dried(Decimal("102.0"), Decimal("13.5"), Decimal(later))
    assert round(found, 4) == Decimal(mass)


def test_to_be_100_g_at_11_pct_a_bar_is_packed_at_102_8902_g() -> None:
    assert round(dried(Decimal(100), Decimal(11), Decimal("13.5")), 4) == Decimal("102.8902")
