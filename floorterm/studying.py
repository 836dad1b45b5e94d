"""The time study of a plant, read from its record and its checklists."""

from datetime import date, datetime, time
from typing import TYPE_CHECKING

from floorterm.timestudy.study import Context, Study, study

if TYPE_CHECKING:
    from floorterm.library.model import Library
    from floorterm.plant_record import PlantRecord

_CLOCK_SET = ("clock.stepped",)  # the ledger's own kind


def study_between(plant: "PlantRecord", since: date, until: date) -> Study:
    """The study of the changeovers under way on the plant's local days from `since` up to, not with, `until`."""
    begin, end = (datetime.combine(day, time(), plant.zone) for day in (since, until))
    stepped = frozenset(ref.n for ref in plant.ledger.refs(kinds=_CLOCK_SET))
    return study(plant.works_between(begin, end), context_of(plant.library, stepped), plant.now())


def context_of(library: "Library", clock_set: frozenset[int] = frozenset()) -> Context:
    """Families by the fragrances' tags (a fragrance without tags is its own family), bars a minute by line."""
    return Context(
        families={one.id: ", ".join(one.tags) or one.id for one in library.fragrances.values()},
        bars_min={line.id: float(line.strokes_min * line.cavities) for line in library.lines.values()},
        clock_set=clock_set,
    )
