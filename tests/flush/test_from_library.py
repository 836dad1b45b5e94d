"""From the plant's YAML models to bars, rules and tanks; and what the starter set comes to."""

from datetime import date
from decimal import Decimal
from itertools import permutations

import pytest

from floorterm.flush import Bar, Index, Maximum, flush_quantity, residual_limit
from floorterm.flush.colour import ciede2000, lab_of
from floorterm.flush.from_library import bar, dosing_tank, evidence, line_model, rules
from floorterm.flush.tank import tank_floor
from floorterm.library.bar_data import ColourPolicy, OdourPolicy
from floorterm.library.model import DosingTank, Library, LimitPolicy

DAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def bars(library: Library) -> dict[str, Bar]:
    return {name: bar(fragrance) for name, fragrance in library.fragrances.items()}


def test_a_bar_carries_colour_odour_indices_and_maxima(bars: dict[str, Bar]) -> None:
    massage = bars["marjoram-massage"]
    assert massage.colour is not None
    assert massage.colour.lab == (94.0, -0.5, 4.0)
    assert len(massage.colour.bands) == 3
    assert massage.odour is not None
    assert massage.odour.confidence == "from-memory", "guessed figures are no better than remembered ones"
    assert massage.indices == (
        Index(name="natural origin", value=0.995, claim=0.95, source="invented for the demo", confidence="from-memory"),
    )  # fmt: skip
    assert [type(one) for one in massage.maxima] == [Maximum]


def test_the_bands_of_the_starter_set_give_its_lab_standards(bars: dict[str, Bar]) -> None:
    """Bands computed from Lab by the inverse of the sRGB matrix (IEC 61966-2-1), kept to four decimals."""
    for one in bars.values():
        assert one.colour is not None
        assert one.colour.lab is not None
        assert ciede2000(one.colour.lab, lab_of(one.colour.bands)) < 0.05


def test_no_pair_of_the_starter_set_is_a_deviation_and_every_rule_is_judged(
    library: Library, bars: dict[str, Bar]
) -> None:
    policy = rules(library.plant.limits, DAY)
    seen = set()
    for line in library.lines.values():
        here = [name for name, fragrance in library.fragrances.items() if line.id in fragrance.lines]
        for old, new in permutations(here, 2):
            limit = residual_limit(bars[old], bars[new], policy)
            assert limit.status == "ok"
            assert limit.notes == ()
            found = flush_quantity(
                line_model(line), limit, float(line.rate_kg_h), float(line.slug_g), evidence(line)
            )
            assert found.status in ("ok", "none")
            seen |= {limit.governing.criterion if limit.governing else "none"}
    assert {"allergen_label", "colour", "odour", "none"} <= seen


def test_dark_to_light_is_governed_by_the_colour(library: Library, bars: dict[str, Bar]) -> None:
    policy = rules(library.plant.limits, DAY)
    assert residual_limit(bars["clove-leaf"], bars["petitgrain"], policy).governing == (
        "colour",
        "delta_e_2000",
    )


def test_a_policy_can_leave_rules_out_and_set_differences() -> None:
    off = rules(LimitPolicy(colour=ColourPolicy(apply=False), odour=OdourPolicy(apply=False)), DAY)
    assert (off.colour, off.odour) == (None, None)
    own = LimitPolicy(
        colour=ColourPolicy(warn_de=Decimal("0.5"), limit_de=Decimal(1), straight_line=True),
        odour=OdourPolicy(difference=Decimal("0.15")),
    )
    found = rules(own, DAY)
    assert found.colour is not None
    assert (found.colour.warn_de, found.colour.limit_de, found.colour.straight_line) == (0.5, 1.0, True)
    assert found.odour is not None
    assert found.odour.difference == 0.15


def test_a_tank_for_one_fragrance_is_dedicated_and_a_shared_one_has_a_floor() -> None:
    shared = dosing_tank(
        DosingTank(id="T1", name="t", heel_kg=Decimal("0.3"), fill_kg=Decimal(80), rinse_kg=Decimal(12))
    )
    assert (shared.largest_charge, shared.dedicated) == (12.0, False)
    assert tank_floor(shared) == pytest.approx(0.3 / 80.3)
    own = dosing_tank(DosingTank(id="T2", name="t", only="juniper", fill_kg=Decimal(80)))
    assert (own.largest_charge, tank_floor(own)) == (80.0, 0.0)
