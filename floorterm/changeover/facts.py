"""Facts of a transition: the closed set of plain answers that `when:` in the plant's YAML may ask for."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from floorterm.changeover.worksheet import FlushNote
from floorterm.library.model import FragranceFile, LineFile

Facts = Mapping[str, bool | str]

# A difference in lightness below this is not called darker or lighter (CIE L*; common practice, no source).
_LIGHTNESS_STEP = Decimal(3)


def dedicated(line: LineFile, tank: str) -> bool:
    """Whether a dosing tank of the line holds one fragrance only."""
    return any(found.id == tank and found.only is not None for found in line.tanks)


def facts_of(
    line: LineFile,
    outgoing: FragranceFile,
    incoming: FragranceFile,
    flush: FlushNote,
    whole_oils: Sequence[str] = (),
) -> dict[str, bool | str]:
    """The facts of one ordered pair on one line. `whole_oils` are label items that are whole oils."""
    lighter_by = incoming.colour.lab[0] - outgoing.colour.lab[0]
    darker_to_lighter = lighter_by > _LIGHTNESS_STEP
    gate = bool(flush.gate) or flush.status in ("deviation", "unreachable")
    tank, old_tank = incoming.tanks.get(line.id, ""), outgoing.tanks.get(line.id, "")
    named = {"line": line.id, "incoming_tank": tank, "outgoing_tank": old_tank}
    return {
        **{name: value for name, value in named.items() if value},
        "incoming_unscented": incoming.unscented,
        "outgoing_unscented": outgoing.unscented,
        "darker_to_lighter": darker_to_lighter,
        "lighter_to_darker": lighter_by < -_LIGHTNESS_STEP,
        "colour_change": incoming.colour.lab != outgoing.colour.lab,
        "allergen_governs": flush.governing is not None and flush.governing.criterion == "allergen_label",
        "allergen_limits": any(
            one.criterion == "allergen_label" and one.limit < 1 for one in flush.candidates
        ),
        "claim_gate": gate,
        "shared_tank": bool(tank) and not dedicated(line, tank),
        "same_tank": bool(tank) and tank == old_tank,
        "format_change": incoming.bar_format != outgoing.bar_format,
        "leave_on_incoming": incoming.leave_on,
        "whole_oil_label": flush.governing is not None and flush.governing.item in whole_oils,
        "strip_down": darker_to_lighter or incoming.unscented or gate or "dark" in outgoing.tags,
    }


def matches(when: Mapping[str, bool | str], facts: Facts) -> bool:
    """Whether every fact asked for has the value asked for; an empty mapping always matches."""
    return all(facts.get(name) == wanted for name, wanted in when.items())


def applies(applies_to: Sequence[str], incoming: FragranceFile | None) -> bool:
    """Whether a block for certain fragrances (ids or tags) is meant for the incoming one."""
    if not applies_to:
        return True
    return incoming is not None and bool({incoming.id, *incoming.tags} & set(applies_to))
