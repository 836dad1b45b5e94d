"""From the plant's words to the values of this room. The only module here that knows the YAML models."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from msgspec.structs import replace

from floorterm.flush.bars import Bar, Content, Oil, Rules
from floorterm.flush.clean import Cleaning
from floorterm.flush.grounds import BarColour, BarOdour, ColourRule, Index, Maximum, OdourRule
from floorterm.flush.model import LineModel, Unit
from floorterm.flush.quantity import Evidence
from floorterm.flush.strategies import Prices, SiteFacts
from floorterm.flush.tank import RinseCosts, Tank
from floorterm.library.model import (
    Colour,
    DosingTank,
    FragranceFile,
    LimitPolicy,
    LineFile,
    PlantFile,
)
from floorterm.library.tables import Confidence

_CONFIDENCE: Mapping[Evidence, Confidence] = {
    "measured": "text-seen",
    "estimated": "second-hand",
    "guessed": "from-memory",
}


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
    """The bar as the rules see it; `name` defaults to the fragrance's id. Raises LimitInputError."""
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
        colour=_colour(fragrance.colour),
        odour=BarOdour(
            activity=float(fragrance.odour.activity),
            source=fragrance.odour.source,
            confidence=_CONFIDENCE[fragrance.odour.evidence],
        )
        if fragrance.odour
        else None,
        indices=tuple(
            Index(
                name=index.name,
                value=float(index.value),
                claim=None if index.claim is None else float(index.claim),
                source=index.source,
                confidence=_CONFIDENCE[index.evidence],
            )
            for index in fragrance.indices
        ),
        maxima=tuple(
            Maximum(
                item=one.item,
                content=float(one.content),
                source=one.source,
                confidence=_CONFIDENCE[one.evidence],
            )
            for one in fragrance.maxima
        ),
    )


def _colour(colour: Colour) -> BarColour:
    lightness, a, b = (float(value) for value in colour.lab)
    return BarColour(
        bands=tuple(float(band) for band in colour.bands or ()),
        lab=(lightness, a, b),
        source=colour.source,
        confidence=_CONFIDENCE[colour.evidence],
    )


def dosing_tank(tank: DosingTank) -> Tank:
    """A line's tank, in kg; without a rinse of its own the whole fill is the largest charge."""
    return Tank(
        heel=float(tank.heel_kg),
        fill=float(tank.fill_kg),
        largest_charge=float(tank.rinse_kg or tank.fill_kg),
        dedicated=tank.only is not None,
    )


def site_facts(line: LineFile, *, uncertainty_kg: float = 0.0) -> SiteFacts:
    """What the site states for comparing ways to flush. What is left out is not stated: no way rests on a guess,
    and rework counts only where the room for it is stated.
    """
    base = SiteFacts(
        rate_kg_h=float(line.rate_kg_h), slug_g=float(line.slug_g), uncertainty_kg=uncertainty_kg
    )
    stated = line.flushing
    if stated is None:
        return replace(base, rework_room_kg=0.0)
    return replace(
        base,
        flush_crew=stated.flush_crew,
        bin_labour_min=float(stated.bin_labour_min),
        conveyor_emptied=stated.conveyor_emptied,
        lockout_min=float(stated.lockout_min or 0),
        clean_crew=stated.clean_crew,
        cleanings=tuple(
            Cleaning(
                unit=one.unit,
                removed_share=float(one.removed_share),
                minutes=float(one.minutes),
                scraped=one.scraped,
            )
            for one in stated.cleanings
        ),
        restart_scrap_kg=float(stated.restart_scrap_kg),
        heels=None if stated.heels is None else {name: float(heel) for name, heel in stated.heels.items()},
        run_out_min=float(stated.run_out_min),
        run_out_good_share=float(stated.run_out_good_share),
        noodles_ready=stated.noodles_ready,
        incoming_in_outgoing=_optional(stated.incoming_in_outgoing),
        min_strength=_optional(stated.min_strength),
        rework_room_kg=float(stated.rework_room_kg or 0),
    )


def _optional(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def prices(plant: PlantFile) -> Prices:
    """The plant's prices; without any, one a kg of soap: ways are then ranked by the soap that they cost."""
    stated = plant.prices
    if stated is None:
        return Prices(soap_value=1.0, noodles=1.0)
    return Prices(
        soap_value=float(stated.soap_kg),
        rework_value=float(stated.rework_kg),
        noodles=float(stated.soap_kg if stated.noodles_kg is None else stated.noodles_kg),
        contribution_per_min=float(stated.contribution_min),
        labour_per_min=float(stated.labour_min),
    )


def rinse_costs(plant: PlantFile) -> RinseCosts | None:
    """What rinsing a tank costs, or None where the plant does not state it."""
    stated = plant.prices
    if stated is None or stated.rinse_each is None:
        return None
    return RinseCosts(per_unit=float(stated.rinse_kg), per_rinse=float(stated.rinse_each))


def rules(policy: LimitPolicy, on: date) -> Rules:
    """The plant's choices behind the limit, for a bar made on a day."""
    return Rules(
        on=on,
        jurisdiction=policy.jurisdiction,
        safety_factor=float(policy.safety_factor),
        mixing=policy.mixing,
        colour=ColourRule(
            warn_de=float(policy.colour.warn_de),
            limit_de=float(policy.colour.limit_de),
            straight_line=policy.colour.straight_line,
        )
        if policy.colour.apply
        else None,
        odour=OdourRule(difference=float(policy.odour.difference)) if policy.odour.apply else None,
    )
