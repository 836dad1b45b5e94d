"""Dilutions and spills of lye as people read them: every figure with its label, every source with its status.

Lines of text, the same on a command line and on a screen. An estimate, never a permission.
"""

import textwrap
from collections.abc import Iterable, Mapping, Sequence

from floorterm.languages import amount
from floorterm.lye import Dilution, Heat, Judgement, Origin, Protection, Region, Spill, band, standards
from floorterm.wording import Say, sentence, words

WIDTH = 74  # what an 80-column screen has beside its edges


def spoken(says: Iterable[Say], language: str) -> list[str]:
    """Sentences in a language."""
    return [sentence(say, language) for say in says]


def order_of_addition(language: str) -> list[str]:
    """In which order: water first, then lye."""
    return [words(f"lye.print_order_{n}", language) for n in range(1, 6)]


def spill_steps(language: str) -> list[str]:
    """What to do at a spill, first things first."""
    return [words(f"lye.print_spill_{n}", language) for n in range(1, 5)]


def _paragraph(out: list[str], text: str, mark: str = "") -> None:
    out.extend(textwrap.wrap(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark)))


def _figures(out: list[str], rows: Sequence[tuple[str, str]], language: str, width: int | None) -> None:
    """Every figure with its label beside it."""
    label = words("lye.label", language)
    head = [words(f"lye.print_{name}", language) for name in ("quantity", "value", "mark")]
    table: list[tuple[str, str, str]] = [(head[0], head[1], head[2])]
    table += [(name, amount(value, language), label) for name, value in rows]
    marks, right = (max(len(row[i]) for row in table) for i in (2, 1))
    left = max(len(row[0]) for row in table)
    if width is not None:
        left = min(left, width - right - marks - 4)
    table.insert(1, ("-" * left, "-" * right, "-" * marks))
    for name, value, mark in table:
        first, *rest = textwrap.wrap(name, left) or [""]
        out.append(f"{first:<{left}}  {value:>{right}}  {mark}".rstrip())
        out.extend(rest)


def _sources(out: list[str], origins: Iterable[Origin], language: str, confirmed: Mapping[str, str]) -> None:
    out.append("")
    out.append(words("lye.print_sources", language))
    for one in dict.fromkeys(origins):
        by = one.confirmed_by or confirmed.get(one.table, "")
        mark = "  " if by or not one.unconfirmed else "? "
        told = f"{one.table} ({words(f'lye.status.{one.status}', language)}): {one.source}"
        _paragraph(out, f"{told}; {words('lye.print_confirmed', language, by=by)}" if by else told, mark)


def _protection(out: list[str], asked: Protection, region: Region | None, language: str) -> None:

    out.append("")
    out.append(words("lye.print_class", language, asked=asked.asked_class))
    if asked.raised_by:
        causes = ", ".join(words(f"lye.print_cause_{one}", language) for one in asked.raised_by)
        _paragraph(out, words("lye.print_raised", language, task=asked.task_class, by=causes), "  ")
    for item in asked.items:
        out.append(f"  - {words(f'lye.item.{item.id}', language)}")
    if region:
        out.append(words("lye.print_standards", language, region=region))
        for one in standards(region):
            mark = "? " if one.origin.unconfirmed else "  "
            _paragraph(out, ": ".join(filter(None, (one.standard, one.mark))), mark)


def dilution_text(
    made: Dilution,
    heat: Heat,
    judged: Judgement,
    asked: Protection,
    warnings: Sequence[Say],
    region: Region,
    language: str,
    *,
    width: int | None = None,
    confirmed: Mapping[str, str] | None = None,
) -> tuple[str, ...]:
    """A dilution as people read it, in lines: verdict, figures, order, protection, sources.

    `width` is the room that its table has, where that is narrow; `confirmed` says which tables of the program's
    data a person of the site held against their source, and who.
    """
    out: list[str] = []

    title = "title_dilute_solid" if made.solid else "title_dilute"
    facts = {"stock": f"{made.stock_pct:g}", "target": f"{made.target_pct:g}"}
    out.append(words(f"lye.print_{title}", language, **facts))
    for text in spoken(
        (*judged.reasons, *judged.advice), language
    ):  # a stop is read first, also on a small screen
        _paragraph(out, text)
    _paragraph(out, words("lye.prevail", language))
    out.append("")

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
    _figures(out, rows, language, width)
    out.append("")
    _paragraph(out, words("lye.print_mean_only", language))
    out.append("")
    out.append(words("lye.print_order", language))
    for n, text in enumerate(order_of_addition(language), start=1):
        _paragraph(out, text, f"  {n} ")
    eu, us = band(made.target_pct, "EU"), band(made.target_pct, "US")
    out.append("")
    names = {key: words(f"lye.band.{one.name}", language) for key, one in (("eu", eu), ("us", us))}
    facts = {"strength": f"{made.target_pct:g}", **names}
    _paragraph(out, words("lye.print_band", language, **facts))
    for text in spoken(warnings, language):
        _paragraph(out, text, "! ")
    _protection(out, asked, region, language)
    _sources(
        out,
        (*made.origins, *heat.origins, *judged.origins, eu.origin, us.origin, *asked.origins),
        language,
        confirmed or {},
    )
    return tuple(out)


def spill_text(
    found: Spill,
    asked: Protection,
    region: Region,
    language: str,
    *,
    width: int | None = None,
    confirmed: Mapping[str, str] | None = None,
) -> tuple[str, ...]:
    """A spill as people read it, in lines: what to do first, figures after."""
    out: list[str] = []

    out.append(words("lye.print_title_spill", language, strength=f"{found.mass_pct:g}"))
    out.append("")
    _paragraph(out, words(f"lye.print_advice_{found.advice}", language))
    for n, text in enumerate(spill_steps(language), start=1):
        _paragraph(out, text, f"  {n} ")
    if found.tell_safety_officer:
        _paragraph(out, words("lye.print_tell", language), "! ")
    if found.reportable:
        _paragraph(out, words("lye.print_reportable", language), "! ")
    for text in spoken((*asked.warnings, *found.warnings), language):
        _paragraph(out, text, "! ")
    out.append("")
    name = words(f"lye.print_{found.neutraliser}", language)
    _figures(
        out,
        [
            (words("lye.print_spilled", language), f"{found.litres:.1f} L"),
            ("", f"{found.kg:.1f} kg"),
            (words("lye.print_naoh", language), f"{found.naoh_kg:.2f} kg"),
            (words("lye.print_whole", language, name=name), f"{found.neutraliser_kg:.1f} kg"),
            (words("lye.print_reach", language, name=name), f"{found.kit_naoh_kg:.2f} kg NaOH"),
            (words("lye.print_reach_l", language), f"{found.kit_l:.1f} L"),
        ],
        language,
        width,
    )
    _paragraph(out, words("lye.prevail", language))
    _protection(out, asked, region, language)
    _sources(out, (*found.origins, *asked.origins), language, confirmed or {})
    return tuple(out)
