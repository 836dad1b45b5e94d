"""From the plant's words to the values of this room. The only module here that knows the YAML models."""

from datetime import date

from floorterm.flush.bars import Bar, Content, Oil, Rules
from floorterm.flush.model import LineModel, Unit
from floorterm.flush.quantity import Evidence
from floorterm.library.model import FragranceFile, LimitPolicy, LineFile


def line_model(line: LineFile) -> LineModel:
    """The line as the washout sees it. Raises LineModelError naming the field."""
    return LineModel(
        units=tuple(
            Unit(
                name=unit.name,
                mixed_kg=float(unit.mixed_kg),
                tanks=unit.tanks,
                plug_kg=float(unit.plug_kg),
                dead_fraction=float(unit.dead_fraction),
                exchange_ratio=float(unit.exchange_ratio),
            )
            for unit in line.units
        ),
        flash_fraction=float(line.flash_fraction),
        flash_to=line.flash_to,
        return_kg=float(line.return_kg),
        dose_at=line.dose_at,
    )


def evidence(line: LineFile) -> dict[str, Evidence]:
    """How each figure of a line is known, by unit name and "rate_kg_h"."""
    return {**{unit.name: unit.evidence for unit in line.units}, "rate_kg_h": line.rate_evidence}


def bar(fragrance: FragranceFile, *, name: str = "") -> Bar:
    """The bar as the label rule sees it; `name` defaults to the fragrance's id. Raises LimitInputError."""
    return Bar(
        name=name or fragrance.id,
        dose=float(fragrance.dose),
        oils=tuple(Oil(name=part.oil, share=float(part.share)) for part in fragrance.oils),
        background=tuple(
            Content(part.item, float(part.content), part.source) for part in fragrance.background
        ),
        label=fragrance.label,
        leave_on=fragrance.leave_on,
        claims=fragrance.claims,
    )


def rules(policy: LimitPolicy, on: date) -> Rules:
    """The plant's choices behind the limit, for a bar made on a day."""
    return Rules(
        on=on,
        jurisdiction=policy.jurisdiction,
        safety_factor=float(policy.safety_factor),
        mixing=policy.mixing,
    )
