"""The append-only record: a hash chain in one SQLite file, people and PINs, seals, backup, verification.

Importing this package loads neither the ORM nor SQLite; naming `Ledger` does (it costs more than the terminal
framework itself, so screens let a worker thread do it after the first frame).
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from floorterm.ledger.faults import (
    BadgeTakenError,
    CodeTakenError,
    CopyFaultError,
    InactivePersonError,
    KeyReusedError,
    LedgerBusyError,
    LedgerCannotOpenError,
    LedgerClosedError,
    LedgerDamagedError,
    LedgerDiskError,
    LedgerEmptyError,
    LedgerError,
    LedgerExistsError,
    LedgerFullError,
    LedgerMissingError,
    LedgerReadOnlyError,
    LedgerReplacedError,
    LedgerSettingError,
    NetworkDriveError,
    NewerLedgerError,
    NoPinError,
    NoSuchEntryError,
    NotALedgerError,
    OldServerError,
    OldSqliteError,
    OneTimePinError,
    OutcomeUnknownError,
    PersonFaultError,
    PinBlockedError,
    PinError,
    PinOffError,
    PinRuleError,
    RefusedError,
    ReservedKindError,
    SealFaultError,
    ServerAccountError,
    ServerExtraError,
    ServerLostError,
    ServerUrlError,
    TimeZoneError,
    UnknownPersonError,
    UnreadableEntryError,
    UnreadablePeopleError,
    WrongPinError,
)
from floorterm.ledger.values import Asked, EntriesReader, Guard, Head, Place, Ref, Start, is_server

if TYPE_CHECKING:
    from floorterm.ledger.backup import back_up
    from floorterm.ledger.copying import move_ledger
    from floorterm.ledger.export import write_export
    from floorterm.ledger.ledger import Ledger
    from floorterm.ledger.newest import check_newest
    from floorterm.ledger.pins import CHEAP_PROFILE, DEFAULT_PROFILE, PinProfile
    from floorterm.ledger.seal import Seal
    from floorterm.ledger.verify import (
        Problem,
        Report,
        verify_export,
        verify_file,
        verify_ledger,
        verify_place,
    )

_LATER = {
    "Ledger": "ledger",
    "check_newest": "newest",
    "PinProfile": "pins",
    "CHEAP_PROFILE": "pins",
    "DEFAULT_PROFILE": "pins",
    "Seal": "seal",
    "back_up": "backup",
    "write_export": "export",
    "Problem": "walk",
    "Report": "walk",
    "verify_file": "verify",
    "verify_export": "verify",
    "verify_ledger": "verify",
    "verify_place": "verify",
    "move_ledger": "copying",
}

__all__ = [
    "CHEAP_PROFILE",
    "DEFAULT_PROFILE",
    "Asked",
    "BadgeTakenError",
    "CodeTakenError",
    "CopyFaultError",
    "EntriesReader",
    "Guard",
    "Head",
    "InactivePersonError",
    "KeyReusedError",
    "Ledger",
    "LedgerBusyError",
    "LedgerCannotOpenError",
    "LedgerClosedError",
    "LedgerDamagedError",
    "LedgerDiskError",
    "LedgerEmptyError",
    "LedgerError",
    "LedgerExistsError",
    "LedgerFullError",
    "LedgerMissingError",
    "LedgerReadOnlyError",
    "LedgerReplacedError",
    "LedgerSettingError",
    "NetworkDriveError",
    "NewerLedgerError",
    "NoPinError",
    "NoSuchEntryError",
    "NotALedgerError",
    "OldServerError",
    "OldSqliteError",
    "OneTimePinError",
    "OutcomeUnknownError",
    "PersonFaultError",
    "PinBlockedError",
    "PinError",
    "PinOffError",
    "PinProfile",
    "PinRuleError",
    "Place",
    "Problem",
    "Ref",
    "RefusedError",
    "Report",
    "ReservedKindError",
    "Seal",
    "SealFaultError",
    "ServerAccountError",
    "ServerExtraError",
    "ServerLostError",
    "ServerUrlError",
    "Start",
    "TimeZoneError",
    "UnknownPersonError",
    "UnreadableEntryError",
    "UnreadablePeopleError",
    "WrongPinError",
    "back_up",
    "check_newest",
    "is_server",
    "move_ledger",
    "verify_export",
    "verify_file",
    "verify_ledger",
    "verify_place",
    "write_export",
]


def __getattr__(name: str) -> Any:
    """Load what costs something when it is first named."""
    if name in _LATER:
        return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
