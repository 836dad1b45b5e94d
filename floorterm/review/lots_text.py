"""Lots as words: the row of a lot that was found, the lines of an answer on a screen."""

from datetime import tzinfo

from floorterm.genealogy.model import Lot, Past
from floorterm.genealogy.trace import Found
from floorterm.wording import words


def renamed_lines(lot: Lot, past: Past, language: str) -> tuple[str, ...]:
    """What corrections say of a lot's name: under another name the answer is another one."""
    return tuple(
        words("lots.renamed", language, was=one.was.name, now=one.now.name, n=one.n)
        for one in past.renamings(lot)
    )


def found_row(one: Found, zone: tzinfo, language: str) -> tuple[str, ...]:
    """Sort, lot, line, filled from and to, kg, and how it touched."""
    made, taken = one.link.made, one.link.taken
    how = [words("lots.carried" if one.link.carried else "lots.fed", language)]
    if taken.share_pct is not None:
        how.append(f"{taken.share_pct.normalize():f} %")
    how += [words(f"lots.fact_{name}", language, number=said) for name, said in taken.facts]
    return (
        "  " * (one.depth - 1) + words(f"lots.sort_{one.lot.sort}", language),
        one.lot.name,
        made.line,
        f"{made.begun.astimezone(zone):%Y-%m-%d %H:%M}",
        f"{made.at.astimezone(zone):%Y-%m-%d %H:%M}",
        words("lots.not_weighed", language) if made.kg is None else f"{made.kg:f} kg",
        ", ".join(how),
    )
