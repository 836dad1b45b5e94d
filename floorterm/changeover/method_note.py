"""What a reading that is worked out takes along on the worksheet: the plant's rule, the bar, its standard."""

from decimal import Decimal

from floorterm.changeover.faults import ComposeError
from floorterm.changeover.worksheet import MethodNote
from floorterm.library.model import FragranceFile, MethodSpec, PlantFile

_RISK = Decimal("0.05")  # of calling two smells different that are the same, where the step does not say


def method_note(
    spec: MethodSpec | None, plant: PlantFile, incoming: FragranceFile | None
) -> MethodNote | None:
    """The method with all that it takes. Raises ComposeError where the files do not say it."""
    if spec is None:
        return None
    rule = plant.net_content
    return MethodNote(
        name=spec.name,
        lot=spec.lot or 0,
        cavities=spec.cavities or 1,
        reads=spec.reads or "lab",
        risk=_RISK if spec.risk is None else spec.risk,
        level=spec.level or "II",
        aql=spec.aql or "",
        nominal_g=_nominal_g(plant, incoming) if spec.name == "masses" else Decimal(0),
        regime=rule.regime,
        plan=rule.plan,
        packed_pct=rule.dried.packed_pct if rule.dried else None,
        shop_pct=rule.dried.shop_pct if rule.dried else None,
        standard=_standard(spec, incoming) if spec.name == "colour" else (),
        dose=incoming.dose if incoming is not None else Decimal(0),
    )


def _nominal_g(plant: PlantFile, incoming: FragranceFile | None) -> Decimal:
    named = incoming.bar_format if incoming is not None else ""
    for one in plant.bar_formats:
        if one.id == named:
            return one.nominal_g
    raise ComposeError(f"plant.yaml names no mass for the bar format {named!r} (bar_formats: nominal_g).")


def _standard(spec: MethodSpec, incoming: FragranceFile | None) -> tuple[Decimal, ...]:
    colour = incoming.colour if incoming is not None else None
    reads = spec.reads or "lab"
    found = colour and (colour.bands if reads == "bands" else colour.lab)
    if not found:
        name = incoming.name.en if incoming is not None else "a procedure without an incoming fragrance"
        raise ComposeError(f"The colour standard of {name} has no {reads} (colour: {reads}).")
    return tuple(Decimal(str(one)) for one in found)
