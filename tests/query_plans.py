"""How the database would answer what the program really asks: statements as they are issued, then their plans."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import Engine, event

from floorterm.changeover.acts import Note
from floorterm.changeover.standing import STANDS
from floorterm.changeover.worksheet import to_json
from floorterm.entries import Draft
from floorterm.inspecting import inspections_due, people_trained
from floorterm.plant import Plant, Who
from floorterm.review.lockout_audit import audit_period, month_of
from floorterm.shift_review import review_of, shift_to_review
from floorterm.terminal.plain import locks_text, next_text, review_text, shift_text, status_text
from floorterm.terminal.views.shown import work_view


@dataclass(frozen=True)
class Statement:
    """A statement about entries with what filled its places."""

    text: str
    given: Any

    @property
    def asks_for_times(self) -> bool:
        """Whether it is about a period."""
        return "entries.at >=" in self.text or "entries.at <" in self.text


@contextmanager
def issued() -> Iterator[list[Statement]]:
    """Every statement about entries that is issued meanwhile."""
    kept: list[Statement] = []

    def note(_connection: Any, _cursor: Any, text: str, given: Any, _context: Any, _many: bool) -> None:
        if "entries" in text and "INSERT" not in text:
            kept.append(Statement(text, given))

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield kept
    finally:
        event.remove(Engine, "before_cursor_execute", note)


def everything_asked(plant: Plant) -> None:
    """What status, next, locks, shift, the audit of a month, inspections, training and two signatures ask."""
    plant = Plant(plant.library, plant.ledger, "T1")  # one that has read nothing yet
    list(status_text(plant, "en"))
    list(shift_text(plant, "en"))
    list(review_text(review_of(plant, shift_to_review(plant)), "en"))
    for line in plant.library.lines:
        list(locks_text(plant, line, None, "en"))
        plant.tanks(line)
        plant.calibration(line)
        plant.untold_works(line)
    state = plant.line_now("L1").works[0]
    list(next_text(plant, work_view(plant, state, None, "en"), "en"))
    plant.works_between(plant.now() - timedelta(days=2), plant.now() - timedelta(days=1))
    audit_period(plant, *month_of(plant.today()))
    inspections_due(plant)
    people_trained(plant)
    plant.approval()
    person = Who(plant.ledger.person("RO"), "pin")
    plant.uninformed("RO")
    plant.act(state.work, Note(text="warm"), person, key=plant.ledger.new_id())
    plant.start_procedure(person, "L1", "sensor-lens", plant.ledger.new_id())
    plant.ledger.append(Draft(kind=STANDS, key=plant.ledger.new_id(), value=to_json(plant.standing())))
    Plant(plant.library, plant.ledger, "T1").lines()
