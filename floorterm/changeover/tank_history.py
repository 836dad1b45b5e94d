"""What the shared dosing tanks of a line held last, as far as the record says. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass

from floorterm.changeover.state import State
from floorterm.library.model import Library


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Fragrances that were dosed on a line once: `sure` surely, `perhaps` possibly (a work broken off or turned)."""

    sure: tuple[str, ...] = ()
    perhaps: tuple[str, ...] = ()


def use_of(state: State, *, released: bool) -> Use:
    """What an ended changeover dosed; fragrances that it was turned away from may have been filled in too."""
    sheet = state.worksheet
    incoming = (sheet.incoming.id,) if sheet.incoming else ()
    traces = tuple(one.id for one in sheet.traces)
    return Use(sure=incoming, perhaps=traces) if released else Use(perhaps=(*incoming, *traces))


def tanks_held(library: Library, line: str, uses: Iterable[Use]) -> dict[str, str]:
    """The fragrance that each tank of a line held last, by tank; tanks that the record does not settle are missing.

    `uses`: the newest first. What was only perhaps dosed settles nothing and hides what was before.
    """
    waiting = {tank.id for tank in library.lines[line].tanks if tank.only is None}
    found: dict[str, str] = {}

    def tank_of(name: str) -> str:
        known = library.fragrances.get(name)
        return known.tanks.get(line, "") if known else ""

    for use in uses:
        if not waiting:
            break
        for name in use.sure:
            if tank_of(name) in waiting:
                found[tank_of(name)] = name
                waiting.remove(tank_of(name))
        waiting -= {tank_of(name) for name in use.perhaps}
    return found
