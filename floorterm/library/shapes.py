"""What a value of a file may be, read off the annotations of the structs that hold it.

An annotation says the type and, as `Annotated`, its limits: `Annotated[Decimal, Bounds(ge=0)]`. The same shapes
serve to read files (`validation`) and to write the schemas of editors (`schemas`).
"""

from collections.abc import Callable, Mapping
from datetime import date, time
from decimal import Decimal
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, TypeAlias, Union, get_args, get_origin, get_type_hints

from msgspec import Struct
from msgspec.structs import fields, replace

# --- limits, as they stand in annotations -----------------------------------------------------------


class Bounds(Struct, frozen=True, kw_only=True):
    """The limits of a number: at least, above, at most, below."""

    ge: Decimal | int | None = None
    gt: Decimal | int | None = None
    le: Decimal | int | None = None
    lt: Decimal | int | None = None


class Length(Struct, frozen=True, kw_only=True):
    """How many characters a text has, or how many items a list."""

    least: int = 0
    most: int | None = None


class Pattern(Struct, frozen=True):
    """A regular expression that a whole text follows, and the words for it."""

    regex: str
    says: str


class Says(Struct, frozen=True):
    """The words for what is expected, in place of the usual ones."""

    text: str


class Rule(Struct, frozen=True):
    """A rule of one value: gives what was expected where the value breaks it, otherwise ""."""

    broken: Callable[[Any], str]


# --- shapes -----------------------------------------------------------------------------------------


class Word(Struct, frozen=True, kw_only=True):
    """One text, number, truth value, date or time of day."""

    base: type[str | bool | int | Decimal | date | time]
    bounds: Bounds = Bounds()
    length: Length = Length()
    pattern: Pattern | None = None


class OneOf(Struct, frozen=True, kw_only=True):
    """One of a closed set of words."""

    words: tuple[str | int, ...]
    says: str = ""


class Several(Struct, frozen=True, kw_only=True):
    """A list of values of one shape."""

    item: "Shape"
    length: Length = Length()


class ByName(Struct, frozen=True, kw_only=True):
    """Values of one shape under names of the writer's own."""

    key: "Shape"
    item: "Shape"


class Member(Struct, frozen=True):
    """One key of a record; `default` is NODEFAULT where it must be written."""

    shape: "Shape"
    default: object


class Record(Struct, frozen=True, kw_only=True):
    """The keys of one struct. `bare` names the member that a bare text stands for."""

    model: type[Struct]
    members: Mapping[str, Member]
    bare: str = ""


class Either(Struct, frozen=True, kw_only=True):
    """A value of any of several shapes."""

    branches: tuple["Shape", ...]


class Ruled(Struct, frozen=True, kw_only=True):
    """A shape with a rule of its own."""

    shape: "Shape"
    rule: Rule


Shape: TypeAlias = Word | OneOf | Several | ByName | Record | Either | Ruled


@cache
def record_of(model: type[Struct]) -> Record:
    """The record that a struct is written as. Raises TypeError for an annotation that no file can fill."""
    hints = get_type_hints(model, include_extras=True)
    members = {
        field.name: Member(_shape(hints[field.name]), _default(field.default, field.default_factory))
        for field in fields(model)
    }
    return Record(model=model, members=members, bare=getattr(model, "bare", ""))


def _default(value: object, factory: object) -> object:
    return factory() if callable(factory) else value


def _shape(annotation: Any) -> Shape:
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _limited(_shape(inner[0]), inner[1:])
    if origin is Literal:
        return OneOf(words=inner)
    if origin is tuple:
        return Several(item=_shape(inner[0]))
    if origin is not None and _is_class(origin, Mapping):
        return ByName(key=_shape(inner[0]), item=_shape(inner[1]))
    if origin in (Union, UnionType):
        branches = tuple(_shape(one) for one in inner if one is not NoneType)
        return branches[0] if len(branches) == 1 else Either(branches=branches)
    if _is_class(annotation, Struct):
        return record_of(annotation)
    if annotation in (str, bool, int, Decimal, date, time):
        return Word(base=annotation)
    raise TypeError(f"no file can fill {annotation!r}")


def _is_class(found: object, of: type) -> bool:
    return isinstance(found, type) and issubclass(found, of)


def _limited(shape: Shape, limits: tuple[object, ...]) -> Shape:
    for limit in limits:
        match shape, limit:
            case Word(), Bounds():
                shape = replace(shape, bounds=limit)
            case Word() | Several(), Length():
                shape = replace(shape, length=limit)
            case Word(), Pattern():
                shape = replace(shape, pattern=limit)
            case OneOf(), Says(text):
                shape = replace(shape, says=text)
            case _, Rule():
                shape = Ruled(shape=shape, rule=limit)
            case _:
                raise TypeError(f"{limit!r} limits no {shape!r}")
    return shape
