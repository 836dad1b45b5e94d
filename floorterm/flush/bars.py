"""The two bars of a changeover and the rules that judge them: what a residual limit is derived from."""

from collections.abc import Mapping, Sequence
from datetime import date
from math import fsum
from types import MappingProxyType
from typing import Literal, get_args

from msgspec import Struct, field

from floorterm.flush.errors import LimitInputError, as_number, one_of
from floorterm.flush.grounds import (
    Active,
    BarColour,
    BarOdour,
    ColourRule,
    HealthRule,
    Index,
    Maximum,
    NextUse,
    OdourRule,
)
from floorterm.library.tables import (
    JURISDICTIONS,
    AmbiguousNameError,
    Confidence,
    Jurisdiction,
    UnknownNameError,
    item_named,
    label_item,
    oil,
    oil_names,
)

Claim = Literal["fragrance_free", "unscented", "organic"]
Mixing = Literal["safe", "exact"]
CLAIMS: tuple[Claim, ...] = get_args(Claim)


class Content(Struct, frozen=True):
    """Content of one label item (label name, substance or CAS number), kg/kg of whatever holds it."""

    item: str
    content: float
    source: str = ""
    confidence: Confidence = "text-seen"


class Oil(Struct, frozen=True, kw_only=True):
    """One oil as a share of the fragrance, kg/kg. `contents` is the supplier's declaration (kg/kg of oil,
    upper figures); None takes the upper contents of the oil table.
    """

    name: str
    share: float
    contents: tuple[Content, ...] | None = None


class Bar(Struct, frozen=True, kw_only=True):
    """One bar as the rules see it.

    `dose`: fragrance on finished bar mass, kg/kg. `contents`: label items known directly, kg/kg of bar,
    besides the oils. `background`: what other sources than the fragrance bring (raw materials, rework),
    kg/kg of bar. `label`: what the label names. `maxima`: the most of an item that this bar may hold.
    `indices`: as natural origin. `active`: a drug active in it; `next_use`: how this bar is used where one
    may be carried over. Raises LimitInputError naming the field for a content outside 0..1, an item or oil
    that no table has, shares that do not sum to 1, or a dose without oils.
    """

    name: str = ""
    dose: float = 0.0
    oils: tuple[Oil, ...] = ()
    contents: tuple[Content, ...] = ()
    background: tuple[Content, ...] = ()
    label: tuple[str, ...] = ()
    leave_on: bool = False
    claims: tuple[Claim, ...] = ()
    colour: BarColour | None = None
    odour: BarOdour | None = None
    indices: tuple[Index, ...] = ()
    maxima: tuple[Maximum, ...] = ()
    active: Active | None = None
    next_use: NextUse | None = None

    def __post_init__(self) -> None:
        as_number(LimitInputError, "dose", self.dose, high=1.0)
        if (self.dose > 0) != bool(self.oils):
            raise LimitInputError("dose", "dose_without_oils")
        for number, part in enumerate(self.oils):
            field = f"oils[{number}]"
            as_number(LimitInputError, f"{field}.share", part.share, high=1.0)
            if part.contents is not None:
                _check_contents(f"{field}.contents", part.contents)
            elif part.name not in oil_names():
                raise _unknown_oil(f"{field}.name", part.name)
        total = fsum(part.share for part in self.oils)
        if self.oils and abs(total - 1.0) > 1e-6:
            raise LimitInputError("oils", "shares", found=f"{total:g}")
        _check_contents("contents", self.contents)
        _check_contents("background", self.background)
        for claim in self.claims:
            one_of(LimitInputError, "claims", claim, CLAIMS)
        _check_contents("maxima", self.maxima)
        for field, names in (
            ("indices", [index.name for index in self.indices]),
            ("maxima", [item_named(maximum.item).name for maximum in self.maxima]),
        ):
            for place, name in enumerate(names):
                if name in names[:place]:
                    raise LimitInputError(field, "stands_twice", found=name)

    @property
    def fragranced(self) -> bool:
        """Whether anything of a fragrance is in the bar."""
        return bool(self.oils) or any(part.content > 0 for part in self.contents)

    @property
    def labelled(self) -> frozenset[str]:
        """Entries of the label list that the label names; a claim of no fragrance makes the label an empty
        one.
        """
        if set(self.claims) & {"fragrance_free", "unscented"}:
            return frozenset()
        found = set()
        for name in self.label:
            try:
                found.add(item_named(name).entry)
            except LookupError:
                continue  # a label names many things that the list does not know
        return frozenset(found)


class Rules(Struct, frozen=True, kw_only=True):
    """How a pair is judged: whose label list, on which day, with which margin.

    `threshold` (kg/kg) overrules that of the list. `safety_factor` >= 1 divides the limit. `mixing`: "safe"
    adds the residue to the background, "exact" mixes both bars by mass. `colour`, `odour`, `health`: how
    these are judged; None leaves the rule out. Raises LimitInputError naming the field.
    """

    on: date
    jurisdiction: Jurisdiction = "EU"
    threshold: float | None = None
    safety_factor: float = 1.0
    mixing: Mixing = "safe"
    colour: ColourRule | None = field(default_factory=ColourRule)
    odour: OdourRule | None = field(default_factory=OdourRule)
    health: HealthRule | None = field(default_factory=HealthRule)

    def __post_init__(self) -> None:
        one_of(LimitInputError, "jurisdiction", self.jurisdiction, JURISDICTIONS)
        one_of(LimitInputError, "mixing", self.mixing, get_args(Mixing))
        as_number(LimitInputError, "safety_factor", self.safety_factor, low=1.0)
        if self.threshold is not None:
            as_number(LimitInputError, "threshold", self.threshold, high=1.0, low_open=True)


class Part(Struct, frozen=True, kw_only=True):
    """What one oil or other source brings of an item: kg/kg of bar, with the source of the figure."""

    origin: str
    substance: str
    content: float
    source: str
    confidence: Confidence


def contents_of(bar: Bar) -> Mapping[str, tuple[Part, ...]]:
    """What a bar holds by entry of the label list, grouped substances under their common entry."""
    found: dict[str, list[Part]] = {}

    def add(entry: str, part: Part) -> None:
        if part.content > 0:
            found.setdefault(entry, []).append(part)

    for portion in bar.oils:
        for entry, substance, share, source, confidence in _oil_rows(portion):
            content = bar.dose * portion.share * share
            add(
                entry,
                Part(
                    origin=portion.name,
                    substance=substance,
                    content=content,
                    source=source,
                    confidence=confidence,
                ),
            )
    for origin, given in (("", bar.contents), ("background", bar.background)):
        for stated in given:
            add(
                item_named(stated.item).entry,
                Part(
                    origin=origin,
                    substance=stated.item,
                    content=stated.content,
                    source=stated.source,
                    confidence=stated.confidence,
                ),
            )
    return MappingProxyType({entry: tuple(parts) for entry, parts in found.items()})


def _oil_rows(portion: Oil) -> list[tuple[str, str, float, str, Confidence]]:
    """Entry, substance, content in kg/kg of oil, source and confidence of each listed constituent."""
    if portion.contents is not None:
        return [
            (item_named(c.item).entry, c.item, c.content, c.source, c.confidence) for c in portion.contents
        ]
    return [
        (
            row.entry,
            label_item(row.entry).name if row.whole_oil else row.constituent,
            row.highest,
            row.source,
            row.confidence,
        )
        for row in oil(portion.name)
        if row.entry
    ]


def _check_contents(field: str, contents: Sequence[Content | Maximum]) -> None:
    for number, part in enumerate(contents):
        as_number(LimitInputError, f"{field}[{number}].content", part.content, high=1.0)
        try:
            item_named(part.item)
        except (UnknownNameError, AmbiguousNameError) as fault:
            raise LimitInputError(f"{field}[{number}].item", "name", found=str(fault)) from fault


def _unknown_oil(field: str, name: str) -> LimitInputError:
    return LimitInputError(field, "name", found=str(UnknownNameError("oil", name, oil_names())))
