"""How `floorterm lye` shows its results: every figure with its label, every source with its status."""

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import click

from floorterm.cli.common import print_table

if TYPE_CHECKING:
    from floorterm.lye import Dilution, Heat, Judgement, Origin, Protection, Region, Spill
    from floorterm.wording import Say


def range_warning(origins: "Iterable[Origin]") -> "tuple[Say, ...]":
    """A warning where an enthalpy lies outside the range that its source states for itself."""
    from floorterm.wording import Say  # noqa: PLC0415

    outside = any(one.status == "computed-outside-range" for one in origins)
    return (Say("lye.warning.outside_range"),) if outside else ()


def _spoken(says: "Iterable[Say]", language: str) -> list[str]:
    from floorterm.wording import sentence  # noqa: PLC0415

    return [sentence(say, language) for say in says]


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
        "reasons": _spoken(judged.reasons, language),
        "advice": _spoken(judged.advice, language),
        "order": _order(language),
        "bands": _bands_json(made.target_pct),
        "protection": _protection_json(asked, language),
        "warnings": _spoken(warnings, language),
        "sources": _origins_json((*made.origins, *heat.origins, *judged.origins, *bands, *asked.origins)),
    }


def _order(language: str) -> list[str]:
    from floorterm.wording import words  # noqa: PLC0415

    return [words(f"lye.print_order_{n}", language) for n in range(1, 6)]


def _print_figures(rows: Sequence[tuple[str, str]], language: str) -> None:
    """Every figure with its label beside it."""
    from floorterm.wording import words  # noqa: PLC0415

    label = words("lye.label", language)
    print_table(
        [words(f"lye.print_{name}", language) for name in ("quantity", "value", "mark")],
        [(name, value, label) for name, value in rows],
        numbers=(1,),
    )


def _paragraph(text: str, mark: str = "") -> None:
    click.echo(textwrap.fill(text, 80, initial_indent=mark, subsequent_indent=" " * len(mark)))


def _print_sources(origins: "Iterable[Origin]", language: str) -> None:
    from floorterm.wording import words  # noqa: PLC0415

    click.echo("")
    click.echo(words("lye.print_sources", language))
    for one in dict.fromkeys(origins):
        mark = "? " if one.unconfirmed else "  "
        _paragraph(f"{one.table} ({words(f'lye.status.{one.status}', language)}): {one.source}", mark)


def _print_protection(asked: "Protection", region: "Region | None", language: str) -> None:
    from floorterm.lye import standards  # noqa: PLC0415
    from floorterm.wording import words  # noqa: PLC0415

    click.echo("")
    click.echo(words("lye.print_class", language, asked=asked.asked_class))
    if asked.raised_by:
        causes = ", ".join(words(f"lye.print_cause_{one}", language) for one in asked.raised_by)
        _paragraph(words("lye.print_raised", language, task=asked.task_class, by=causes), "  ")
    for item in asked.items:
        click.echo(f"  - {words(f'lye.item.{item.id}', language)}")
    if region:
        click.echo(words("lye.print_standards", language, region=region))
        for one in standards(region):
            mark = "? " if one.origin.unconfirmed else "  "
            _paragraph(": ".join(filter(None, (one.standard, one.mark))), mark)


def print_dilution(
    made: "Dilution",
    heat: "Heat",
    judged: "Judgement",
    asked: "Protection",
    warnings: "Sequence[Say]",
    region: "Region",
    language: str,
) -> None:
    """A dilution as people read it: figures, verdict, order, protection, sources."""
    from floorterm.lye import band  # noqa: PLC0415
    from floorterm.wording import words  # noqa: PLC0415

    title = "title_dilute_solid" if made.solid else "title_dilute"
    facts = {"stock": f"{made.stock_pct:g}", "target": f"{made.target_pct:g}"}
    click.echo(words(f"lye.print_{title}", language, **facts))
    _paragraph(words("lye.prevail", language))
    click.echo("")

    def name(key: str, **more: str) -> str:
        return words(f"lye.print_{key}", language, **more)

    rows = [(name("water"), f"{made.water_kg:.2f} kg"), ("", f"{made.water_l:.2f} L")]
    rows.append((name("solid" if made.solid else "stock"), f"{made.stock_kg:.2f} kg"))
    if made.stock_l is not None:
        rows.append(("", f"{made.stock_l:.2f} L"))
    rows.append((name("naoh"), f"{made.naoh_kg:.2f} kg"))
    rows.append((name("total", t=f"{made.measured_at_c:g}"), f"{made.total_kg:.2f} kg"))
    rows.append(("", f"{made.total_l:.2f} L"))
    if made.parts_l is not None:
        rows.append((name("parts"), f"{made.parts_l:.2f} L"))
    rows.append((name("end"), f"{heat.end_c:.0f} °C"))
    rows.append((name("peak", at=f"{heat.peak_pct:g}"), f"{heat.peak_c:.0f} °C"))
    _print_figures(rows, language)
    click.echo("")
    for text in _spoken((*judged.reasons, *judged.advice), language):
        _paragraph(text)
    _paragraph(words("lye.print_mean_only", language))
    click.echo("")
    click.echo(words("lye.print_order", language))
    for n, text in enumerate(_order(language), start=1):
        _paragraph(text, f"  {n} ")
    eu, us = band(made.target_pct, "EU"), band(made.target_pct, "US")
    click.echo("")
    names = {key: words(f"lye.band.{one.name}", language) for key, one in (("eu", eu), ("us", us))}
    facts = {"strength": f"{made.target_pct:g}", **names}
    _paragraph(words("lye.print_band", language, **facts))
    for text in _spoken(warnings, language):
        _paragraph(text, "! ")
    _print_protection(asked, region, language)
    _print_sources(
        (*made.origins, *heat.origins, *judged.origins, eu.origin, us.origin, *asked.origins), language
    )


def _steps(language: str) -> list[str]:
    from floorterm.wording import words  # noqa: PLC0415

    return [words(f"lye.print_spill_{n}", language) for n in range(1, 5)]


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
        "steps": _steps(language),
        "protection": _protection_json(asked, language),
        "warnings": _spoken((*asked.warnings, *found.warnings), language),
        "sources": _origins_json((*found.origins, *asked.origins)),
    }


def print_spill(found: "Spill", asked: "Protection", region: "Region", language: str) -> None:
    """A spill as people read it: what to do first, figures after."""
    from floorterm.wording import words  # noqa: PLC0415

    click.echo(words("lye.print_title_spill", language, strength=f"{found.mass_pct:g}"))
    click.echo("")
    _paragraph(words(f"lye.print_advice_{found.advice}", language))
    for n, text in enumerate(_steps(language), start=1):
        _paragraph(text, f"  {n} ")
    if found.tell_safety_officer:
        _paragraph(words("lye.print_tell", language), "! ")
    if found.reportable:
        _paragraph(words("lye.print_reportable", language), "! ")
    for text in _spoken((*asked.warnings, *found.warnings), language):
        _paragraph(text, "! ")
    click.echo("")
    name = words(f"lye.print_{found.neutraliser}", language)
    _print_figures(
        [
            (words("lye.print_spilled", language), f"{found.litres:.1f} L"),
            ("", f"{found.kg:.1f} kg"),
            (words("lye.print_naoh", language), f"{found.naoh_kg:.2f} kg"),
            (words("lye.print_whole", language, name=name), f"{found.neutraliser_kg:.1f} kg"),
            (words("lye.print_reach", language, name=name), f"{found.kit_naoh_kg:.2f} kg NaOH"),
            (words("lye.print_reach_l", language), f"{found.kit_l:.1f} L"),
        ],
        language,
    )
    _paragraph(words("lye.prevail", language))
    _print_protection(asked, region, language)
    _print_sources((*found.origins, *asked.origins), language)
