"""The state of one piece of work: nothing but a fold over its entries.

The types are here; `floorterm.changeover.fold` computes them and `floorterm.changeover.rules` asks them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Literal

from floorterm.changeover.acts import Disposal, SignStep
from floorterm.changeover.worksheet import Worksheet
from floorterm.lockout.state import LockoutState

Status = Literal["open", "paused", "released", "abandoned"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """One signed step: the act as it counts now (corrections applied), who signed it, and whether it kept its limits."""

    act: SignStep
    n: int
    at: datetime
    person: str
    name: str
    witness: str = ""
    witness_name: str = ""
    within: bool = True
    round: int = 1
    corrected_by: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """Something out of limits or reported. `n` is the number of the entry that raised it; `key`/`facts` word it."""

    n: int
    at: datetime
    step: str
    by: str
    by_name: str
    key: str
    facts: Mapping[str, str]
    critical: Literal["", "safety", "quality"] = ""
    stops: bool = False
    decision: Disposal | None = None
    decided_by: str = ""
    decided_n: int | None = None
    reason: str = ""

    @property
    def open(self) -> bool:
        """Whether it still waits for a disposition (`hold` keeps it waiting)."""
        return self.decision in (None, "hold")


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushProgress:
    """Where a flush step stands: kg required as revised last, and kg of line mass pushed so far."""

    required_kg: Decimal
    pushed_kg: Decimal
    revised_by: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTaken:
    """A note or a pause with its author, for the record of the work."""

    n: int
    at: datetime
    by_name: str
    text: str
    step: str = ""
    kind: str = "work.note"


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Everything known about one piece of work after its entries so far.

    `signed` holds the current round of every step; `history` every signature ever, in order of entry.
    `rounds` says how often a section has been begun. `holds` is set when the work ended: what the line holds.
    """

    work: str
    worksheet: Worksheet
    status: Status = "open"
    started_at: datetime
    started_by: str
    last_at: datetime
    last_n: int
    signed: Mapping[str, Signed] = field(default_factory=dict)
    history: tuple[Signed, ...] = ()
    rounds: Mapping[str, int] = field(default_factory=dict)
    deviations: tuple[Deviation, ...] = ()
    locks: Mapping[str, LockoutState] = field(default_factory=dict)
    flush: Mapping[str, FlushProgress] = field(default_factory=dict)
    notes: tuple[NoteTaken, ...] = ()
    paused_since: datetime | None = None
    paused_s: int = 0
    ended_at: datetime | None = None
    ended_by: str = ""
    holds: tuple[str, ...] = ()

    @property
    def title(self) -> tuple[str, str]:
        """(outgoing, incoming) ids of a changeover, or (procedure id, "")."""
        sheet = self.worksheet
        if sheet.procedure is not None:
            return sheet.procedure.id, ""
        return (sheet.outgoing.id if sheet.outgoing else ""), (sheet.incoming.id if sheet.incoming else "")
