"""The small words of the YAML files: numbers, dates, ids and texts, read strictly."""

import re
from datetime import date, time
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    StringConstraints,
    create_model,
    field_validator,
    model_validator,
)

from floorterm.languages import FALLBACK, LANGUAGES, TEXT_KEYS

_NUMBER = re.compile(r"-?(0|[1-9][0-9]{0,11})(\.[0-9]{1,12})?")
_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def _written_number(value: Any) -> Any:
    """A number as the file says it: digits and a point. "1e3", "012", "1,5" and "1:30" are not guessed at."""
    if isinstance(value, bool) or (isinstance(value, str) and not _NUMBER.fullmatch(value)):
        raise ValueError("a number such as 12 or 0.25")
    return value


def _known_format(value: Any) -> Any:
    if isinstance(value, bool) or value != 1:
        raise ValueError("1, the only format of these files so far")
    return value


def _written_time(value: Any) -> Any:
    if not isinstance(value, time) and not (isinstance(value, str) and _TIME.fullmatch(value)):
        raise ValueError("a time of day such as 06:00")
    return value


def _written_date(value: Any) -> Any:
    if not isinstance(value, date) and not (isinstance(value, str) and _DATE.fullmatch(value)):
        raise ValueError("a date such as 2026-03-31")
    return value


Flag = Annotated[bool, Strict()]  # only true and false, never yes, on or 1
Whole = Annotated[int, Strict()]
Format = Annotated[Literal[1], BeforeValidator(_known_format)]
Number = Annotated[Decimal, BeforeValidator(_written_number)]
Day = Annotated[date, BeforeValidator(_written_date)]
Hour = Annotated[time, BeforeValidator(_written_time)]
Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$")]
StepRef = Annotated[
    str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*(/[A-Za-z0-9][A-Za-z0-9_-]*)?$")
]
Share = Annotated[Number, Field(ge=0, le=1)]
Positive = Annotated[Number, Field(gt=0, le=Decimal("1e6"))]
NotNegative = Annotated[Number, Field(ge=0, le=Decimal("1e6"))]
Evidence = Literal["measured", "estimated", "guessed"]
Device = Literal["disconnect", "breaker", "allpole_switch", "line_valve", "block", "pin", "blind", "plug"]
Energy = Literal[
    "electrical", "pneumatic", "vacuum", "hydraulic", "thermal", "cold", "mechanical", "gravity",
    "material_in_motion", "chemical", "steam",
]  # fmt: skip
Claim = Literal["fragrance_free", "unscented", "organic"]
StepKind = Literal["confirm", "reading", "choice", "text", "scan", "wait", "flush", "protect"]
ReadingUnit = Literal[
    "kg", "g", "mg", "t", "L", "mL", "m3", "kg/h", "L/min", "g/cm3", "kg/m3", "%", "ppm", "mg/kg",
    "mm", "cm", "m", "um", "°C", "K", "bar", "mbar", "mbar abs.", "kPa", "Pa", "N", "Nm", "V", "A", "kW",
    "rpm", "strokes/min", "bars/min", "s", "min", "h", "d", "dE00", "pH", "count", "bars", "cartons", "cases",
    "pallets", "labels", "wraps", "reels", "screens", "tools", "dies", "bolts", "locks", "people", "mesh",
]  # fmt: skip


_M = TypeVar("_M", bound=BaseModel)


def unbroken(model: _M, broken: list[str]) -> _M:
    """The model itself, or a ValueError with every broken rule on a line: `field: what was expected`."""
    if broken:
        raise ValueError("\n".join(broken))
    return model


class Model(BaseModel):
    """Frozen, and an unknown key is a fault."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", str_strip_whitespace=True, coerce_numbers_to_str=True
    )


class _Text(Model):
    en: Annotated[str, StringConstraints(min_length=1, max_length=600)]

    @model_validator(mode="before")
    @classmethod
    def _plain_string_is_english(cls, value: Any) -> Any:
        return {"en": value} if isinstance(value, str | int) and not isinstance(value, bool) else value

    @field_validator("*")
    @classmethod
    def _one_paragraph(cls, value: str | None) -> str | None:
        if value is not None and "\n" in value:
            raise ValueError("one paragraph (fold a long text with >- rather than |)")
        return value


if TYPE_CHECKING:
    Code = str

    class Text(_Text):
        """One text in the plant's languages: English, and any other that the program speaks, by its code.

        Behind a code stands `_draft` where nobody has reviewed the translation yet: `es`, or `es_draft`.
        """
else:
    Code = Literal[LANGUAGES]
    _Translation = Annotated[str, StringConstraints(max_length=600)] | None
    Text = create_model(
        "Text",
        __base__=_Text,
        __module__=__name__,
        **{name: (_Translation, None) for name in TEXT_KEYS if name != FALLBACK},
    )
