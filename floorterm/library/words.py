"""The small words of the YAML files: numbers, dates, ids and texts, read strictly."""

from collections.abc import Iterable
from datetime import date, time
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from msgspec import Struct, defstruct

from floorterm.languages import FALLBACK, LANGUAGES, TEXT_KEYS
from floorterm.library.shapes import Bounds, Length, Pattern, Rule, Says

Flag = bool  # only true and false, never yes, on or 1
Whole = int
Format = Annotated[Literal[1], Says("1, the only format of these files so far")]
Number = Decimal
Day = date
Hour = time
Id = Annotated[
    str,
    Pattern(
        r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}",
        "a short name of letters, digits, - and _ (at most 40, beginning with a letter or digit)",
    ),
]
StepRef = Annotated[
    str,
    Pattern(
        r"[A-Za-z0-9][A-Za-z0-9_-]*(/[A-Za-z0-9][A-Za-z0-9_-]*)?",
        "a step as step or section/step (letters, digits, - and _)",
    ),
]
Share = Annotated[Number, Bounds(ge=0, le=1)]
Positive = Annotated[Number, Bounds(gt=0, le=1_000_000)]
NotNegative = Annotated[Number, Bounds(ge=0, le=1_000_000)]
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


class BrokenRulesError(ValueError):
    """Values that do not fit together. Each of `rules` says `field: what was expected`."""

    def __init__(self, rules: Iterable[str]) -> None:
        self.rules = tuple(rules)
        super().__init__("\n".join(self.rules))


def unbroken(broken: Iterable[str]) -> None:
    """Raise BrokenRulesError if any rule was broken."""
    rules = tuple(broken)
    if rules:
        raise BrokenRulesError(rules)


def _more_than_a_paragraph(value: str) -> str:
    return "one paragraph (fold a long text with >- rather than |)" if "\n" in value else ""


_English = Annotated[str, Length(least=1, most=600), Rule(_more_than_a_paragraph)]
_Translation = Annotated[str, Length(most=600), Rule(_more_than_a_paragraph)] | None

if TYPE_CHECKING:
    Code = str

    class Text(Struct, frozen=True, kw_only=True):
        """One text in the plant's languages: English, and any other that the program speaks, by its code.

        Behind a code stands `_draft` where nobody has reviewed the translation yet: `es`, or `es_draft`. A file may
        give a bare text for one in English alone.
        """

        bare: ClassVar[str] = FALLBACK
        en: str
else:
    Code = Literal[LANGUAGES]
    Text = defstruct(
        "Text",
        [(FALLBACK, _English), *((name, _Translation, None) for name in TEXT_KEYS if name != FALLBACK)],
        namespace={"bare": FALLBACK},
        module=__name__,
        frozen=True,
        kw_only=True,
    )
