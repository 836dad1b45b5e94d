"""`floorterm lye`: dilution with its temperature, and what a spill takes. Estimates, never a permission."""

from typing import TYPE_CHECKING

import click

from floorterm.cli.common import Status, fail, json_option, language_option, print_json, put

if TYPE_CHECKING:
    from floorterm.lye import LyeError, Region

_REGION = click.option("--region", type=click.Choice(["EU", "US"]), default="EU", show_default=True)


@click.group()
def lye() -> None:
    """Dilution, temperature and spill of lye: estimates, never a permission.

    The supplier's current safety data sheet, the site's hazard assessment and a competent person prevail.
    """


def _refuse(fault: "LyeError", language: str) -> None:
    from floorterm.wording import sentence, words  # noqa: PLC0415

    fail(f"{sentence(fault.say, language)} {words('lye.print_refused', language)}")


@lye.command()
@click.option("--stock", type=float, required=True, help="Mass % of the stock; 100 is solid.")
@click.option("--target", type=float, required=True, help="Mass % wanted.")
@click.option("--kg", type=float, help="Kg of solution to make.")
@click.option("--litres", type=float, help="Litres of solution to make, measured at 20 °C.")
@click.option("--temperature", type=float, default=20.0, show_default=True, help="°C of stock and water.")
@click.option("--stock-temperature", type=float, help="°C of the stock, if other.")
@click.option("--water-temperature", type=float, help="°C of the water, if other.")
@click.option("--limit-temperature", type=float, help="Site limit in °C (default: that of plastic vessels).")
@click.option("--vessel", type=float, help="Working volume of the vessel in litres.")
@click.option(
    "--label", type=click.Choice(["none", "irritant", "1B", "1A", "corrosive"]), help="Class on label."
)
@click.option("--pressurised", is_flag=True, help="Anything in the task is under pressure.")
@_REGION
@language_option
@json_option
def dilute(
    stock: float,
    target: float,
    kg: float | None,
    litres: float | None,
    temperature: float,
    stock_temperature: float | None,
    water_temperature: float | None,
    limit_temperature: float | None,
    vessel: float | None,
    label: str | None,
    pressurised: bool,
    region: "Region",
    language: str,
    as_json: bool,
) -> None:
    """How much water, how much stock, in which order, how hot. Leaves with 1 where the estimate says stop."""
    from floorterm.cli.lye_writing import dilution_json, range_warning  # noqa: PLC0415
    from floorterm.lye import (  # noqa: PLC0415
        LyeError,
        between_regions,
        check_vessel,
        cross_check,
        estimate,
        judge,
        protection,
    )
    from floorterm.lye import dilute as reckon  # noqa: PLC0415
    from floorterm.review.lye_text import dilution_text  # noqa: PLC0415

    try:
        made = reckon(
            stock,
            target,
            total_kg=kg,
            total_l=litres,
            stock_c=temperature if stock_temperature is None else stock_temperature,
            water_c=temperature if water_temperature is None else water_temperature,
        )
        heat = estimate(made)
        judged = judge(made, heat, limit_c=limit_temperature)
        if vessel is not None:
            check_vessel(made, vessel, heat.peak_c)
        asked = protection(
            "L4" if made.solid else "L3",
            mass_pct=made.stock_pct,
            temperature_c=judged.hottest_c,
            pressurised=pressurised,
            limit_c=limit_temperature,
        )
        warnings = cross_check(target, label, region) if label else between_regions(target)
    except LyeError as fault:
        _refuse(fault, language)
        return
    warnings = (*asked.warnings, *warnings, *range_warning((*made.origins, *heat.origins)))
    if as_json:
        print_json(dilution_json(made, heat, judged, asked, warnings, language))
    else:
        put("\n".join(dilution_text(made, heat, judged, asked, warnings, region, language)))
    if judged.verdict == "stop":
        raise SystemExit(Status.SHORT)


@lye.command()
@click.option("--strength", type=float, required=True, help="Mass % of the lye on the floor.")
@click.option("--litres", type=float, help="Litres spilled.")
@click.option("--kg", type=float, help="Kg spilled.")
@click.option("--temperature", type=float, default=20.0, show_default=True, help="°C of the lye.")
@click.option(
    "--neutraliser", default="citric_anhydrous", show_default=True, help="Neutraliser in the kit, by name."
)
@click.option("--kit-kg", type=float, default=0.0, show_default=True, help="Kg of neutraliser in the kit.")
@click.option("--kit-pct", type=float, default=100.0, show_default=True, help="Its strength in mass %.")
@click.option("--absorbs", type=float, help="Litres that the kit's absorbent takes up.")
@click.option("--pressurised", is_flag=True, help="The leaking line is still under pressure.")
@_REGION
@language_option
@json_option
def spill(
    strength: float,
    litres: float | None,
    kg: float | None,
    temperature: float,
    neutraliser: str,
    kit_kg: float,
    kit_pct: float,
    absorbs: float | None,
    pressurised: bool,
    region: "Region",
    language: str,
    as_json: bool,
) -> None:
    """What was spilled, what the kit reaches, what to do. Leaves with 1 where the kit is not enough."""
    from floorterm.cli.lye_writing import spill_json  # noqa: PLC0415
    from floorterm.lye import Kit, LyeError, protection  # noqa: PLC0415
    from floorterm.lye import spill as reckon  # noqa: PLC0415
    from floorterm.review.lye_text import spill_text  # noqa: PLC0415

    try:
        kit = Kit(neutraliser=neutraliser, kg=kit_kg, pct=kit_pct, absorbs_l=absorbs)
        found = reckon(strength, litres=litres, kg=kg, temperature_c=temperature, kit=kit)
        asked = protection("L5", mass_pct=strength, temperature_c=temperature, pressurised=pressurised)
    except LyeError as fault:
        _refuse(fault, language)
        return
    if as_json:
        print_json(spill_json(found, asked, language))
    else:
        put("\n".join(spill_text(found, asked, region, language)))
    if found.advice != "absorb_then_residue":
        raise SystemExit(Status.SHORT)
