"""Periodic inspections and training: what may be recorded, what is due, what stays open.

Source: 29 CFR 1910.147(c)(6)(i)-(ii) and (c)(7)(i), (iii) as the project's table of clauses restates them (read, except
where the table marks a line as from memory); reminders and last days are the site's own policy.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import asdict, replace

from floorterm.entries import Entry
from floorterm.library.model import Library, LockoutFile
from floorterm.lockout.inspection import (
    CORRECTED,
    MADE,
    REVIEWED,
    Found,
    Report,
    correction_refusals,
    due_list,
    fold_inspections,
    report_refusals,
    retrain_since,
    review_refusals,
    value_of,
    with_inspections,
)
from floorterm.lockout.training import History, trainings
from floorterm.people import LockoutStatus, Permission, Person
from tests.library.helper import made

DAY = date(2026, 11, 24)
NAME = "lockout-stamper-1"


def _person(code: str, lockout: LockoutStatus = LockoutStatus.AUTHORIZED, **more: Any) -> Person:
    return Person(code=code, name=f"{code}.", lockout=lockout, trained_on=date(2026, 2, 10), **more)


PEOPLE = (
    _person("AA"),
    _person("BB"),
    _person("CC", permission=Permission.SUPERVISOR),
    _person("JJ", LockoutStatus.AFFECTED),
    _person("ZZ", active=False),
)
REPORT = Report(procedure=NAME, on=DAY, observed=("AA",), reviewed=("AA",))


@pytest.fixture(scope="module")
def lockout(library: Library) -> LockoutFile:
    return library.lockouts[NAME]


def _entry(n: int, kind: str, value: dict[str, Any], person: str = "BB", offset: str = "-07:00") -> Entry:
    at = datetime(2026, 11, 25, 3, 0, tzinfo=UTC)
    return Entry(
        n=n, hash="", prev="", at=at, offset=offset, kind=kind, person=person, name=f"{person}.", value=value
    )


def _made(lockout: LockoutFile, report: Report = REPORT, n: int = 7) -> Entry:
    return _entry(n, MADE, value_of(report, lockout, PEOPLE))


def _rules(refusals: list[Any]) -> list[str]:
    return [one.say.key.removeprefix("inspection.") for one in refusals]


# --- who may inspect what ---------------------------------------------------------------------------


def test_an_authorised_employee_who_does_not_use_the_procedure_inspects_it(lockout: LockoutFile) -> None:
    assert report_refusals(REPORT, lockout, PEOPLE[1], PEOPLE, DAY) == []


@pytest.mark.parametrize(
    ("change", "by", "expected"),
    [
        ({}, _person("AA"), "inspector_uses"),  # (c)(6)(i)(A): other than the one(s) utilizing the procedure
        ({}, _person("JJ", LockoutStatus.AFFECTED), "inspector_not_authorised"),  # (c)(6)(i)(A)
        ({}, replace(_person("BB"), trained_on=date(2026, 11, 25)), "inspector_not_authorised"),
        ({}, replace(_person("BB"), trained_on=None), "inspector_not_authorised"),
        ({}, None, "inspector_not_authorised"),
        ({"observed": ()}, PEOPLE[1], "nobody_observed"),
        ({"on": date(2026, 11, 25)}, PEOPLE[1], "in_future"),
        ({"reviewed": ("AA", "XX")}, PEOPLE[1], "no_such_people"),
        ({"found": (Found(text="", persons=()),)}, PEOPLE[1], "deviation_text"),
        ({"found": (Found(text="x", persons=("YY",)),)}, PEOPLE[1], "no_such_people"),
    ],
)
def test_what_is_no_inspection_is_refused_with_the_reason(
    lockout: LockoutFile, change: dict[str, Any], by: Person | None, expected: str
) -> None:
    assert _rules(report_refusals(replace(REPORT, **change), lockout, by, PEOPLE, DAY)) == [expected]


def test_all_reasons_come_at_once(lockout: LockoutFile) -> None:
    bad = Report(procedure="x", on=date(2027, 1, 1), observed=(), reviewed=("XX",))
    assert len(report_refusals(bad, None, None, PEOPLE, DAY)) == 5


# --- the certificate --------------------------------------------------------------------------------


def test_the_certificate_names_machine_date_employees_and_inspector(lockout: LockoutFile) -> None:
    """(c)(6)(ii) asks for exactly these four."""
    (one,) = fold_inspections([_made(lockout)])
    (certificate,) = with_inspections({NAME: replace_certificates(lockout)}, [one])[NAME].certificates
    assert certificate.machine == "stamper of line 1"
    assert certificate.date == DAY
    assert certificate.inspector == "BB"
    assert certificate.employees == ("AA",)


def replace_certificates(lockout: LockoutFile) -> LockoutFile:
    return replace(lockout, certificates=())


def test_everybody_authorised_who_was_not_reviewed_stays_open_until_the_inspector_reviews_them(
    lockout: LockoutFile,
) -> None:
    made = _made(lockout)
    (one,) = fold_inspections([made])
    assert one.authorized == ("AA", "BB", "CC"), "neither affected nor disabled people"
    assert one.not_reviewed == ("CC",), "the inspector needs no review with themselves"
    assert _rules(review_refusals(one, ("CC",), PEOPLE[2], PEOPLE)) == ["inspector_reviews"]
    assert review_refusals(one, ("CC",), PEOPLE[1], PEOPLE) == []
    (later,) = fold_inspections([made, _entry(8, REVIEWED, {"inspection": 7, "people": ["CC"]})])
    assert later.not_reviewed == ()
    assert later.employees == ("AA", "CC")


def test_a_deviation_is_followed_to_its_correction(lockout: LockoutFile) -> None:
    report = replace(
        REPORT, found=(Found(text="lock hung on the wrong valve", persons=("AA",)), Found(text="no tag"))
    )
    made = _made(lockout, report)
    (one,) = fold_inspections([made])
    assert [deviation.id for deviation in one.open] == [1, 2]
    assert _rules(correction_refusals(one, 1, "told and shown", PEOPLE[0])) == ["supervisor_corrects"]
    assert _rules(correction_refusals(one, 3, "told", PEOPLE[2])) == ["no_deviation"]
    assert _rules(correction_refusals(one, 1, "", PEOPLE[2])) == ["correction_text"]
    assert _rules(correction_refusals(None, 1, "told", PEOPLE[2])) == ["no_inspection"]
    assert correction_refusals(one, 1, "told", PEOPLE[2]) == []
    done = _entry(9, CORRECTED, {"inspection": 7, "deviation": 1, "text": "told and shown"}, person="CC")
    (later,) = fold_inspections([made, done])
    assert [deviation.id for deviation in later.open] == [2]
    correction = later.deviations[0].correction
    assert correction is not None
    assert (correction.by, correction.n) == ("CC", 9)
    assert correction.on == DAY, "03:00 UTC is still the evening before at the plant"
    assert _rules(correction_refusals(later, 1, "again", PEOPLE[2])) == ["corrected_already"]


def test_whoever_a_deviation_names_is_trained_again(lockout: LockoutFile) -> None:
    report = replace(REPORT, found=(Found(text="x", persons=("AA",)),))
    named = retrain_since(fold_inspections([_made(lockout, report)]))
    assert named == {"AA": DAY}
    (first, *_) = trainings(PEOPLE, {}, named, {}, DAY)
    assert (first.person.code, first.status) == ("AA", "again")
    assert first.reasons[0][1] == "29 CFR 1910.147(c)(7)(iii)(B)"


# --- what is due ------------------------------------------------------------------------------------


def _due(lockout: LockoutFile, today: date, *, effective: str = "2025-11-03", certified: str = "") -> Any:
    found = [{"machine": "m", "date": certified, "inspector": "BB", "users_observed": [], "employees": ["AA"],
              "reviewed": []}] if certified else []  # fmt: skip
    data = asdict(lockout) | {"effective_on": effective, "certificates": found}
    return due_list({NAME: made(LockoutFile, data)}, (), PEOPLE, today)[0]


@pytest.mark.parametrize(
    ("certified", "today", "status"),
    [
        ("2025-11-24", date(2026, 11, 24), "soon"),  # the same day of the next year still counts
        ("2025-11-24", date(2026, 11, 25), "overdue"),
        ("2025-11-24", date(2026, 10, 24), "in_date"),
        ("2025-11-24", date(2026, 10, 25), "soon"),
        ("2024-02-29", date(2025, 2, 28), "soon"),  # 29 February counts to the 28th
        ("2024-02-29", date(2025, 3, 1), "overdue"),
    ],
)
def test_an_inspection_counts_for_twelve_months_to_the_day(
    lockout: LockoutFile, certified: str, today: date, status: str
) -> None:
    assert _due(lockout, today, effective="2020-01-01", certified=certified).status == status


def test_a_new_procedure_counts_from_the_day_it_took_effect(lockout: LockoutFile) -> None:
    assert _due(lockout, date(2026, 11, 3)).status == "soon"
    assert _due(lockout, date(2026, 11, 4)).status == "overdue"


def test_the_newest_inspection_counts_and_a_later_one_does_not_heal_an_earlier_day(
    lockout: LockoutFile,
) -> None:
    made = fold_inspections([_made(lockout)])
    assert due_list({NAME: lockout}, made, PEOPLE, DAY)[0].due == date(2027, 11, 24)
    assert due_list({NAME: lockout}, made, PEOPLE, date(2026, 11, 1))[0].due == date(2027, 6, 9)


def test_the_list_says_who_must_still_be_reviewed_and_what_is_not_corrected(lockout: LockoutFile) -> None:
    made = fold_inspections([_made(lockout, replace(REPORT, found=(Found(text="no tag"),)))])
    (one,) = due_list({NAME: lockout}, made, PEOPLE, DAY)
    assert one.not_reviewed == ("CC",)
    assert [deviation.text for _, deviation in one.open] == ["no tag"]


def test_what_was_found_or_corrected_on_a_later_day_is_no_news_of_the_day(lockout: LockoutFile) -> None:
    found = _made(lockout, replace(REPORT, found=(Found(text="no tag"),)))
    done = _entry(9, CORRECTED, {"inspection": 7, "deviation": 1, "text": "tag hung"}, person="CC")
    corrected = replace(done, at=done.at + timedelta(days=2))
    made = fold_inspections([found, corrected])
    days = [DAY + timedelta(days=number) for number in (-1, 0, 1, 2, 3)]
    listed = [len(due_list({NAME: lockout}, made, PEOPLE, day)[0].open) for day in days]
    assert listed == [0, 1, 1, 0, 0]


def test_the_most_pressing_procedure_stands_first(library: Library) -> None:
    found = due_list(library.lockouts, (), PEOPLE, DAY)
    assert len(found) == sum(one.exception is None for one in library.lockouts.values())
    assert [one.due for one in found] == sorted(one.due for one in found)
    last = found[-1].procedure
    report = Report(procedure=last, on=DAY, observed=("AA",), reviewed=("AA",))
    made = fold_inspections([_made(library.lockouts[last], report)])
    assert due_list(library.lockouts, made, PEOPLE, DAY)[0].procedure == last, "CC is not reviewed yet"


# --- training ---------------------------------------------------------------------------------------


def _one(person: Person, library: Library, history: History | None = None, today: date = DAY) -> Any:
    histories = {person.code: history} if history else {}
    mine = {NAME: library.lockouts[NAME]}  # other procedures of the starter plant changed on other days
    return trainings([person], mine, {}, histories, today)[0]


def test_a_change_of_the_procedure_after_the_training_asks_for_it_again(library: Library) -> None:
    """(c)(7)(iii)(A); the procedure changed on 12 January 2026."""
    assert _one(replace(_person("AA"), trained_on=date(2026, 1, 11)), library).status == "again"
    assert _one(replace(_person("AA"), trained_on=date(2026, 1, 12)), library).status == "in_date"


def test_a_change_of_the_machine_asks_for_it_again(library: Library) -> None:
    changed = replace(library.lockouts[NAME], machine_changed_on=date(2026, 3, 1))
    (one,) = trainings([_person("AA")], {NAME: changed}, {}, {}, DAY)
    assert one.status == "again"
    assert one.reasons[0][0].key == "training.machine_changed"


def test_no_calendar_period_of_the_regulation_ends_a_training(library: Library) -> None:
    old = replace(_person("AA"), trained_on=date(2026, 1, 12))
    assert _one(old, library, today=date(2036, 1, 12)).status == "in_date"


def test_the_sites_own_last_day_is_marked_as_site_policy(library: Library) -> None:
    person = replace(_person("AA"), valid_to=DAY)
    assert _one(person, library).status == "soon", "the last day counts"
    over = _one(person, library, today=date(2026, 11, 25))
    assert (over.status, over.reasons[0][1]) == ("over", "site policy")


def test_a_changed_duty_asks_a_person_and_decides_nothing(library: Library) -> None:
    one = _one(_person("AA"), library, History(duty_changed=(date(2026, 5, 1),)))
    assert one.status == "in_date"
    assert [say.key for say, _ in one.reasons] == ["training.duty_changed"]


def test_nobody_without_a_part_in_lockout_is_asked_for_training(library: Library) -> None:
    other = Person(code="OO", name="O.")
    assert _one(other, library).status == "not_asked"
    assert _one(replace(other, lockout=LockoutStatus.AFFECTED), library).status == "missing"


@given(st.dates(date(2025, 1, 1), date(2028, 12, 31)), st.dates(date(2025, 1, 1), date(2028, 12, 31)))
def test_overdue_is_exactly_what_lies_after_the_day_of_the_next_year(
    library: Library, certified: date, today: date
) -> None:
    if certified > today:
        return
    one = _due(library.lockouts[NAME], today, effective="2020-01-01", certified=certified.isoformat())
    leap = (certified.month, certified.day) == (2, 29)
    last = date(certified.year + 1, certified.month, 28 if leap else certified.day)
    assert (one.status == "overdue") == (today > last)
