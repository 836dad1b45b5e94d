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


class SigningExtraError(LedgerError):
    """Checkpoints are asked for, and the library that signs is not installed."""

    KEY = "proof.signing_extra"


class KeyFaultError(LedgerError):
    """A key, its name or its file cannot be used."""

    KEY = "proof.key_fault"


class NoteFaultError(LedgerError):
    """A text is no signed note."""

    KEY = "proof.note_fault"


class SignatureFaultError(LedgerError):
    """The key did not sign this text."""

    KEY = "proof.signature_fault"


class CheckpointFaultError(LedgerError):
    """A text is no checkpoint, or no proof between two."""

    KEY = "proof.checkpoint_fault"


class PartOnlyError(LedgerError):
    """A root needs every entry from the first on."""

    KEY = "proof.part_only"
