"""What can go wrong with copies of the record, restoring, layouts and archives. Sentences in `copies.json`."""

from floorterm.ledger.faults import LedgerError, NewerLedgerError


class CopyNotSoundError(LedgerError):
    """A copy does not verify, so it is neither put in place nor taken for a drill."""

    KEY = "copies.not_sound"


class NotWrittenError(LedgerError):
    """A file that is to be made cannot be written: no permission, no room, a disk that fails."""

    KEY = "copies.not_written"


class OtherLedgerError(LedgerError):
    """A copy, a seal or a file in place belongs to another ledger."""

    KEY = "copies.other_ledger"


class MovedOnError(LedgerError):
    """The ledger in place took entries while two people signed for a copy: they were told of fewer than it has."""

    KEY = "copies.moved_on"


class OlderCopyError(LedgerError):
    """The ledger in place ends before an entry that this terminal saw: an older copy was put there."""

    KEY = "copies.older"


class AnotherHistoryError(LedgerError):
    """An entry that this terminal saw is another one in the ledger that is in place."""

    KEY = "copies.another_history"


class NotOfThisHistoryError(LedgerError):
    """The head of a copy is no entry of the live ledger."""

    KEY = "copies.not_this_history"


class MoveUnfinishedError(LedgerError):
    """A copy of a ledger stands on a server, whole, and is not in use: its move or restore was broken off."""

    KEY = "copies.move_unfinished"


class OldLayoutError(LedgerError):
    """The tables are of an older layout than this version writes: `floorterm migrate` brings them up to date."""

    KEY = "copies.old_layout"


class MigrationFaultError(LedgerError):
    """A step to a newer layout would have changed what was signed; it was undone."""

    KEY = "copies.migration"


def check_layout(found: int, wanted: int, path: str) -> None:
    """Raise OldLayoutError or NewerLedgerError unless a ledger of the layout `found` may be written as `wanted`."""
    if found > wanted:
        raise NewerLedgerError(path=path, version=found, known=wanted)
    if found != wanted:
        raise OldLayoutError(path=path, found=found, wanted=wanted)


class YearNotOverError(LedgerError):
    """A year is archived when it is over in the plant's calendar."""

    KEY = "copies.year_not_over"


class EmptyYearError(LedgerError):
    """A year in which nothing was recorded has no archive."""

    KEY = "copies.empty_year"


class KeepRuleError(LedgerError):
    """How many backups to keep cannot be read."""

    KEY = "copies.keep_rule"
