"""What a plant and its lines may say for comparing ways to flush: prices, cleanings, heels, crews, confidence.

Everything here may be left out. What is not stated is not guessed: the way that needs it is shown as not
allowed with the reason, and without prices the ways are ranked by the soap that they cost.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated

from msgspec import Struct

from floorterm.library.shapes import Bounds, Length
from floorterm.library.words import (
    Evidence,
    Flag,
    Id,
    NotNegative,
    Number,
    Positive,
    Share,
    Whole,
    unbroken,
)

Currency = Annotated[str, Length(least=1, most=8)]
Crew = Annotated[Whole, Bounds(ge=1, le=20)]


class PriceList(Struct, frozen=True, kw_only=True):
    """The plant's prices in one currency. `_kg` are per kg, `_min` per minute; labour is of one person.

    `soap_kg`: of soap that could have been sold. `rework_kg`: worth of a diverted kg where later runs take it.
    `noodles_kg`: of plain noodles (not stated: as sold soap). `contribution_min`: what a minute of the line
    earns. `rinse_kg`: of oil that rinses a tank; `rinse_each`: what each rinse costs besides.
    """

    currency: Currency
    soap_kg: Positive
    rework_kg: NotNegative = Decimal(0)
    noodles_kg: NotNegative | None = None
    contribution_min: NotNegative = Decimal(0)
    labour_min: NotNegative = Decimal(0)
    rinse_kg: NotNegative = Decimal(0)
    rinse_each: Positive | None = None
    evidence: Evidence
    source: str = ""


class CalibrationPolicy(Struct, frozen=True, kw_only=True):
    """`confidence`: how sure the figure named "to be sure" must be, one-sided."""

    confidence: Annotated[Number, Bounds(ge=Decimal("0.5"), le=Decimal("0.999"))] = Decimal("0.95")


class CleaningSpec(Struct, frozen=True, kw_only=True):
    """One unit that is stripped and cleaned: share of its soap that comes out, minutes by the site's standard.

    `scraped`: its dead parts are scraped too; otherwise they keep all of their soap.
    """

    unit: Id
    removed_share: Share
    minutes: NotNegative
    scraped: Flag = False


class IntermediateSpec(Struct, frozen=True, kw_only=True):
    """A fragrance that may run between two others, and the line mass of good bars it then makes in kg."""

    fragrance: Id
    run_kg: Positive


class FlushingSpec(Struct, frozen=True, kw_only=True):
    """What a line's site states about flushing; what is left out is not stated.

    `bin_labour_min`: labour for bins and labels of diverted flash. `conveyor_emptied`: the return conveyor is
    emptied before flash returns. `lockout_min`: the fixed block from the first lock to the restart.
    `heels`: share of its content that stays in a unit when the line is run out. `run_out_min`: vacuum loss and
    start-up. `run_out_good_share`: of the soap run out that is packed. `incoming_in_outgoing`: share of the
    incoming dose that a bar sold as outgoing may hold. `min_strength`: least share of the full dose in an
    incoming bar. `rework_room_kg`: what later runs can take up. `intermediate`: a fragrance to run in between.
    """

    flush_crew: Crew = 1
    bin_labour_min: NotNegative = Decimal(0)
    conveyor_emptied: Flag = False
    lockout_min: NotNegative | None = None
    clean_crew: Crew = 2
    cleanings: tuple[CleaningSpec, ...] = ()
    restart_scrap_kg: NotNegative = Decimal(0)
    heels: Mapping[Id, Share] | None = None
    run_out_min: NotNegative = Decimal(0)
    run_out_good_share: Share = Decimal(0)
    noodles_ready: Flag = False
    incoming_in_outgoing: Annotated[Number, Bounds(gt=0, lt=1)] | None = None
    min_strength: Annotated[Number, Bounds(gt=0, lt=1)] | None = None
    rework_room_kg: NotNegative | None = None
    intermediate: IntermediateSpec | None = None
    evidence: Evidence
    source: str = ""

    def __post_init__(self) -> None:
        broken = []
        if self.cleanings and self.lockout_min is None:
            broken.append("lockout_min: minutes of the lockout block, as units are to be stripped")
        unbroken(broken)
