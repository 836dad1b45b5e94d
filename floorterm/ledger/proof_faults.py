"""What can go wrong with seals and checkpoints outside the ledger, each with a sentence of `proof.json`."""

from floorterm.ledger.faults import LedgerError


class WitnessLineError(LedgerError):
    """A line of a witness file is no seal; `line` counts from 1."""

    KEY = "proof.witness_line"


class WitnessAwayError(LedgerError):
    """The witness file cannot be read or written where it should be."""

    KEY = "proof.witness_away"


class WitnessDiffersError(LedgerError):
    """The newest seal of this chain in the witness file is not that of this ledger: nothing is added to the file."""

    KEY = "proof.witness_differs"
