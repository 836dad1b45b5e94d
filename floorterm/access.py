"""Who may do what: the one table of what a permission decides. All else is duty, lockout status, training and state.

A permission is the site's to give; the table is site policy, after who answers for what (ledger, people, deviations,
lockout). What makes people safer is never in it: ending work, taking off one's own lock, what an emergency did.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from floorterm.people import Permission, Person


class Right(StrEnum):
    """Each thing that somebody may do because of their permission."""

    CHANGE_PEOPLE = "change_people"
    RESET_OPERATOR_PIN = "reset_operator_pin"
    RESET_ANY_PIN = "reset_any_pin"
    VOUCH_FOR_ADMINISTRATOR = "vouch_for_administrator"
    ANSWER_FOR_RESTORE = "answer_for_restore"
    MOVE_LEDGER = "move_ledger"
    APPROVE_CHECKLISTS = "approve_checklists"
    STATE_HOLDS = "state_holds"
    ACCEPT_CALIBRATION = "accept_calibration"
    DISPOSE = "dispose"
    SKIP_CRITICAL_STEP = "skip_critical_step"
    SKIP_ANY_DUTY = "skip_any_duty"
    CORRECT_OTHERS = "correct_others"
    LOWER_FLUSH = "lower_flush"
    VOUCH_FOR_PAPER = "vouch_for_paper"
    LEAD_SHIFT = "lead_shift"
    JUDGE_REWORK = "judge_rework"
    DIRECT_LOCK_REMOVAL = "direct_lock_removal"
    CLOSE_INSPECTION_DEVIATION = "close_inspection_deviation"
    ATTEST = "attest"


_SUPERVISES = frozenset({Permission.SUPERVISOR, Permission.SAFETY_OFFICER})
_ADMINISTERS = frozenset({Permission.ADMINISTRATOR})

ACCESS: Mapping[Right, frozenset[Permission]] = MappingProxyType(
    {
        Right.CHANGE_PEOPLE: _ADMINISTERS,
        Right.RESET_OPERATOR_PIN: _SUPERVISES | _ADMINISTERS,
        Right.RESET_ANY_PIN: _ADMINISTERS,
        Right.VOUCH_FOR_ADMINISTRATOR: _SUPERVISES | _ADMINISTERS,
        Right.ANSWER_FOR_RESTORE: _SUPERVISES | _ADMINISTERS,
        Right.MOVE_LEDGER: _ADMINISTERS,
        Right.APPROVE_CHECKLISTS: frozenset({Permission.SAFETY_OFFICER}),
        Right.STATE_HOLDS: _SUPERVISES,
        Right.ACCEPT_CALIBRATION: _SUPERVISES,
        Right.DISPOSE: _SUPERVISES,
        Right.SKIP_CRITICAL_STEP: _SUPERVISES,
        Right.SKIP_ANY_DUTY: _SUPERVISES,
        Right.CORRECT_OTHERS: _SUPERVISES,
        Right.LOWER_FLUSH: _SUPERVISES,
        Right.VOUCH_FOR_PAPER: _SUPERVISES,
        Right.LEAD_SHIFT: _SUPERVISES,
        Right.JUDGE_REWORK: _SUPERVISES,
        Right.DIRECT_LOCK_REMOVAL: _SUPERVISES,
        Right.CLOSE_INSPECTION_DEVIATION: _SUPERVISES,
        Right.ATTEST: _SUPERVISES,
    }
)


def has_right(person: Person | None, right: Right) -> bool:
    """Whether a person's permission gives them a right; nobody has none."""
    return person is not None and person.permission in ACCESS[right]
