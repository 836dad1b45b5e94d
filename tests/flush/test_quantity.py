"""What a crew is told: rounding to the safe side, evidence, warnings, the figure worth measuring."""

import json
import subprocess
import sys
from datetime import date
from decimal import Decimal
from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.flush import (
    Bar,
    Content,
    FlushQuantity,
    Limit,
    LineModel,
    flush_quantity,
    residual_limit,
    washout,
)
from floorterm.flush.quantity import round_up
from floorterm.library import Library
from floorterm.wording import sentence
from tests.flush.test_limits import CLEAN, CLOVE, EU
from tests.flush.washout_lines import line, t11
from tests.library.helper import made

BAR_G = 125.0
T11 = t11(flash_fraction=0.18, flash_to="u1")


def limit_of(value: float) -> Limit:
    """A limit of a given value: a bar of which so much reaches the threshold of an item."""
    return residual_limit(Bar(name="X", contents=(Content("Eugenol", 1e-4 / value),)), Bar(), EU)


def quantity(model: LineModel = T11, value: float = 0.02, **how: object) -> FlushQuantity:
    return flush_quantity(model, limit_of(value), 1500.0, BAR_G / (1 - model.flash_fraction), **how)


def test_881_kg_5777_bars_and_36_minutes_for_the_worked_train() -> None:
    """880.5534 kg at 1,500 kg/h, bars of 125 g: bars from the unrounded kg (from 881 kg it would be 5,780).

    880.5534144 by a Runge-Kutta pair at 1e-12 and a matrix exponential with 30 digits; the rest by hand:
    0.82 * 880.5534 / 0.125 = 5776.4; 880.5534 / 25 = 35.22 min.
    """
    found = quantity()
    assert (found.status, found.required_kg, found.bars, found.minutes) == ("ok", 881, 5777, 36)
    assert found.m_star_kg == pytest.approx(880.5534144, rel=1e-9)
    assert found.bars_kg == pytest.approx(722.0537998, rel=1e-9)
    assert (found.flash_kg, found.diverted_kg) == (0.0, 723)


def test_diverted_flash_counts_among_what_is_diverted() -> None:
    """580.34 kg in all: bars 475.88 kg and flash 104.46 kg; 23.2 min at 1,500 kg/h (same source)."""
    found = quantity(divert_flash=True)
    assert (found.required_kg, found.diverted_kg, found.minutes) == (581, 581, 24)
    assert found.bars_kg == pytest.approx(475.8803982, rel=1e-9)
    assert found.flash_kg == pytest.approx(104.4615508, rel=1e-9)
    assert found.bars == round_up(475.8803982 / 0.125)


def test_one_bar_leaves_per_slug() -> None:
    """400 kg in slugs of 120 g are 3,333.3, so 3,334 bars; 1,728 kg/h make 13.889, so 14 min (by hand)."""
    model = line({"plug_kg": 400}, flash_fraction=0.2, flash_to=None)
    found = flush_quantity(model, limit_of(0.01), 1728.0, 120.0)
    assert (found.required_kg, found.bars, found.minutes) == (400, 3334, 14)


def test_rounding_up_forgives_arithmetic_noise_only() -> None:
    assert [round_up(x) for x in (0.0, 5.0, 5.0 + 5e-10, 5.001, 4.999)] == [0, 5, 5, 6, 5]


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0005, 0.9), st.floats(20.0, 400.0), st.floats(300.0, 4000.0))
def test_rounded_figures_are_on_the_safe_side_and_tight(value: float, slug_g: float, rate: float) -> None:
    found = flush_quantity(T11, limit_of(value), rate, slug_g)
    m = found.m_star_kg
    assert m - 1e-8 <= found.required_kg < m + 1
    assert m - 1e-6 <= found.bars * slug_g / 1000 < m + slug_g / 1000
    assert m - 1e-6 <= found.minutes * rate / 60 < m + rate / 60
    assert washout(T11).residual(found.required_kg) <= found.limit.value * (1 + 1e-9)


def test_nothing_to_flush_where_no_rule_limits() -> None:
    found = flush_quantity(T11, residual_limit(CLEAN, CLEAN, EU), 1500.0, BAR_G)
    assert (found.status, found.required_kg, found.bars, found.minutes) == ("none", 0, 0, 0)
    assert found.most_sensitive is None


def test_a_deviation_gives_no_number() -> None:
    limit = residual_limit(CLOVE, Bar(background=(Content("Eugenol", 2e-4),)), EU)
    found = flush_quantity(T11, limit, 1500.0, BAR_G)
    assert (found.status, found.required_kg, found.bars, found.diverted_kg) == ("deviation", 0, 0, 0)


def test_a_limit_under_the_floor_gives_no_number() -> None:
    found = quantity(value=0.003, floor=0.01)
    assert (found.status, found.required_kg, found.bars) == ("unreachable", 0, 0)


def test_the_worst_mark_is_shown_and_what_nobody_marked_counts_as_guessed() -> None:
    marks = {"u1": "measured", "u2": "estimated", "u3": "measured", "rate_kg_h": "measured"}
    found = quantity(evidence=marks)
    assert (found.evidence, found.measured, found.assumed) == (
        "estimated",
        ("u1", "u3", "rate_kg_h"),
        ("u2",),
    )
    assert quantity().evidence == "guessed"
    assert quantity(evidence={**marks, "u2": "measured"}).evidence == "measured"
    assert "flash_fraction" in quantity(evidence={**marks, "flash_fraction": "guessed"}).assumed


def test_the_most_sensitive_field_is_the_one_that_moves_the_crossing_most() -> None:
    """Against the crossing computed anew with every field 1 % larger."""
    model = line(
        {"mixed_kg": 90},
        {"mixed_kg": 70, "tanks": 2, "plug_kg": 20, "dead_fraction": 0.08, "exchange_ratio": 0.01},
        {"mixed_kg": 110, "tanks": 3},
        flash_fraction=0.18,
        flash_to="u1",
        return_kg=10,
    )
    found = quantity(model, 0.01)
    base = washout(model).kg_to_reach(0.01)
    moved = {}
    for place, unit in enumerate(model.units):
        for field in ("mixed_kg", "plug_kg", "dead_fraction", "exchange_ratio"):
            units = list(model.units)
            units[place] = replace(unit, **{field: 1.01 * getattr(unit, field)})
            other = replace(model, units=tuple(units))
            moved[(unit.name, field)] = washout(other).kg_to_reach(0.01) - base
    for field in ("flash_fraction", "return_kg"):
        other = replace(model, **{field: 1.01 * getattr(model, field)})
        moved[("", field)] = washout(other).kg_to_reach(0.01) - base
    where, most = max(moved.items(), key=lambda pair: abs(pair[1]))
    assert (found.most_sensitive.unit, found.most_sensitive.field) == where
    assert found.most_sensitive.kg_per_percent == pytest.approx(most, rel=0.05)


def test_trapped_soap_a_kept_conveyor_and_doubtful_data_are_said() -> None:
    sealed = line({"mixed_kg": 180, "dead_fraction": 0.10})
    found = flush_quantity(sealed, limit_of(0.02), 1500.0, BAR_G)
    assert found.trapped_kg == pytest.approx(18.0)
    assert [say.key for say in found.warnings] == ["flush.warn.trapped"]
    assert "18.0 kg" in sentence(found.warnings[0])
    looped = t11(flash_fraction=0.18, flash_to="u1", return_kg=10)
    assert [say.key for say in quantity(looped, divert_flash=True).warnings] == ["flush.warn.conveyor"]
    assert quantity(looped).warnings == ()
    doubtful = replace(EU, jurisdiction="GB")
    told = flush_quantity(T11, residual_limit(CLOVE, CLEAN, doubtful), 1500.0, BAR_G).warnings
    assert [say.key for say in told] == ["flush.warn.confidence_from_memory"]


def test_both_languages_say_the_same_with_the_same_facts() -> None:
    def catalogue(language: str) -> dict[str, str]:
        return json.loads(
            (files("floorterm") / "wordings" / language / "flush.json").read_text(encoding="utf-8")
        )

    english, spanish = catalogue("en"), catalogue("es")
    assert english.keys() == spanish.keys()
    for key, text in english.items():
        facts = {part.split("}")[0] for part in text.split("{")[1:]}
        assert facts == {part.split("}")[0] for part in spanish[key].split("{")[1:]}, key
        assert "purge" not in text


def test_the_calculation_loads_nothing_heavy() -> None:
    """An engineer imports the room without a terminal, a database or a YAML model behind it."""
    heavy = ("numpy", "scipy", "pydantic", "textual", "sqlmodel", "sqlalchemy", "yaml")
    code = (
        "import sys\n"
        "from floorterm.flush import LineModel, Unit, washout, residual_limit\n"
        "washout(LineModel(units=(Unit(name='mixer', mixed_kg=90.0),))).kg_to_reach(0.01)\n"
        f"print([name for name in {heavy} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_plants_words_become_a_line_a_bar_and_rules(library: Library) -> None:
    from floorterm.flush import from_library
    from floorterm.library.model import FragranceFile, LimitPolicy

    yaml_line = replace(
        library.lines["L1"],
        units=(
            _unit("mixer", mixed_kg="180", evidence="measured"),
            _unit(
                "plodder",
                mixed_kg="120.5",
                tanks=3,
                plug_kg="40",
                dead_fraction="0.1",
                exchange_ratio="0.05",
                evidence="guessed",
            ),
        ),
        flash_fraction=Decimal("0.2"),
        flash_to="mixer",
        return_kg=Decimal(12),
        dose_at="mixer",
        rate_evidence="estimated",
    )
    model = from_library.line_model(yaml_line)
    assert (model.units[1].mixed_kg, model.units[1].tanks, model.units[1].plug_kg) == (120.5, 3, 40.0)
    assert (model.flash_fraction, model.flash_to, model.return_kg, model.dose_at) == (
        0.2,
        "mixer",
        12.0,
        "mixer",
    )
    assert from_library.evidence(yaml_line) == {
        "mixer": "measured", "plodder": "guessed", "rate_kg_h": "estimated",
    }  # fmt: skip

    fragrance = made(
        FragranceFile,
        {
            "format": 1,
            "id": "clove",
            "name": "Clove",
            "code": "NM-1",
            "lines": ["L1"],
            "dose": "0.012",
            "oils": [{"oil": "clove leaf", "share": "1"}],
            "background": [{"item": "Linalool", "content": "0.00002", "source": "raw material"}],
            "colour": {"word": "brown", "lab": ["40", "10", "20"]},
            "bar_format": "rect",
            "label": ["Eugenol"],
            "leave_on": True,
            "claims": ["organic"],
            "source": "invented",
        },
    )
    bar = from_library.bar(fragrance)
    assert (bar.name, bar.dose, bar.oils[0].name, bar.leave_on, bar.claims) == (
        "clove", 0.012, "clove leaf", True, ("organic",),
    )  # fmt: skip
    assert bar.background == (Content("Linalool", 2e-5, "raw material"),)
    assert bar.labelled == {"71"}

    on = date(2026, 11, 25)
    policy = LimitPolicy(jurisdiction="GB", safety_factor=Decimal("1.5"), mixing="exact")
    rules = from_library.rules(policy, on)
    assert (rules.jurisdiction, rules.safety_factor, rules.mixing, rules.on) == ("GB", 1.5, "exact", on)


def _unit(name: str, **fields: object) -> object:
    from floorterm.library.model import UnitSpec

    return made(UnitSpec, {"name": name, "title": name, **fields})
