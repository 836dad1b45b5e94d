"""How `floorterm lye` writes its results for programs; for people `floorterm.review.lye_text` words them."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from floorterm.review.lye_text import order_of_addition, spill_steps, spoken

if TYPE_CHECKING:
    from floorterm.lye import Dilution, Heat, Judgement, Origin, Protection, Spill
    from floorterm.wording import Say


def range_warning(origins: "Iterable[Origin]") -> "tuple[Say, ...]":
    """A warning where an enthalpy lies outside the range that its source states for itself."""
    from floorterm.wording import Say  # noqa: PLC0415

    outside = any(one.status == "computed-outside-range" for one in origins)
    return (Say("lye.warning.outside_range"),) if outside else ()


def _origins_json(origins: "Iterable[Origin]") -> list[dict[str, Any]]:
    return [
        {
            "table": one.table,
            "source": one.source,
            "status": one.status,
            "confirmed_by": one.confirmed_by,
            "unconfirmed": one.unconfirmed,
        }
        for one in dict.fromkeys(origins)
    ]


def _caution_json(language: str) -> dict[str, str]:
    from floorterm.wording import words  # noqa: PLC0415

    return {"label": words("lye.label", language), "prevails": words("lye.prevail", language)}


def _protection_json(asked: "Protection", language: str) -> dict[str, Any]:
    from floorterm.wording import words  # noqa: PLC0415

    return {
        "task_class": asked.task_class,
        "asked_class": asked.asked_class,
        "raised_by": list(asked.raised_by),
        "items": [
            {"id": one.id, "slot": one.slot, "text": words(f"lye.item.{one.id}", language)}
            for one in asked.items
        ],
    }


def _bands_json(mass_pct: float) -> dict[str, str]:
    from floorterm.lye import band  # noqa: PLC0415

    return {"EU": band(mass_pct, "EU").name, "US": band(mass_pct, "US").name}


def dilution_json(
    made: "Dilution",
    heat: "Heat",
    judged: "Judgement",
    asked: "Protection",
    warnings: "Sequence[Say]",
    language: str,
) -> dict[str, Any]:
    """A dilution as a document; keys with units in snake_case."""
    from floorterm.lye import band  # noqa: PLC0415

    bands = [band(made.target_pct, "EU").origin, band(made.target_pct, "US").origin]
    return {
        **_caution_json(language),
        "stock_pct": made.stock_pct,
        "target_pct": made.target_pct,
        "solid": made.solid,
        "stock_kg": made.stock_kg,
        "water_kg": made.water_kg,
        "total_kg": made.total_kg,
        "naoh_kg": made.naoh_kg,
        "stock_l": made.stock_l,
        "water_l": made.water_l,
        "total_l": made.total_l,
        "parts_l": made.parts_l,
        "stock_c": made.stock_c,
        "water_c": made.water_c,
        "end_c": heat.end_c,
        "peak_c": heat.peak_c,
        "peak_pct": heat.peak_pct,
        "limit_c": judged.limit_c,
        "hottest_c": judged.hottest_c,
        "verdict": judged.verdict,
        "reasons": spoken(judged.reasons, language),
        "advice": spoken(judged.advice, language),
        "order": order_of_addition(language),
        "bands": _bands_json(made.target_pct),
        "protection": _protection_json(asked, language),
        "warnings": spoken(warnings, language),
        "sources": _origins_json((*made.origins, *heat.origins, *judged.origins, *bands, *asked.origins)),
    }


def spill_json(found: "Spill", asked: "Protection", language: str) -> dict[str, Any]:
    """A spill as a document; keys with units in snake_case."""
    return {
        **_caution_json(language),
        "mass_pct": found.mass_pct,
        "litres": found.litres,
        "kg": found.kg,
        "temperature_c": found.temperature_c,
        "naoh_kg": found.naoh_kg,
        "naoh_mol": found.naoh_mol,
        "neutraliser": found.neutraliser,
        "neutraliser_kg": found.neutraliser_kg,
        "kit_naoh_kg": found.kit_naoh_kg,
        "kit_l": found.kit_l,
        "advice": found.advice,
        "tell_safety_officer": found.tell_safety_officer,
        "reportable": found.reportable,
        "steps": spill_steps(language),
        "protection": _protection_json(asked, language),
        "warnings": spoken((*asked.warnings, *found.warnings), language),
        "sources": _origins_json((*found.origins, *asked.origins)),
    }
