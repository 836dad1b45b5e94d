"""The plant's second place for seals, visited in a thread of its own: where it hangs, no key waits for it."""

import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorterm.ledger import LedgerError
    from floorterm.plant import Plant

PATIENCE_S = 60.0  # a drive that takes longer for one line is taken for away


class SecondPlace:
    """What became of the last visit. `steady` counts seconds; `look` and all else belong to the screens' thread."""

    def __init__(self, steady: Callable[[], float]) -> None:
        self.fault: LedgerError | None = None
        self.since: datetime | None = None  # since when it is away
        self._steady = steady
        self._visit: threading.Thread | None = None
        self._began = 0.0
        self._said: type[LedgerError] | None = None

    def look(self, plant: "Plant") -> None:
        """Bring what is due and owed, unless a visit is under way already."""
        witness = plant.library.plant.record.witness
        if witness is None:
            return
        if self._visit is not None and self._visit.is_alive():
            if self._steady() - self._began > PATIENCE_S:
                self._away(plant, witness)
            return
        self._began = self._steady()
        # a daemon: a drive that never answers must not keep the program from ending
        self._visit = threading.Thread(target=self._go, args=(plant, Path(witness)), daemon=True)
        self._visit.start()

    def news(self) -> "LedgerError | None":
        """The fault, if it is of another kind than the one that was asked for last."""
        fault = self.fault
        kind = None if fault is None else type(fault)
        if kind is self._said:
            return None
        self._said = kind
        return fault

    def _away(self, plant: "Plant", witness: str) -> None:
        from floorterm.ledger.proof_faults import WitnessAwayError  # noqa: PLC0415
        from floorterm.wording import words  # noqa: PLC0415

        self._told(plant, WitnessAwayError(path=witness, reason=words("proof.no_answer")))

    def _go(self, plant: "Plant", witness: Path) -> None:
        """One visit. Only the ledger is used here: the plant's own cache belongs to the screens' thread."""
        from floorterm.ledger import LedgerError  # noqa: PLC0415
        from floorterm.sealing import keep  # noqa: PLC0415

        try:
            keep(plant.ledger, plant.library.plant.shifts, plant.zone, witness, plant.terminal)
        except LedgerError as fault:
            self._told(plant, fault)
        else:
            self.fault = self.since = None

    def _told(self, plant: "Plant", fault: "LedgerError") -> None:
        self.since = self.since or plant.now()
        self.fault = fault
