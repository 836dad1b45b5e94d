"""What several people may expect of one record, without any database: the model that a simulation is held against."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

from floorterm.entries import Draft, Entry


class Told(Enum):
    """What a person was told of an act in the end."""

    RECORDED = auto()
    NOT_RECORDED = auto()
    NOTHING_SURE = auto()  # not known, or the program ended before it could say


@dataclass
class Act:
    """One act of one person, tried once or again with the same key."""

    drafts: tuple[Draft, ...]
    step: int = 0  # the step that it signs, 0 for none: only the next one may be signed, by one person
    began: int = 0
    ended: int = 0
    told: Told = Told.NOT_RECORDED
    entries: list[Entry] = field(default_factory=list)

    def begin(self, moment: int) -> bool:
        """Try it; True if nothing can have come of it before. Whoever is killed from here on learns nothing."""
        fresh = self.told is Told.NOT_RECORDED
        if fresh:
            self.began = moment
            self.told = Told.NOTHING_SURE
        return fresh


def faults(acts: Sequence[Act], entries: Sequence[Entry], start: int) -> list[str]:
    """Everything in the record that a person who was told all this must not find."""
    found = []
    of_key = {entry.key: entry for entry in entries}
    if len(of_key) != len(entries):
        found.append("one key twice")
    line: list[tuple[int, Act]] = []
    for act in acts:
        there = [of_key[draft.key] for draft in act.drafts if draft.key in of_key]
        name = act.drafts[0].key
        if act.told is Told.RECORDED and there != act.entries:
            found.append(f"{name} was acknowledged, and is gone or another")
        elif act.told is Told.NOT_RECORDED and there:
            found.append(f"{name} was said not to be recorded, and is there")
        elif there and [entry.n for entry in there] != [*range(there[0].n, there[0].n + len(act.drafts))]:
            found.append(f"{name} is there in part")
        if there:
            line.append((there[0].n, act))
    line.sort(key=lambda it: it[0])
    if sum(len(act.drafts) for _, act in line) != len(entries) - start:
        found.append("entries that nobody made")
    steps = [act.step for _, act in line if act.step]
    if steps != [*range(1, len(steps) + 1)]:
        found.append(f"steps signed in this order: {steps}")
    latest = 0  # the latest beginning of an act so far; none that had ended before it may come after it
    for _, act in line:
        if act.told is Told.RECORDED and act.ended < latest:
            found.append(f"{act.drafts[0].key} stands behind one that began after it was acknowledged")
        latest = max(latest, act.began)
    return found
