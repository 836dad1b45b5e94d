"""Inspections and training from the shell: the whole way of a yearly inspection, and a changed training date."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.cli.inspections import found_of
from floorterm.ledger import Ledger
from floorterm.lockout.inspection import Found
from floorterm.plant import Plant
from tests.conftest import DAY, PIN, who

NAME = "lockout-stamper-1"


def _run(*arguments: str, typed: str = f"{PIN}\n") -> Result:
    return CliRunner().invoke(main, arguments, input=typed)


@pytest.fixture
def db(plant: Plant, tmp_path: Path) -> str:
    return str(tmp_path / "ledger.db")


def _inspect(db: str, *more: str, by: str = "SS") -> Result:
    return _run(
        "lockout", "inspect", NAME, "--on", DAY.isoformat(), "--observed", "AA", "--reviewed", "AA", "--reviewed",
        "BB", *more, "--by", by, "--db", db,
    )  # fmt: skip


def _due(db: str) -> dict[str, object]:
    done = _run("lockout", "due", "--json", "--db", db)
    return next(one for one in json.loads(done.stdout) if one["procedure"] == NAME)


def test_an_inspection_is_recorded_reviewed_corrected_and_then_nothing_is_open(db: str) -> None:
    done = _inspect(
        db, "--found", "AA: lock on the wrong valve", "--found", "the sheet was not at the machine"
    )
    assert done.exit_code == 0, done.output
    (number,) = [word for word in done.stdout.split() if word.isdigit()][:1]
    one = _due(db)
    assert one["entry"] == int(number)
    assert one["due"] == f"{DAY.year + 1}{DAY.isoformat()[4:]}"
    assert one["not_reviewed"] == ["QQ", "VV"]
    assert [open_["text"] for open_ in one["open"]] == [  # type: ignore[attr-defined]
        "lock on the wrong valve", "the sheet was not at the machine",
    ]  # fmt: skip
    reviewed = _run("lockout", "review", number, "--with", "QQ", "--with", "VV", "--by", "SS", "--db", db)
    assert reviewed.exit_code == 0, reviewed.output
    for deviation in ("1", "2"):
        closed = _run("lockout", "correct", number, deviation, "--text", "shown", "--by", "VV", "--db", db)
        assert closed.exit_code == 0, closed.output
    one = _due(db)
    assert (one["not_reviewed"], one["open"]) == ([], [])


def test_what_is_open_ends_with_status_1(db: str) -> None:
    _inspect(db, "--found", "x y z")
    shown = _run("lockout", "due", "--db", db)
    assert shown.exit_code == 1
    assert "x y z" in shown.output
    assert "1910.147(c)(6)(i)" in shown.output


@pytest.mark.parametrize(
    ("by", "said"),
    [("AA", "does not inspect it"), ("AD", "Only an authorised employee")],
)
def test_whoever_may_not_inspect_is_told_why_and_nothing_is_recorded(
    db: str, plant: Plant, by: str, said: str
) -> None:
    before = plant.ledger.head().n
    done = _inspect(db, by=by)
    assert done.exit_code == 1
    assert said in done.stderr
    assert plant.ledger.head().n == before


def test_an_inspection_keeps_a_procedure_in_date_for_work(db: str, plant: Plant) -> None:
    plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", plant.ledger.new_id())
    before = plant.state("P-0001").worksheet.jobs[0].inspection_due
    assert _inspect(db, "--found", "BB: stood in the press").exit_code == 0
    plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", plant.ledger.new_id())
    job = plant.state("P-0002").worksheet.jobs[0]
    assert before is not None
    assert job.inspection_due is not None
    assert job.inspection_due > before
    assert job.retrain == (("BB", DAY),), "who is named is trained again before working under it"


def test_a_new_training_date_is_an_entry_and_both_dates_stay_on_record(db: str) -> None:
    changed = _run(
        "people", "change", "AA", "--trained-on", "2026-11-20", "--no-valid-to", "--reason", "course 7",
        "--by", "AD", "--db", db,
    )  # fmt: skip
    assert changed.exit_code == 0, changed.output
    listed = json.loads(_run("people", "training", "--json", "--db", db).stdout)
    one = next(person for person in listed if person["code"] == "AA")
    assert one["trained_on"] == "2026-11-20"
    assert one["valid_to"] is None
    assert one["dates"] == ["2026-08-16", "2026-11-20"]
    assert one["status_since"] == DAY.isoformat()
    entry = Ledger.open(Path(db)).entries(kinds=("person.changed",))[-1]
    assert (entry.person, entry.reason) == ("AD", "course 7")
    assert entry.value["was"]["trained_on"] == "2026-08-16"


def test_a_person_is_changed_only_by_an_administrator_and_only_in_what_is_named(db: str) -> None:
    refused = _run("people", "change", "AA", "--trained-on", "2026-11-20", "--by", "SS", "--db", db)
    assert refused.exit_code == 1
    nothing = _run("people", "change", "AA", "--by", "AD", "--db", db)
    assert nothing.exit_code == 2
    unknown = _run("people", "change", "AA", "--duty", "juggler", "--by", "AD", "--db", db)
    assert unknown.exit_code == 2
    assert "no 'juggler'" in unknown.stderr
    both = _run(
        "people", "change", "AA", "--valid-to", "2027-01-01", "--no-valid-to", "--by", "AD", "--db", db
    )
    assert both.exit_code == 2
    done = _run("people", "change", "AA", "--duty", "mechanic", "--by", "AD", "--db", db)
    assert done.exit_code == 0, done.output
    person = Ledger.open(Path(db)).person("AA")
    assert person.duties == {"mechanic"}
    assert person.badge == "BADGE-AA"
    listed = _run("people", "training", "--db", db)
    assert "a person decides whether it brought a new hazard" in listed.output


@pytest.mark.parametrize("command", [["people", "change"], ["lockout", "inspect"], ["lockout", "correct"]])
def test_a_pin_is_never_an_option(command: list[str]) -> None:
    assert "--pin" not in _run(*command, "--help").output


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("AA: stood there", Found(text="stood there", persons=("AA",))),
        ("AA, BB: both", Found(text="both", persons=("AA", "BB"))),
        ("note: no people here", Found(text="note: no people here")),
        ("  plain  ", Found(text="plain")),
    ],
)
def test_a_deviation_names_people_only_by_codes_that_exist(text: str, found: Found) -> None:
    assert found_of(text, {"AA", "BB"}) == found
