"""Each right tried with each permission, by what the rules really refuse; README's table says the same.

The table here is written by hand from the site policy, apart from the program's own.
"""

from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from msgspec.structs import replace

from floorterm.access import ACCESS, Right, has_right
from floorterm.changeover.acts import CorrectStep, Dispose, RaiseDeviation, ReviseFlush, SignStep
from floorterm.demo.clock import SetClock
from floorterm.genealogy import Lot, Past
from floorterm.genealogy.rules import judge_refusals
from floorterm.ledger import CHEAP_PROFILE, Asked, Ledger, RefusedError, copying
from floorterm.ledger import restore as restoring
from floorterm.library import load, starter_folder
from floorterm.lockout.attestation import attestation_refusals
from floorterm.lockout.guard import may_event
from floorterm.lockout.inspection import Deviation, Inspection, correction_refusals
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.plant import Plant, Who
from floorterm.shift.signing import countersign_refusals
from floorterm.shift.window import window_at
from floorterm.shift_review import review_of, sign
from floorterm.wording import Refusal
from tests.changeover.sheets import TAMM, Record
from tests.changeover.test_late import begun, paper
from tests.changeover.test_rules import locked, started, unlocked
from tests.conftest import DAY, PIN, START
from tests.lockout import floor
from tests.lockout.audit.histories import ABSENT
from tests.lockout.test_guard_special import upto
from tests.test_plant_calibration import accepted

OPERATOR, SUPERVISOR, OFFICER, ADMINISTRATOR = Permission
NOBODY_BUT: dict[Right, tuple[Permission, ...]] = {
    Right.CHANGE_PEOPLE: (ADMINISTRATOR,),
    Right.RESET_OPERATOR_PIN: (SUPERVISOR, OFFICER, ADMINISTRATOR),
    Right.RESET_ANY_PIN: (ADMINISTRATOR,),
    Right.VOUCH_FOR_ADMINISTRATOR: (SUPERVISOR, OFFICER, ADMINISTRATOR),
    Right.ANSWER_FOR_RESTORE: (SUPERVISOR, OFFICER, ADMINISTRATOR),
    Right.MOVE_LEDGER: (ADMINISTRATOR,),
    Right.APPROVE_CHECKLISTS: (OFFICER,),
    Right.STATE_HOLDS: (SUPERVISOR, OFFICER),
    Right.ACCEPT_CALIBRATION: (SUPERVISOR, OFFICER),
    Right.DISPOSE: (SUPERVISOR, OFFICER),
    Right.SKIP_CRITICAL_STEP: (SUPERVISOR, OFFICER),
    Right.SKIP_ANY_DUTY: (SUPERVISOR, OFFICER),
    Right.CORRECT_OTHERS: (SUPERVISOR, OFFICER),
    Right.LOWER_FLUSH: (SUPERVISOR, OFFICER),
    Right.VOUCH_FOR_PAPER: (SUPERVISOR, OFFICER),
    Right.LEAD_SHIFT: (SUPERVISOR, OFFICER),
    Right.JUDGE_REWORK: (SUPERVISOR, OFFICER),
    Right.DIRECT_LOCK_REMOVAL: (SUPERVISOR, OFFICER),
    Right.CLOSE_INSPECTION_DEVIATION: (SUPERVISOR, OFFICER),
    Right.ATTEST: (SUPERVISOR, OFFICER),
}
EVERY = [(right, permission) for right in Right for permission in Permission]


# --- trying each ------------------------------------------------------------------------------------


def _somebody(permission: Permission) -> Person:
    return replace(TAMM, code="WHO", name="W. Who", duties=frozenset(), permission=permission)


def _keys(refusals: Iterator[Refusal] | tuple[Refusal, ...] | list[Refusal]) -> set[str]:
    return {one.say.key for one in refusals}


def _refused(act: Callable[[], object]) -> set[str]:
    try:
        act()
    except RefusedError as fault:
        return _keys(fault.refusals)
    return set()


def _of_record(record: Record, act: object, person: Person, witness: Person | None = None) -> set[str]:
    return set(record.keys(act, person, witness))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def crew(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    """A plant with one person of each permission more: W-operator and so on; read, never changed for good."""
    ledger = Ledger.create(
        tmp_path_factory.mktemp("crew") / "ledger.db",
        plant_id="northmere",
        plant_name="Northmere",
        time_zone="America/Denver",
        clock=SetClock(START),
        pin_profile=CHEAP_PROFILE,
    )
    ledger.add_person(Person("AD", "A. Dmin", Permission.ADMINISTRATOR), PIN, by="")
    others = [Person("AX", "A. Xtra", Permission.ADMINISTRATOR), Person("OP", "O. Per")]
    others += [Person(f"W-{one}", one.title(), one) for one in Permission]
    others.append(Person("S2", "S. Two", Permission.SUPERVISOR))
    for person in others:
        ledger.add_person(replace(person, trained_on=date(2026, 1, 1), valid_to=DAY), PIN, by="AD")
    return Plant(load(starter_folder()), ledger, "T1")


def attempt(crew: Plant, right: Right, permission: Permission) -> set[str]:
    """What refuses somebody of that permission; keys of the refusals, those of the right among them."""
    person, ledger, by = _somebody(permission), crew.ledger, f"W-{permission}"
    signer = Who(ledger.person(by), "pin")
    asked = Asked(person, TAMM, ledger.now(), ledger.entries)
    match right:
        case Right.CHANGE_PEOPLE:
            return _refused(lambda: ledger.change_person(ledger.person("OP"), by=by, reason="as it is"))
        case Right.RESET_OPERATOR_PIN:
            return _refused(lambda: ledger.reset_pin("OP", by))
        case Right.RESET_ANY_PIN:
            return _refused(lambda: ledger.reset_pin("AX", by))
        case Right.VOUCH_FOR_ADMINISTRATOR:
            return _refused(lambda: ledger.recover_pin("AX", by, "S2", "both know them"))
        case Right.ANSWER_FOR_RESTORE:
            return _keys(restoring.two_people("the disk failed")(asked))
        case Right.MOVE_LEDGER:
            return _keys(copying.administers(asked))
        case Right.APPROVE_CHECKLISTS:
            return _refused(lambda: crew.approve_library(signer, key=ledger.new_id()))
        case Right.STATE_HOLDS:
            return _refused(lambda: crew.state_holds(signer, "L1", ("plain",), "seen", key=ledger.new_id()))
        case Right.ACCEPT_CALIBRATION:
            known = crew.calibration("L1")
            value = replace(accepted(), before=known.n if known else 0)
            return _refused(lambda: crew.accept_calibration(signer, "L1", value, "ok", key=ledger.new_id()))
        case Right.DISPOSE:
            record = started().do(RaiseDeviation(text="oil"), TAMM)
            return _of_record(record, Dispose(deviation=3, decision="accept", reason="wiped"), person)
        case Right.SKIP_CRITICAL_STEP:
            record = locked().sign("screen/pull")
            return _of_record(
                record, SignStep(step="screen/look", outcome="not_applicable", reason="seen"), person
            )
        case Right.SKIP_ANY_DUTY:
            return _of_record(
                Record(), SignStep(step="prep/stop", outcome="not_applicable", reason="x"), person
            )
        case Right.CORRECT_OTHERS:
            return _of_record(
                started(), CorrectStep(step="prep/stop", corrects=2, reason="x", counter=7), person
            )
        case Right.LOWER_FLUSH:
            return _of_record(
                unlocked(), ReviseFlush(step="flush/push", kg=Decimal(300), reason="heel"), person
            )
        case Right.VOUCH_FOR_PAPER:
            record = begun()
            return _of_record(record, paper(record, "screen-lock/notify", 10), TAMM, person)
        case Right.LEAD_SHIFT:
            window = window_at(crew.library.plant.shifts, crew.now(), crew.zone)
            review = review_of(crew, window)
            found = _refused(lambda: sign(crew, signer, review, "nothing", key=ledger.new_id()))
            second = _keys(countersign_refusals((), 1, person))
            assert ("shift.sign_lead" in found) == ("shift.countersign_lead" in second)
            return found
        case Right.JUDGE_REWORK:
            return _keys(judge_refusals(Lot("bin", "B"), "waste", (), "floor soap", Past(), person))
        case Right.DIRECT_LOCK_REMOVAL:
            return _directing(person)
        case Right.CLOSE_INSPECTION_DEVIATION:
            return _keys(correction_refusals(_inspection(), 1, "taught again", person))
        case Right.ATTEST:
            return _keys(attestation_refusals("LO-05", ("J",), "looked", person))


def _directing(person: Person) -> set[str]:
    director = replace(person, lockout=floor.PEOPLE["E1"].lockout)
    people = {**floor.PEOPLE, "WHO": director}
    walked = floor.Floor.of().record(*upto(ABSENT, "remove_other"))
    event = floor.ev("remove_other", "A1", "D1", owner="A2", directed_by="WHO")
    asked = replace(event, at=walked.now)
    return _keys(may_event(walked.state, asked, people["A1"], walked.now, (), people))


def _inspection() -> Inspection:
    open_one = Deviation(id=1, text="lock first, then off", persons=())
    return Inspection(
        n=5,
        procedure="P",
        revision=1,
        machine="M",
        on=date(2026, 11, 1),
        inspector="VV",
        deviations=(open_one,),
    )


# The refusal that speaks of the right, by its key without the room before it.
SPEAKS: dict[Right, str] = {
    Right.CHANGE_PEOPLE: "ledger.not_administrator",
    Right.RESET_OPERATOR_PIN: "ledger.may_not_reset",
    Right.RESET_ANY_PIN: "ledger.may_not_reset",
    Right.VOUCH_FOR_ADMINISTRATOR: "ledger.recover_two",
    Right.ANSWER_FOR_RESTORE: "copies.two_people",
    Right.MOVE_LEDGER: "ledger.move_administrator",
    Right.APPROVE_CHECKLISTS: "plant.safety_officer_only",
    Right.STATE_HOLDS: "plant.supervisor_only",
    Right.ACCEPT_CALIBRATION: "plant.supervisor_accepts",
    Right.DISPOSE: "supervisor_decides",
    Right.SKIP_CRITICAL_STEP: "supervisor_says_not_applicable",
    Right.SKIP_ANY_DUTY: "duty",
    Right.CORRECT_OTHERS: "not_yours_to_correct",
    Right.LOWER_FLUSH: "supervisor_lowers_flush",
    Right.VOUCH_FOR_PAPER: "late_supervisor_missing",
    Right.LEAD_SHIFT: "shift.sign_lead",
    Right.JUDGE_REWORK: "lots.supervisor",
    Right.DIRECT_LOCK_REMOVAL: "lockout.employer_directs",
    Right.CLOSE_INSPECTION_DEVIATION: "supervisor_corrects",
    Right.ATTEST: "attest.who",
}


@pytest.mark.parametrize(("right", "permission"), EVERY)
def test_every_right_with_every_permission(crew: Plant, right: Right, permission: Permission) -> None:
    allowed = permission in NOBODY_BUT[right]
    found = attempt(crew, right, permission)
    speaks = any(key == SPEAKS[right] or key.endswith(f".{SPEAKS[right]}") for key in found)
    assert speaks != allowed, found
    assert has_right(_somebody(permission), right) == allowed
    assert not has_right(None, right)


def test_the_table_of_the_readme_is_the_programs() -> None:
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    head, *rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.split("### People and what they may do")[1].split("###")[0].splitlines()
        if line.startswith("|") and "---" not in line
    ]
    assert head[1:] == ["operator", "supervisor", "safety officer", "administrator"]
    told = {row[0].split("`")[1]: tuple(cell == "yes" for cell in row[1:]) for row in rows}
    assert told == {right: tuple(one in ACCESS[right] for one in Permission) for right in Right}


@pytest.mark.parametrize("permission", Permission)
def test_taking_off_ones_own_lock_is_nobodys_right(permission: Permission) -> None:
    """29 CFR 1910.147(e)(3): each lock by whoever put it on; asked of no permission, status or training."""
    walked = floor.Floor.of().record(*upto(ABSENT, "owner_absent"))
    owner = replace(floor.PEOPLE["A2"], permission=permission, lockout=LockoutStatus.OTHER, trained_on=None)
    assert walked.state.own_locks("A2"), "the history puts a lock of A2 on"
    event = replace(floor.ev("lock_off", "A2", "D1"), at=walked.now)
    assert may_event(walked.state, event, owner, walked.now, (), {**floor.PEOPLE, "A2": owner}) == ()
