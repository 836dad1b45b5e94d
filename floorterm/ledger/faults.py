"""What can go wrong with the record, each with a sentence that a person at the line understands.

A `LedgerError` says that nothing was recorded, with one exception that says so itself: `OutcomeUnknownError`.
The sentences stand in the wording catalogue `ledger.json`; `say` carries key and facts, `str()` is the
English sentence.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import ClassVar

from floorterm.wording import Fact, Refusal, Say, sentence


class LedgerError(Exception):
    """The ledger did not do what was asked. `say` is the sentence in every language."""

    KEY: ClassVar[str] = "ledger.fault"

    def __init__(self, **facts: Fact) -> None:
        self.say = Say(self.KEY, facts)
        super().__init__(sentence(self.say))


# --- the file ---------------------------------------------------------------------------------------


class LedgerMissingError(LedgerError):
    """There is no file at the path, or it went away while the ledger was open."""

    KEY = "ledger.missing"


class LedgerEmptyError(LedgerError):
    """The file has zero length: SQLite would take it for an empty database without a word."""

    KEY = "ledger.empty"


class LedgerExistsError(LedgerError):
    """A file stands where a new one was to be written; nothing is ever overwritten."""

    KEY = "ledger.exists"


class NotALedgerError(LedgerError):
    """The file is no database, or a database of another program."""

    KEY = "ledger.not_ours"


class NotAnExportError(LedgerError):
    """Several files are to be verified as one chain, and one of them is no export."""

    KEY = "ledger.not_an_export"


class NewerLedgerError(LedgerError):
    """The ledger was written by a newer version of the program."""

    KEY = "ledger.newer"


class NetworkDriveError(LedgerError):
    """The file lies on a network file system, whose locks are unreliable."""

    KEY = "ledger.network"


class LedgerReplacedError(LedgerError):
    """The file at the path is no longer the one that was opened."""

    KEY = "ledger.replaced"


class LedgerDamagedError(LedgerError):
    """SQLite finds the file damaged."""

    KEY = "ledger.damaged"


class LedgerPartMissingError(LedgerDamagedError):
    """A table or a column of a ledger on a server is gone."""

    KEY = "ledger.part_missing"


class LedgerCannotOpenError(LedgerError):
    """The file or its folder may not be opened by this account."""

    KEY = "ledger.cannot_open"


class LedgerSettingError(LedgerError):
    """A connection does not keep the settings that make a recorded entry durable."""

    KEY = "ledger.setting"


class LedgerGuardsOffError(LedgerError):
    """A server's setting for this account or database keeps the ledger's guards from working."""

    KEY = "ledger.guards_off"


class OldSqliteError(LedgerError):
    """The SQLite library of this Python is too old."""

    KEY = "ledger.old_sqlite"


class ServerExtraError(LedgerError):
    """A server is named, and the driver for it is not installed."""

    KEY = "ledger.server_extra"


class ServerUrlError(LedgerError):
    """The URL of the server cannot be read, or carries what it may not."""

    KEY = "ledger.server_url"


class ServerAccountError(LedgerError):
    """The server does not let this account in, or not do what a terminal does."""

    KEY = "ledger.server_account"


class OldServerError(LedgerError):
    """The server is older than what the ledger needs."""

    KEY = "ledger.old_server"


class TimeZoneError(LedgerError):
    """The plant's time zone is not known here."""

    KEY = "ledger.time_zone"


# --- recording --------------------------------------------------------------------------------------


class LedgerBusyError(LedgerError):
    """Somebody else held the ledger for longer than the waiting time."""

    KEY = "ledger.busy"


class LedgerFullError(LedgerError):
    """The disk is full."""

    KEY = "ledger.full"


class LedgerReadOnlyError(LedgerError):
    """The file can be read, not written, or was opened for reading only."""

    KEY = "ledger.read_only"


class LedgerDiskError(LedgerError):
    """The disk reported an error before the commit; nothing was recorded."""

    KEY = "ledger.disk"


class OutcomeUnknownError(LedgerError):
    """The disk failed during the commit and the key could not be looked up: recorded or not is not known."""

    KEY = "ledger.outcome_unknown"


class RecordSilentError(LedgerError):
    """The record was asked something small, and neither an answer nor a fault came in time."""

    KEY = "ledger.silent"


class ServerLostError(LedgerError):
    """The database server does not answer; nothing was recorded."""

    KEY = "ledger.server_lost"


class LedgerClosedError(LedgerError):
    """The chain goes on in another place; nothing is added here any more."""

    KEY = "ledger.closed"


class KeyReusedError(LedgerError):
    """The idempotency key stands for another act already."""

    KEY = "ledger.key_reused"


class ReservedKindError(LedgerError):
    """Entries of this kind are made by the ledger alone."""

    KEY = "ledger.reserved_kind"


class UnreadableEntryError(LedgerError):
    """A stored body is not one that this version can read."""

    KEY = "ledger.unreadable_entry"


class UnreadablePeopleError(LedgerError):
    """The table of people holds what no person is."""

    KEY = "ledger.unreadable_people"


class NoSuchEntryError(LedgerError):
    """The ledger has no entry of that number."""

    KEY = "ledger.no_such_entry"


class RefusedError(LedgerError):
    """A rule refused the entry; `refusals` are all the reasons, each with what to do instead."""

    KEY = "ledger.refused"

    def __init__(self, refusals: Sequence[Refusal]) -> None:
        self.refusals = tuple(refusals)
        super().__init__(reasons=" ".join(sentence(refusal.say) for refusal in self.refusals))


# --- people -----------------------------------------------------------------------------------------


class UnknownPersonError(LedgerError):
    """Nobody has that code."""

    KEY = "ledger.unknown_person"


class InactivePersonError(LedgerError):
    """The code has been disabled."""

    KEY = "ledger.inactive_person"


class CodeTakenError(LedgerError):
    """The code is, or was, somebody's; it is never given again."""

    KEY = "ledger.code_taken"


class BadgeTakenError(LedgerError):
    """The badge is another person's."""

    KEY = "ledger.badge_taken"


class RuleError(LedgerError):
    """What was typed breaks one of several rules; each rule has its own sentence, named by its key."""

    def __init__(self, key: str, **facts: Fact) -> None:
        self.KEY = key  # type: ignore[misc]  # one class for its rules, one sentence for each
        super().__init__(**facts)


class PersonFaultError(RuleError):
    """A code, name, duty or badge that cannot stand in the record."""


class PinError(LedgerError):
    """The PIN did not open anything. A caller may still let acts through that make people safer."""

    KEY = "ledger.pin_wrong"


class WrongPinError(PinError):
    """The PIN is not this person's. `left` is how many tries remain before a wait."""

    KEY = "ledger.pin_wrong"


class NoPinError(PinError):
    """No PIN was issued to this person yet."""

    KEY = "ledger.pin_none"


class PinBlockedError(PinError):
    """Too many wrong PINs in a row; `until` is when the next may be tried."""

    KEY = "ledger.pin_blocked"

    def __init__(self, until: datetime, **facts: Fact) -> None:
        self.until = until
        super().__init__(**facts)


class PinOffError(PinError):
    """So many wrong PINs that the PIN is off until another person resets it."""

    KEY = "ledger.pin_off"


class OneTimePinError(PinError):
    """The PIN is right, but it was issued for one use: the person chooses their own now (`change_pin`)."""

    KEY = "ledger.pin_one_time"


class PinRuleError(RuleError):
    """A chosen PIN breaks a rule."""


# --- backup, export ---------------------------------------------------------------------------------


class CopyFaultError(LedgerError):
    """A copy or an export did not verify; it was removed and does not count."""

    KEY = "ledger.copy_fault"


class SealFaultError(LedgerError):
    """A text is not a seal."""

    KEY = "ledger.seal_fault"
