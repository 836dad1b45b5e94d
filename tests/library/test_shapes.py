"""Shapes read off annotations: what a struct asks for, and annotations that no file could fill."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Literal

import pytest
from msgspec import NODEFAULT, Struct, field

from floorterm.library.shapes import (
    Bounds,
    ByName,
    Either,
    Length,
    OneOf,
    Rule,
    Ruled,
    Several,
    Word,
    record_of,
)


class Inner(Struct, frozen=True):
    share: Annotated[Annotated[Decimal, Bounds(ge=0)], Bounds(gt=0, le=1)]


class Outer(Struct, frozen=True, kw_only=True):
    word: Literal["a", "b"] = "a"
    inner: Annotated[tuple[Inner, ...], Length(least=1)]
    named: Mapping[str, bool | str] = field(default_factory=dict)
    note: str | None = None


def test_a_struct_becomes_a_record_of_its_members() -> None:
    members = record_of(Outer).members
    assert members["word"].shape == OneOf(words=("a", "b"))
    assert members["inner"].shape == Several(item=record_of(Inner), length=Length(least=1))
    assert members["named"].shape == ByName(
        key=Word(base=str), item=Either(branches=(Word(base=bool), Word(base=str)))
    )
    assert members["note"].shape == Word(base=str)
    assert [members[name].default for name in ("word", "inner", "named", "note")] == [
        "a",
        NODEFAULT,
        {},
        None,
    ]


def test_the_outer_limit_of_a_value_is_the_one_that_counts() -> None:
    assert record_of(Inner).members["share"].shape == Word(base=Decimal, bounds=Bounds(gt=0, le=1))


def test_a_rule_stands_around_the_shape_of_its_value() -> None:
    rule = Rule(lambda value: "" if value else "something")

    class Ruling(Struct):
        text: Annotated[str, Length(most=3), rule]

    shape = record_of(Ruling).members["text"].shape
    assert shape == Ruled(shape=Word(base=str, length=Length(most=3)), rule=rule)


@pytest.mark.parametrize(
    "annotation", [float, bytes, list[int], Annotated[tuple[int, ...], Bounds(ge=1)], object]
)
def test_what_no_file_can_fill_is_refused_when_it_is_defined(annotation: object) -> None:
    odd = type("Odd", (Struct,), {"__annotations__": {"value": annotation}})
    with pytest.raises(TypeError, match=r"no file can fill|limits no"):
        record_of(odd)
