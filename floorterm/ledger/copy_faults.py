"""What can go wrong with copies of the record, restoring, layouts and archives. Sentences in `copies.json`."""

from floorterm.ledger.faults import LedgerError


class CopyNotSoundError(LedgerError):
    """A copy does not verify, so it is neither put in place nor taken for a drill."""

    KEY = "copies.not_sound"


class OtherLedgerError(LedgerError):
    """A copy, a seal or a file in place belongs to another ledger."""

    KEY = "copies.other_ledger"


class OlderCopyError(LedgerError):
    """The ledger in place ends before an entry that this terminal saw: an older copy was put there."""

    KEY = "copies.older"


class AnotherHistoryError(LedgerError):
    """An entry that this terminal saw is another one in the ledger that is in place."""

    KEY = "copies.another_history"


class NotOfThisHistoryError(LedgerError):
    """The head of a copy is no entry of the live ledger."""

    KEY = "copies.not_this_history"


class KeepRuleError(LedgerError):
    """How many backups to keep cannot be read."""

    KEY = "copies.keep_rule"
