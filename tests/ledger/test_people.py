"""People in the ledger: every change an entry, codes given once, who may do what to whom."""

import json
import sqlite3
from datetime import date
from pathlib import Path

import pytest
from msgspec.structs import replace

from floorterm.entries import Entry
from floorterm.ledger import (
    BadgeTakenError,
    CodeTakenError,
    InactivePersonError,
    Ledger,
    NoPinError,
    OneTimePinError,
    PersonFaultError,
    RefusedError,
    UnknownPersonError,
    verify_file,
)
from floorterm.ledger.persons import PersonFoldError, fold_person, person_of, record_of
from floorterm.people import LockoutStatus, Permission, Person
from tests.ledger.conftest import ADMIN, CREW, OPERATOR, OTHER, PIN, SUPERVISOR, new_ledger

FULL = Person(
    "P07",
    "Nia Roy",
    Permission.SAFETY_OFFICER,
    duties=frozenset({"quality", "packer"}),
    lockout=LockoutStatus.AUTHORIZED,
    trained_on=date(2025, 11, 3),
    valid_to=date(2026, 11, 2),
    badge="B-9",
)


def _refused(caught: pytest.ExceptionInfo[RefusedError]) -> set[str]:
    return {refusal.say.key for refusal in caught.value.refusals}


def test_people_come_back_as_they_were_added(ledger: Ledger) -> None:
    ledger.add_person(FULL, None, by="A01")
    assert ledger.people() == (ADMIN, OPERATOR, OTHER, FULL, SUPERVISOR)
    assert ledger.person("P07") == FULL
    assert ledger.by_badge("B-9") == FULL
    assert ledger.by_badge("B-10") is None
    assert ledger.by_badge("") is None
    with pytest.raises(UnknownPersonError, match="X9"):
        ledger.person("X9")


def test_the_entries_about_people_fold_to_the_people(ledger: Ledger) -> None:
    ledger.add_person(FULL, None, by="A01")
    ledger.change_person(replace(FULL, duties=frozenset(), badge="", valid_to=None), by="A01", reason="moved")
    ledger.disable_person("P02", by="A01", reason="left")
    people: dict[str, object] = {}
    for entry in ledger.entries():
        people = fold_person(people, entry.kind, entry.value)  # type: ignore[assignment, arg-type]
    assert tuple(person_of(people[code]) for code in sorted(people)) == ledger.people()  # type: ignore[arg-type]


def test_a_change_says_what_was_before(ledger: Ledger) -> None:
    entry = ledger.change_person(
        replace(OTHER, name="Jo Pell-Ray", trained_on=date(2026, 1, 5), badge=""),
        by="A01",
        reason="married",
        identity="pin",
        terminal="cli",
    )
    assert entry.value["was"] == {"name": "Jo Pell", "badge": "B-77", "trained_on": ""}
    assert (entry.person, entry.reason, entry.identity, entry.terminal) == ("A01", "married", "pin", "cli")


@pytest.mark.parametrize("person", [FULL, ADMIN, OPERATOR])
def test_a_person_survives_the_way_into_an_entry_and_back(person: Person) -> None:
    assert person_of(json.loads(json.dumps(record_of(person)))) == person


def test_folding_refuses_what_does_not_follow() -> None:
    known = {"P01": record_of(OPERATOR)}
    for kind, value in (
        ("person.added", record_of(OPERATOR)),
        ("person.changed", record_of(OTHER)),
        ("person.disabled", {"code": "P02"}),
        ("person.disabled", {}),
    ):
        with pytest.raises(PersonFoldError):
            fold_person(known, kind, value)
    assert fold_person(known, "step.signed", {"code": "P02"}) == known


def test_a_disabled_code_stays_listed_and_is_never_given_again(ledger: Ledger) -> None:
    ledger.disable_person("P02", by="A01")
    assert ledger.person("P02") == replace(OTHER, active=False)
    for code in ("P02", "p02"):
        with pytest.raises(CodeTakenError):
            ledger.add_person(Person(code, "Somebody Else"), None, by="A01")
    for change in (
        lambda: ledger.change_person(OTHER, by="A01"),
        lambda: ledger.disable_person("P02", by="A01"),
        lambda: ledger.reset_pin("P02", by="A01"),
        lambda: ledger.check_pin("P02", PIN),
    ):
        with pytest.raises(InactivePersonError):
            change()


def test_a_badge_is_one_persons(ledger: Ledger) -> None:
    with pytest.raises(BadgeTakenError, match="P02"):
        ledger.add_person(replace(FULL, badge="B-77"), None, by="A01")
    with pytest.raises(BadgeTakenError):
        ledger.change_person(replace(OPERATOR, badge="B-77"), by="A01")
    ledger.change_person(OTHER, by="A01")  # one's own badge is no clash


@pytest.mark.parametrize(
    "person",
    [
        Person("", "Name"),
        Person("P09", "  "),
        Person("P 9", "Name"),
        Person("P09", "Na\x1bme"),
        Person("P09", "x" * 81),
        Person("P" * 21, "Name"),
        Person("P09", "Name", badge="b\x00"),
        Person("P09", "Name", duties=frozenset({"line operator"})),
        Person("P09", "Name", duties=frozenset({""})),
    ],
)
def test_codes_and_names_that_no_record_may_keep_are_refused(ledger: Ledger, person: Person) -> None:
    head = ledger.head()
    with pytest.raises(PersonFaultError):
        ledger.add_person(person, None, by="A01")
    assert ledger.head() == head


def test_names_are_composed_before_they_are_kept(ledger: Ledger) -> None:
    ledger.add_person(Person("P09", " Zoe\u0308 "), None, by="A01")
    assert ledger.person("P09").name == "Zoë"


def test_the_first_person_is_an_administrator_added_by_nobody(path: Path) -> None:
    ledger = new_ledger(path)
    with pytest.raises(RefusedError) as caught:
        ledger.add_person(OPERATOR, PIN)
    assert _refused(caught) == {"ledger.last_administrator"}
    ledger.add_person(ADMIN, PIN)
    with pytest.raises(RefusedError) as caught:
        ledger.add_person(OPERATOR, PIN)
    assert _refused(caught) == {"ledger.not_administrator"}
    assert ledger.check_pin("A01", PIN) == ADMIN


@pytest.mark.parametrize("by", [person.code for person in CREW])
def test_only_an_administrator_changes_people(ledger: Ledger, by: str) -> None:
    head = ledger.head()
    for change in (
        lambda: ledger.add_person(FULL, None, by=by),
        lambda: ledger.change_person(replace(OPERATOR, name="X Y"), by=by),
        lambda: ledger.disable_person("P02" if by != "P02" else "P01", by=by),
    ):
        with pytest.raises(RefusedError) as caught:
            change()
        assert _refused(caught) == {"ledger.not_administrator"}
    assert ledger.head() == head


def test_the_last_administrator_stays(ledger: Ledger) -> None:
    for change in (
        lambda: ledger.disable_person("A01", by="A01"),
        lambda: ledger.change_person(replace(ADMIN, permission=Permission.OPERATOR), by="A01"),
    ):
        with pytest.raises(RefusedError) as caught:
            change()
        assert _refused(caught) == {"ledger.last_administrator"}
    ledger.add_person(replace(FULL, permission=Permission.ADMINISTRATOR), None, by="A01")
    ledger.disable_person("A01", by="P07")
    assert not ledger.person("A01").active


RESETS = {
    # by: whose PIN they may reset
    "A01": {"S01", "P01", "P02", "O01", "A02"},
    "A02": {"S01", "P01", "P02", "O01", "A01"},
    "S01": {"P01", "P02"},
    "O01": {"P01", "P02"},
    "P01": set(),
    "P02": set(),
}


@pytest.mark.parametrize("by", RESETS)
def test_who_may_reset_whose_pin(ledger: Ledger, by: str) -> None:
    ledger.add_person(Person("O01", "Kim Wu", Permission.SAFETY_OFFICER), PIN, by="A01")
    ledger.add_person(Person("A02", "Lee Fox", Permission.ADMINISTRATOR), PIN, by="A01")
    for target in RESETS:
        if target in RESETS[by]:
            ledger.reset_pin(target, by)
            continue
        with pytest.raises(RefusedError) as caught:
            ledger.reset_pin(target, by)
        assert _refused(caught) == {"ledger.own_reset" if by == target else "ledger.may_not_reset"}


def test_without_a_pin_nobody_signs_in(ledger: Ledger) -> None:
    ledger.add_person(FULL, None, by="A01")
    with pytest.raises(NoPinError):
        ledger.check_pin("P07", "246810")


def test_no_entry_and_no_export_holds_a_pin_or_its_hash(ledger: Ledger, path: Path) -> None:
    pin = ledger.reset_pin("P01", by="A01")
    ledger.change_pin("P01", pin, "908172")
    connection = sqlite3.connect(path)
    hashes = [phc for (phc,) in connection.execute("SELECT phc FROM pins")]
    connection.close()
    assert len(hashes) == 4
    assert all(phc.startswith("$argon2id$v=19$") for phc in hashes)
    bodies = "\n".join(entry.body for entry in ledger.entries())
    for secret in (pin, "908172", PIN, "argon2", *(phc.split("$")[-1] for phc in hashes)):
        assert secret not in bodies
    kinds = [entry.kind for entry in ledger.entries(after_n=5)]
    assert kinds == ["person.pin_reset", "person.pin_changed"]


def test_the_reset_names_both_people(ledger: Ledger) -> None:
    ledger.reset_pin("P01", by="S01", identity="pin", terminal="T1")
    entry: Entry = ledger.entries(newest_first=True, limit=1)[0]
    assert (entry.kind, entry.person, entry.value, entry.identity) == (
        "person.pin_reset",
        "S01",
        {"code": "P01"},
        "pin",
    )


RECOVERIES = [
    # target, by, witness, reason, what is said against it
    ("A01", "S01", "O01", "recognised by both", set()),
    ("A01", "S01", "A02", "recognised by both", set()),
    ("A01", "S01", "S01", "recognised", {"ledger.recover_two"}),
    ("A01", "A01", "S01", "recognised", {"ledger.recover_two"}),
    ("A01", "S01", "P01", "recognised", {"ledger.recover_two"}),
    ("P02", "S01", "O01", "recognised", {"ledger.recover_administrators"}),
    ("A01", "S01", "O01", " ", {"ledger.recover_reason"}),
]


@pytest.mark.parametrize(("target", "by", "witness", "reason", "said"), RECOVERIES)
def test_two_who_supervise_give_a_lost_administrator_a_way_back(
    ledger: Ledger, target: str, by: str, witness: str, reason: str, said: set[str]
) -> None:
    ledger.add_person(Person("O01", "Kim Wu", Permission.SAFETY_OFFICER), PIN, by="A01")
    ledger.add_person(Person("A02", "Lee Fox", Permission.ADMINISTRATOR), PIN, by="A01")
    head = ledger.head()
    if said:
        with pytest.raises(RefusedError) as caught:
            ledger.recover_pin(target, by, witness, reason, identity="pin", terminal="T1")
        assert _refused(caught) == said
        assert ledger.head() == head
        return
    pin = ledger.recover_pin(target, by, witness, reason, identity="pin", terminal="T1")
    with pytest.raises(OneTimePinError):
        ledger.check_pin(target, pin)
    entry = ledger.entry(head.n + 1)
    assert (entry.kind, entry.person, entry.witness, entry.reason, entry.value) == (
        "person.pin_reset",
        by,
        witness,
        reason,
        {"code": target},
    )


def test_an_edited_table_of_people_is_noticed(ledger: Ledger, path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute(
        "UPDATE people SET permission = 'administrator', lockout = 'authorized' WHERE code = 'P02'"
    )
    connection.execute(
        "INSERT INTO people (code, name, permission, duties, lockout, active)"
        " VALUES ('P66', 'Ghost', 'operator', '', 'other', 1)"
    )
    connection.commit()
    connection.close()
    report = verify_file(path)
    assert not report.ok
    assert [(problem.n, problem.say.facts["code"]) for problem in report.problems] == [(0, "P02"), (0, "P66")]
    assert report.problems[0].say.facts["fields"] == "permission, lockout"
