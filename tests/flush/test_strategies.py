"""Strategies side by side: the table of the worked train, what is allowed, what it costs, what is proposed."""

import math
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.flush import Bar, LineModel, Oil, QuantityInputError, Rules, residual_limit, washout
from floorterm.flush.clean import Cleaning
from floorterm.flush.flash import safe_return
from floorterm.flush.limits import Gate
from floorterm.flush.runout import run_out
from floorterm.flush.strategies import Intermediate, Pair, Prices, SiteFacts, Strategy, pair_of, propose
from floorterm.flush.strategy_rows import strategies
from floorterm.flush.transition import transition
from floorterm.wording import LANGUAGES, Say, sentence
from tests.flush.test_flash import tailed
from tests.flush.washout_lines import line, lines, t6, t11

FEW = settings(max_examples=15, deadline=None)
CLEANINGS = (
    Cleaning(unit="u1", removed_share=0.90, minutes=20),
    Cleaning(unit="u3", removed_share=0.95, minutes=25),
)
SITE = SiteFacts(rate_kg_h=1500, slug_g=125 / 0.82, cleanings=CLEANINGS, lockout_min=15)
PRICES = Prices(soap_value=1.5, rework_value=0.8, noodles=1.1, contribution_per_min=12.0, labour_per_min=0.5)
PAIR = Pair(limit=0.02)


def train() -> LineModel:
    return t11(flash_fraction=0.18, flash_to="u1")


def rows_of(
    model: LineModel | None = None, pair: Pair = PAIR, site: SiteFacts = SITE, prices: Prices = PRICES
) -> dict[str, Strategy]:
    return {row.key: row for row in strategies(model or train(), pair, site, prices)}


def test_the_table_of_the_train() -> None:
    """90/1, 70/2, 110/3; limit 0.02, p 0.18, 1,500 kg/h, 125 g: worked figures by kg balances (Runge-Kutta
    pair and 30-digit matrix exponential), kg to two decimals, minutes to one.
    """
    rows = rows_of()
    table = {
        key: (row.m_star_kg, row.bars_kg, row.flash_kg, row.diverted_kg - row.removed_kg, row.line_min)
        for key, row in rows.items()
    }
    assert table["push_through"] == pytest.approx((880.55, 722.05, 0.0, 722.05, 35.22), abs=0.005)
    assert table["divert_flash"] == pytest.approx((580.34, 475.88, 104.46, 580.34, 23.21), abs=0.005)
    assert table["strip"] == pytest.approx((415.56, 340.76, 74.80, 415.56, 16.62), abs=0.005)
    assert rows["strip"].removed_kg == pytest.approx(185.5)
    assert rows["push_through"].bars == 5777
    assert "return_at_once" not in rows  # nothing rises again on this line


def test_a_lockout_is_a_fixed_block_on_the_critical_path() -> None:
    """By hand: 15 + 20 + 25 min stand beside 16.62 min of flush; two people at the stop, one at the flush."""
    row = rows_of()["strip"]
    assert row.lockout
    assert row.stop_min == 60.0
    assert row.critical_min == pytest.approx(60 + 16.62, abs=0.005)
    assert row.labour_min == pytest.approx(2 * 60 + 16.62, abs=0.005)
    assert row.crew == 2
    assert not any(other.lockout for key, other in rows_of().items() if key != "strip")
    dear = rows_of(prices=replace(PRICES, contribution_per_min=1e6))["strip"]
    assert dear.stop_min == 60.0


def test_what_a_row_costs() -> None:
    """By hand: 580.34 x (1.5 - 0.8) + 23.21 x (12 + 0.5)."""
    row = rows_of()["divert_flash"]
    assert row.cost == pytest.approx(580.341949 * 0.7 + 23.21367796 * 12.5, rel=1e-8)
    kept = rows_of(site=replace(SITE, rework_room_kg=100.0))["divert_flash"]
    assert kept.cost == pytest.approx(580.341949 * 1.5 - 100 * 0.8 + 23.21367796 * 12.5, rel=1e-8)
    scrap = rows_of(site=replace(SITE, rework_allowed=False))["divert_flash"]
    assert scrap.cost == pytest.approx(580.341949 * 1.5 + 23.21367796 * 12.5, rel=1e-8)
    bins = rows_of(site=replace(SITE, bin_labour_min=10.0))
    assert bins["divert_flash"].cost == pytest.approx(row.cost + 5.0)
    assert bins["push_through"].cost == rows_of()["push_through"].cost


def test_the_cheapest_allowed_row_is_proposed_and_all_are_shown() -> None:
    rows = strategies(train(), PAIR, SITE, PRICES)
    best = propose(rows)
    assert best is not None
    assert best.key == "divert_flash"
    assert best.cost == min(row.cost for row in rows if row.allowed)
    assert {row.key for row in rows} >= {"run_out", "noodles_first", "stop_early", "intermediate"}
    assert propose(()) is None


def test_rows_without_facts_say_what_is_missing() -> None:
    rows = rows_of(site=SiteFacts(rate_kg_h=1500, slug_g=125))
    missing = {key: [say.key for say in row.reasons] for key, row in rows.items() if not row.allowed}
    assert missing == {
        "run_out": ["strategies.reason.no_heels"],
        "strip": ["strategies.reason.no_cleaning"],
        "noodles_first": ["strategies.reason.no_noodles", "strategies.reason.no_strength"],
        "stop_early": ["strategies.reason.one_sided"],
        "intermediate": ["strategies.reason.no_intermediate"],
    }
    assert all(rows[key].cost == math.inf for key in missing)


def test_a_claim_lets_only_cleaning_through() -> None:
    """Claims are yes or no before any number: only the strip-down stays, and quality decides."""
    oils = (Oil(name="clove leaf", share=1.0),)
    outgoing = Bar(name="clove", dose=0.012, oils=oils)
    incoming = Bar(name="plain", claims=("fragrance_free",))
    limit = residual_limit(outgoing, incoming, Rules(on=date(2026, 11, 24)))
    pair = pair_of(limit, incoming)
    assert pair.incoming_plain
    rows = rows_of(pair=pair)
    assert {key for key, row in rows.items() if row.allowed} == {"strip"}
    assert "flush.gate.fragrance_free" in [say.key for say in rows["push_through"].reasons]
    assert "strategies.note.quality_decides" in [say.key for say in rows["strip"].notes]
    assert rows["push_through"].m_star_kg > 0  # still shown with its figures
    best = propose(tuple(rows.values()))
    assert best is not None
    assert best.key == "strip"


def test_a_plain_incoming_bar_has_no_use_for_noodles_or_one_more_fragrance() -> None:
    site = replace(
        SITE,
        noodles_ready=True,
        min_strength=0.9,
        intermediate=Intermediate(name="X", limit_before=0.2, run_kg=900, limit_after=0.02),
    )
    rows = rows_of(pair=Pair(limit=0.02, incoming_plain=True), site=site)
    assert [say.key for say in rows["noodles_first"].reasons] == ["strategies.reason.incoming_plain"]
    assert [say.key for say in rows["intermediate"].reasons] == ["strategies.reason.fragrance_before_plain"]


def test_a_deviation_or_a_feed_at_the_limit_allows_nothing() -> None:
    for pair, key in (
        (Pair(limit=0.0, deviation=True), "strategies.reason.deviation"),
        (Pair(limit=0.01, floor=0.01), "strategies.reason.feed"),
    ):
        rows = strategies(train(), pair, SITE, PRICES)
        assert all([say.key for say in row.reasons] == [key] for row in rows)
        assert propose(rows) is None


def test_an_unemptied_conveyor_forbids_diverting_what_must_come_back() -> None:
    model = t11(flash_fraction=0.18, flash_to="u1", return_kg=10)
    standing = rows_of(model)
    assert [say.key for say in standing["divert_flash"].reasons] == ["strategies.reason.conveyor"]
    assert [say.key for say in standing["strip"].reasons] == ["strategies.reason.conveyor"]
    assert standing["push_through"].allowed
    emptied = rows_of(model, site=replace(SITE, conveyor_emptied=True))
    assert emptied["divert_flash"].allowed
    assert "strategies.note.conveyor_emptied" in [say.key for say in emptied["divert_flash"].notes]


def test_flash_goes_to_the_bin_until_it_may_safely_return() -> None:
    """The line with the slow tail: 0.30 x 1789.421942 kg (two independent codes, 1e-9)."""
    rows = rows_of(tailed(), pair=Pair(limit=0.008), site=replace(SITE, cleanings=()))
    assert rows["divert_flash"].flash_kg == pytest.approx(0.30 * 1789.421942, rel=1e-9)
    assert rows["divert_flash"].notes[0].facts == {"kg": "1790"}
    assert rows["return_at_once"].m_star_kg == pytest.approx(1205.949709 + 1248.178518, rel=1e-9)
    assert rows["return_at_once"].flash_kg == pytest.approx(0.30 * 1205.949709, rel=1e-9)


def test_running_out_counts_the_fill() -> None:
    """120, 70, 100 kg; heels 0.08, 0.20, 0.30; worked figures 236.4 kg fill, 376.5282419 kg push, 612.93 kg
    new soap.
    """
    model = line({"mixed_kg": 120}, {"mixed_kg": 70}, {"mixed_kg": 100})
    heels = {"u1": 0.08, "u2": 0.20, "u3": 0.30}
    site = replace(SITE, cleanings=(), heels=heels, run_out_min=6.0)
    row = rows_of(model, site=site)["run_out"]
    assert row.diverted_kg == pytest.approx(612.93, abs=0.005)
    assert row.stop_min == pytest.approx(236.4 / 1500 * 60 + 6)
    packed = rows_of(model, site=replace(site, run_out_good_share=1.0))["run_out"]
    assert packed.diverted_kg == pytest.approx(376.5282419, rel=5e-10)


def test_plain_noodles_first_end_with_bars_that_are_strong_enough() -> None:
    """Two conditions met at once: outgoing at the limit, incoming at its least strength."""
    row = rows_of(site=replace(SITE, noodles_ready=True, min_strength=0.9))["noodles_first"]
    curve = washout(t11())
    strong = curve.kg_to_reach(0.1)
    assert row.m_star_kg == pytest.approx(580.3419490, rel=5e-10)
    assert row.plain_kg == pytest.approx(580.3419490 - strong, rel=1e-8)
    assert 1 - curve.residual(row.m_star_kg - row.plain_kg) == pytest.approx(0.9, rel=1e-8)
    plain = rows_of()["divert_flash"]
    assert row.cost == pytest.approx(plain.cost - row.plain_kg * 0.4)
    strict = rows_of(site=replace(SITE, noodles_ready=True, min_strength=0.999))["noodles_first"]
    assert strict.plain_kg == 0.0
    assert strict.m_star_kg > 580.35


def test_stopping_the_dose_early_diverts_only_what_lies_between() -> None:
    """Worked figures of the whole train, flash not returned: 456.9871907 kg, 388.4391121 of it bars."""
    row = rows_of(t6(), site=replace(SITE, cleanings=(), incoming_in_outgoing=0.03))["stop_early"]
    assert row.m_star_kg == pytest.approx(456.9871907, rel=5e-10)
    assert row.bars_kg == pytest.approx(388.4391121, rel=5e-10)
    assert row.notes[0].facts == {"kg": "123"}  # rounded down
    found = transition(t6(), incoming_in_outgoing=0.03, outgoing_in_incoming=0.02)
    assert row.diverted_kg == pytest.approx(found.between_kg)


def test_a_fragrance_in_between_is_flushed_twice() -> None:
    """One tank by hand: 100 ln 5 to the middle one, then 100 ln 20 from it (which the old one's limit, long
    kept, does not lengthen).
    """
    middle = Intermediate(name="X", limit_before=0.2, run_kg=5000, limit_after=0.05)
    model = line({"mixed_kg": 100})
    row = rows_of(model, site=replace(SITE, cleanings=(), intermediate=middle))["intermediate"]
    assert row.m_star_kg == pytest.approx(100 * math.log(5) + 100 * math.log(20), rel=1e-9)
    assert row.notes[0].facts["name"] == "X"


def test_a_fragrance_in_between_that_flushing_cannot_reach_or_clean_is_not_allowed() -> None:
    gate = Gate("vegan", Say("limits.gate", {"claim": "vegan"}))
    for middle, keys in (
        (Intermediate(name="X", limit_before=0.0, run_kg=900, limit_after=0.05), ["intermediate_limit"]),
        (Intermediate(name="X", limit_before=0.2, run_kg=900, limit_after=0.0), ["intermediate_limit"]),
        (Intermediate(name="X", limit_before=0.2, run_kg=900, limit_after=0.05, gates=(gate,)), ["gate"]),
    ):
        row = rows_of(site=replace(SITE, intermediate=middle))["intermediate"]
        assert [say.key.rpartition(".")[2] for say in row.reasons] == keys


def test_rows_within_the_uncertainty_are_marked_as_ties() -> None:
    rows = rows_of(site=replace(SITE, uncertainty_kg=1.0))
    assert not any(row.tied for row in rows.values())
    wide = rows_of(site=replace(SITE, uncertainty_kg=400.0))
    assert wide["push_through"].tied
    assert not wide["divert_flash"].tied
    assert not any(row.tied for row in wide.values() if not row.allowed)


@FEW
@given(lines(most=3), st.floats(0.002, 0.3), st.floats(0.0, 1.0))
def test_on_any_line_every_row_adds_up_and_speaks(model: LineModel, limit: float, heel: float) -> None:
    site = SiteFacts(
        rate_kg_h=1200,
        slug_g=120,
        cleanings=(Cleaning(unit="u1", removed_share=0.9, minutes=10),),
        heels={"u1": heel},
        noodles_ready=True,
        min_strength=0.8,
        incoming_in_outgoing=0.05,
        intermediate=Intermediate(name="X", limit_before=0.3, run_kg=500, limit_after=0.1),
        conveyor_emptied=True,
    )
    rows = strategies(model, Pair(limit=limit), site, PRICES)
    best = propose(rows)
    for row in rows:
        for language in LANGUAGES:
            for say in (row.say, *row.reasons, *row.notes):
                assert sentence(say, language)
        if math.isinf(row.cost):
            assert not row.allowed
            continue
        assert row.diverted_kg == pytest.approx(row.bars_kg + row.flash_kg + row.removed_kg)
        assert row.bars_kg == pytest.approx((1 - model.flash_fraction) * row.m_star_kg)
        assert row.critical_min >= row.m_star_kg / 1200 * 60 - 1e-9
        assert best is not None
        assert not row.allowed or row.cost >= best.cost


@FEW
@given(lines(plug=False, most=3), st.floats(0.05, 0.9), st.floats(0.01, 0.3))
def test_the_flash_bound_after_a_run_out_is_on_the_safe_side(
    model: LineModel, heel: float, limit: float
) -> None:
    emptied = run_out(model, {unit.name: heel for unit in model.units})
    above = washout(model, divert_flash=True, start=emptied.never_above)
    for kg in (0.0, 3.0, 40.0, 200.0, 700.0):
        assert emptied.residual(kg) <= above.residual(kg) * (1 + 1e-9) + 1e-15
    bound = safe_return(model, limit, start=emptied.never_above)
    assert bound >= emptied.kg_to_reach(limit) * (1 - 1e-9)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"rate_kg_h": 0.0}, "rate_kg_h"),
        ({"slug_g": -1.0}, "slug_g"),
        ({"lockout_min": -1.0}, "lockout_min"),
        ({"run_out_good_share": 1.1}, "run_out_good_share"),
        ({"rework_room_kg": -1.0}, "rework_room_kg"),
        ({"clean_crew": 0}, "clean_crew"),
        ({"uncertainty_kg": math.nan}, "uncertainty_kg"),
    ],
)
def test_site_facts_name_the_field_they_refuse(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(QuantityInputError) as caught:
        SiteFacts(**{"rate_kg_h": 1500.0, "slug_g": 125.0, **fields})
    assert caught.value.field == field


@pytest.mark.parametrize("bad", [-1.0, math.nan, "1"])
def test_prices_are_numbers_from_zero_on(bad: Any) -> None:
    with pytest.raises(QuantityInputError, match=r"prices\.soap_value"):
        Prices(soap_value=bad)
