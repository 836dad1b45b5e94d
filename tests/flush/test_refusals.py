"""What is refused (one error naming the field), what is answered, and what is warned about."""

import math
from typing import Any

import pytest

from floorterm.flush import (
    Bar,
    Content,
    FlushError,
    LimitInputError,
    LineModel,
    LineModelError,
    Oil,
    QuantityInputError,
    Rules,
    Unit,
    UnitStart,
    WashoutInputError,
    curve,
    flush_quantity,
    residual_limit,
    washout,
)
from tests.flush.test_limits import NOW
from tests.flush.washout_lines import line, t11

BAD_NUMBERS = [-1.0, -1e-9, math.nan, math.inf, "12", None, True]


@pytest.mark.parametrize("bad", BAD_NUMBERS)
@pytest.mark.parametrize("field", ["mixed_kg", "plug_kg", "dead_fraction", "exchange_ratio"])
def test_a_unit_refuses_negative_and_endless_numbers(field: str, bad: Any) -> None:
    with pytest.raises(LineModelError, match=field) as caught:
        Unit(name="plodder", **{field: bad})
    assert caught.value.field == f"plodder.{field}"


@pytest.mark.parametrize("bad", [0, -1, 2.0, 1.5, math.nan, True, "3", None])
def test_tanks_are_a_whole_number_of_at_least_one(bad: Any) -> None:
    with pytest.raises(LineModelError) as caught:
        Unit(name="plodder", mixed_kg=10.0, tanks=bad)
    assert caught.value.field == "plodder.tanks"


def test_a_unit_can_be_dead_only_in_part() -> None:
    with pytest.raises(LineModelError, match=r"dead_fraction: 1 is not below 1"):
        Unit(name="plodder", mixed_kg=10.0, dead_fraction=1.0)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"units": ()}, "units"),
        ({"units": (Unit(name="a"), Unit(name="a"))}, "units"),
        ({"units": ("mixer",)}, "units"),
        ({"flash_fraction": -0.1}, "flash_fraction"),
        ({"flash_fraction": 1.0}, "flash_fraction"),
        ({"flash_fraction": math.nan}, "flash_fraction"),
        ({"flash_to": "nowhere"}, "flash_to"),
        ({"dose_at": "nowhere"}, "dose_at"),
        ({"return_kg": -1.0}, "return_kg"),
        ({"return_kg": math.inf}, "return_kg"),
        ({"return_kg": 5.0}, "return_kg"),
        ({"return_kg": 5.0, "flash_fraction": 0.2}, "return_kg"),
    ],
)
def test_a_line_names_the_field_it_refuses(fields: dict[str, Any], field: str) -> None:
    """A conveyor without returned flash would hold its soap for ever."""
    with pytest.raises(LineModelError) as caught:
        LineModel(**{"units": (Unit(name="mixer", mixed_kg=90.0),), **fields})
    assert caught.value.field == field
    assert caught.value.say.facts["field"] == field


def test_a_unit_needs_a_name() -> None:
    with pytest.raises(LineModelError, match="name"):
        Unit(name="")


@pytest.mark.parametrize("bad", [0.0, -0.01, math.nan, math.inf, "1 %", None])
def test_a_limit_is_above_zero(bad: Any) -> None:
    with pytest.raises(WashoutInputError, match="limit"):
        washout(t11()).kg_to_reach(bad)


@pytest.mark.parametrize("bad", BAD_NUMBERS)
def test_a_mass_is_not_negative(bad: Any) -> None:
    model = washout(t11())
    for ask in (model.residual, model.bars_kg):
        with pytest.raises(WashoutInputError) as caught:
            ask(bad)
        assert caught.value.field == "kg"


@pytest.mark.parametrize("bad", [-0.1, 1.0, math.nan])
def test_a_floor_is_a_fraction_below_one(bad: float) -> None:
    with pytest.raises(WashoutInputError, match="floor"):
        washout(t11(), floor=bad)


@pytest.mark.parametrize(
    ("start", "field"),
    [
        ({"u9": 0.5}, "start"),
        ({"u1": 1.1}, "start.u1"),
        ({"u1": -0.1}, "start.u1"),
        ({"u1": UnitStart(dead=math.nan)}, "start.u1.dead"),
        ({"u1": UnitStart(plug=2.0)}, "start.u1.plug"),
    ],
)
def test_a_start_names_known_units_and_fractions(start: dict[str, Any], field: str) -> None:
    with pytest.raises(WashoutInputError) as caught:
        washout(t11(), start=start)
    assert caught.value.field == field


def test_a_curve_needs_an_end_and_two_points() -> None:
    with pytest.raises(WashoutInputError, match="up_to_kg"):
        curve(washout(t11()), 0.0)
    with pytest.raises(WashoutInputError, match="points"):
        curve(washout(t11()), 100.0, 1)


def test_a_limit_of_one_or_more_needs_no_flush() -> None:
    assert [washout(t11()).kg_to_reach(limit) for limit in (1.0, 2.0)] == [0.0, 0.0]


def test_a_limit_at_or_below_the_floor_is_never_reached() -> None:
    model = washout(t11(), floor=0.01)
    assert model.kg_to_reach(0.01) == math.inf
    assert model.kg_to_reach(0.001) == math.inf
    assert math.isfinite(model.kg_to_reach(0.0101))


def test_what_is_doubtful_is_warned_about() -> None:
    def keys(model: LineModel) -> list[str]:
        return [say.key for say in model.warnings]

    assert keys(t11()) == []
    assert keys(t11(flash_fraction=0.36, flash_to="u1")) == ["flush.warn.flash_high"]
    assert keys(t11(flash_fraction=0.35, flash_to="u1")) == []
    assert keys(line({"mixed_kg": 300, "tanks": 61})) == ["flush.warn.tanks_many"]
    assert keys(line({"mixed_kg": 300, "tanks": 60, "dead_fraction": 0.31})) == ["flush.warn.dead_large"]
    assert keys(line({"mixed_kg": 1001}, {"mixed_kg": 1.9, "tanks": 2})) == ["flush.warn.stiff"]
    assert keys(line({"mixed_kg": 900}, {"mixed_kg": 0.9})) == []


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"dose": 1.5}, "dose"),
        ({"dose": math.nan}, "dose"),
        ({"dose": 0.01}, "dose"),
        ({"oils": (Oil(name="clove bud", share=1.0),)}, "dose"),
        ({"dose": 0.01, "oils": (Oil(name="clove bud", share=0.9),)}, "oils"),
        ({"dose": 0.01, "oils": (Oil(name="clove bug", share=1.0),)}, "oils[0].name"),
        ({"dose": 0.01, "oils": (Oil(name="clove bud", share=-1.0),)}, "oils[0].share"),
        (
            {"dose": 0.01, "oils": (Oil(name="own", share=1.0, contents=(Content("Eugenol", 1.2),)),)},
            "oils[0].contents[0].content",
        ),
        ({"background": (Content("Eugenole", 1e-5),)}, "background[0].item"),
        ({"contents": (Content("72968-50-4", 1e-5),)}, "contents[0].item"),
        ({"claims": ("vegan",)}, "claims"),
    ],
)
def test_a_bar_names_the_field_it_refuses(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(LimitInputError) as caught:
        Bar(**fields)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"jurisdiction": "XX"}, "jurisdiction"),
        ({"mixing": "rough"}, "mixing"),
        ({"safety_factor": 0.5}, "safety_factor"),
        ({"threshold": 0.0}, "threshold"),
    ],
)
def test_rules_name_the_field_they_refuse(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(LimitInputError) as caught:
        Rules(on=NOW, **fields)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"rate_kg_h": 0.0}, "rate_kg_h"),
        ({"slug_g": -5.0}, "slug_g"),
        ({"evidence": {"press": "measured"}}, "evidence"),
        ({"evidence": {"u1": "sure"}}, "evidence.u1"),
    ],
)
def test_a_quantity_names_the_field_it_refuses(changed: dict[str, Any], field: str) -> None:
    limit = residual_limit(Bar(), Bar(), Rules(on=NOW))
    with pytest.raises(QuantityInputError) as caught:
        flush_quantity(t11(), limit, **{"rate_kg_h": 1500.0, "slug_g": 125.0, **changed})
    assert caught.value.field == field


def test_every_refusal_of_the_room_is_one_family_and_a_value_error() -> None:
    for kind in (LineModelError, WashoutInputError, LimitInputError, QuantityInputError):
        assert issubclass(kind, FlushError)
        assert issubclass(kind, ValueError)
