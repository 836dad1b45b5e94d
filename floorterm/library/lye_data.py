"""What the YAML says of lye work: a section's task class and conditions, the plant's data sheet and assessment."""

from decimal import Decimal
from typing import Annotated, Literal

from msgspec import Struct

from floorterm.library.shapes import Bounds
from floorterm.library.words import Day, Flag, Id, NotNegative, Number

LyeTask = Literal["L0", "L1", "L2", "L3", "L4", "L5", "L6"]


class LyeWork(Struct, frozen=True, kw_only=True):
    """A section of lye work: compose puts the confirmations of protection before its steps.

    `strength_pct` is mass % of the strongest lye met, `temperature_c` the hottest, `pressurised` whether the line
    is under pressure. `tools` are the materials of what is brought along: some are never taken to lye.
    """

    task: LyeTask
    strength_pct: Annotated[Number, Bounds(gt=0, le=100)]
    temperature_c: Annotated[Number, Bounds(ge=-40, le=150)]
    pressurised: Flag = False
    tools: tuple[str, ...] = ()


class DataSheet(Struct, frozen=True, kw_only=True):
    """The supplier's safety data sheet that hangs at the place, and the newest that is on file."""

    id: str
    revised_on: Day
    newest_on: Day | None = None


class HazardAssessment(Struct, frozen=True, kw_only=True):
    """The written certification of hazard assessment (29 CFR 1910.132(d)(2))."""

    workplace: str
    certified_by: str
    on: Day
    titled: Flag = True
    changed_on: Day | None = None


class Gear(Struct, frozen=True, kw_only=True):
    """Protection with an inspection of its own, and the last day on which it counts."""

    item: Id
    inspection_due: Day


class SpillKit(Struct, frozen=True, kw_only=True):
    """The spill kit at the lye place: a neutraliser by name, kg at a strength in mass %, litres it absorbs."""

    neutraliser: Id = "citric_anhydrous"
    kg: NotNegative = Decimal(0)
    pct: Annotated[Number, Bounds(gt=0, le=100)] = Decimal(100)
    absorbs_l: NotNegative | None = None


class Confirmed(Struct, frozen=True, kw_only=True):
    """A table of the program's lye data that a person held against its source, and when."""

    table: str
    by: str
    on: Day


class LyePolicy(Struct, frozen=True, kw_only=True):
    """The plant's own words about lye. `limit_c` can only be what the site's vessels and hoses bear."""

    region: Literal["US", "EU"] = "US"
    limit_c: Annotated[Number, Bounds(ge=20, le=100)] = Decimal(60)
    data_sheet: DataSheet
    assessment: HazardAssessment
    gear: tuple[Gear, ...] = ()
    kit: SpillKit = SpillKit()
    confirmed: tuple[Confirmed, ...] = ()
