"""What the shared dosing tanks of a line held last, as far as the record says. Pure."""

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from floorterm.library.model import Library


class Use(Struct, frozen=True, kw_only=True):
    """Fragrances that were dosed on a line once: `sure` surely, `perhaps` possibly (a work broken off or turned)."""

    sure: tuple[str, ...] = ()
    perhaps: tuple[str, ...] = ()


class Dosed(Struct, frozen=True, kw_only=True):
    """One fragrance on a line: the newest entry by which it was surely dosed, and perhaps; 0 is never."""

    fragrance: str
    sure: int = 0
    perhaps: int = 0


def use_of(sheet: Mapping[str, Any], *, released: bool) -> Use:
    """What an ended changeover dosed, by its last worksheet as it stands in the record.

    Fragrances that it was turned away from may have been filled in too.
    """
    incoming = (sheet["incoming"]["id"],) if "incoming" in sheet else ()
    traces = tuple(one["id"] for one in sheet.get("traces", ()))
    return Use(sure=incoming, perhaps=traces) if released else Use(perhaps=(*incoming, *traces))


def dosed(before: Iterable[Dosed], uses: Iterable[tuple[int, Use]]) -> tuple[Dosed, ...]:
    """What is kept of uses (each with its entry's number, the newest first) after those kept before.

    Only the newest of a fragrance counts: an older one is about the same tank.
    """
    sure = {one.fragrance: one.sure for one in before if one.sure}
    perhaps = {one.fragrance: one.perhaps for one in before if one.perhaps}
    for n, use in uses:
        for kept, names in ((sure, use.sure), (perhaps, use.perhaps)):
            kept.update({name: max(n, kept.get(name, 0)) for name in names})
    return tuple(
        Dosed(fragrance=name, sure=sure.get(name, 0), perhaps=perhaps.get(name, 0))
        for name in sorted({*sure, *perhaps})
    )


def uses_kept(kept: Iterable[Dosed]) -> Iterator[Use]:
    """The uses that were kept, the newest first."""
    kept = tuple(kept)
    for n in sorted({number for one in kept for number in (one.sure, one.perhaps) if number}, reverse=True):
        yield Use(
            sure=tuple(one.fragrance for one in kept if one.sure == n),
            perhaps=tuple(one.fragrance for one in kept if one.perhaps == n),
        )


def tanks_held(library: "Library", line: str, uses: Iterable[Use]) -> dict[str, str]:
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
