"""Paper while the record is down, from the command line: print what remains, enter later what was done."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner, Result

from floorterm.changeover.late_entry import paper_time
from floorterm.cli import main
from floorterm.demo.clock import SetClock
from floorterm.ledger import Ledger
from floorterm.plant import Plant
from floorterm.wording import Say
from tests.conftest import PIN, START, bound_by_permissions, who


@pytest.fixture
def started(plant: Plant) -> Plant:
    """Line 1 in a changeover of which nothing is signed yet."""
    plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin")
    return plant


def _run(plant: Plant, *arguments: str, pins: int = 0) -> Result:
    typed = f"{PIN}\n" * pins
    return CliRunner().invoke(main, [*arguments, "--db", str(plant.ledger.path)], input=typed)


def _first(plant: Plant) -> str:
    return next(iter(plant.state("C-0001").worksheet.steps())).id


def _late(plant: Plant, *more: str) -> list[str]:
    return ["late", "C-0001", _first(plant), "--done-by", "AA", "--reason", "power cut", "--by", "SS", *more]


@pytest.fixture
def later(started: Plant, monkeypatch: pytest.MonkeyPatch) -> Plant:
    """The record is back half an hour later; commands open it with that clock."""
    clock = SetClock(START)
    clock.advance(timedelta(minutes=30))
    opened = Ledger.open

    def at_half_past(place: object, **options: object) -> Ledger:
        return opened(place, **(options | {"clock": clock}))  # type: ignore[arg-type]

    monkeypatch.setattr(Ledger, "open", at_half_past)
    return started


def test_a_step_from_paper_is_entered_and_printed_with_both_times(later: Plant) -> None:
    made = _run(later, *_late(later, "--at", "06:10", "--json"), pins=1)
    assert made.exit_code == 0, made.output
    sheet = _run(later, "worksheet", "--work", "C-0001")
    assert sheet.exit_code == 0
    text = " ".join(sheet.stdout.split())
    assert "SIGNED 2026-11-24 06:10 A. Abel (paper; entered 06:30 S. Stern)" in text
    assert "This paper is the record of the remaining steps until they are entered." in text
    assert "Done ________" in text
    data = json.loads(_run(later, "worksheet", "--work", "C-0001", "--json").stdout)
    (signed,) = data["signed"]
    assert (signed["done_by"], signed["entered_by"], signed["by_paper"]) == ("AA", "SS", True)
    assert signed["done_at"] < signed["entered_at"]
    assert signed["step"] not in data["remaining"]


def test_what_the_rules_refuse_is_said_and_nothing_is_recorded(later: Plant) -> None:
    head = later.ledger.head()
    made = _run(later, *_late(later, "--at", "05:10"), pins=1)
    assert made.exit_code == 1
    assert "must lie between the start of this work" in made.stderr
    assert later.ledger.head() == head


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ["late", "C-0009", "x", "--at", "06:10", "--done-by", "AA", "--reason", "r", "--by", "SS"],
            "no work C-0009",
        ),
        (
            ["late", "C-0001", "x", "--at", "06:10", "--done-by", "AA", "--reason", "r", "--by", "SS"],
            "has no step",
        ),
        (["worksheet", "--work", "C-0009"], "no work C-0009"),
        (["worksheet"], "Give --line"),
    ],
)
def test_what_is_not_there_is_said_in_a_sentence(started: Plant, arguments: list[str], said: str) -> None:
    made = _run(started, *arguments)
    assert made.exit_code == 2
    assert said in made.stderr


def test_the_paper_of_a_running_work_is_printed_from_a_record_that_can_only_be_read(
    started: Plant, open_folder: Path
) -> None:
    copy = open_folder / "ledger.db"
    copy.write_bytes(started.ledger.path.read_bytes())
    copy.chmod(0o444)
    open_folder.chmod(0o555)
    try:
        with bound_by_permissions():
            for form in ("text", "html"):
                sheet = CliRunner().invoke(
                    main, ["worksheet", "--work", "C-0001", "--format", form, "--db", str(copy)]
                )
                assert sheet.exit_code == 0, sheet.output
                assert "C-0001: the record up to entry" in sheet.stdout
                assert "Lockout stays with the locks at the machine" in " ".join(sheet.stdout.split())
    finally:
        open_folder.chmod(0o777)


def test_a_paper_tells_the_last_time_that_the_clock_showed_this() -> None:
    now = START
    assert f"{paper_time('12.30', now, UTC):%d %H:%M}" == "24 12:30"
    assert f"{paper_time('23:59', now, UTC):%d %H:%M}" == "23 23:59"
    assert f"{paper_time('2026-11-20 08:05', now, UTC):%d %H:%M}" == "20 08:05"
    for text in ("24:00", "12:60", "2026-02-30 10:00", "noon", ""):
        assert paper_time(text, now, UTC) == Say("work.late_unread")


CHANGES = [
    ("2026-11-01T03:00-07:00", "2026-11-01 00:30", "2026-11-01T00:30:00-06:00"),
    ("2026-11-01T03:00-07:00", "00:30", "2026-11-01T00:30:00-06:00"),
    ("2026-11-01T03:00-07:00", "23:30", "2026-10-31T23:30:00-06:00"),
    ("2026-11-01T03:00-07:00", "2026-11-01 01:30", "work.late_hour_twice"),
    ("2026-11-01T03:00-07:00", "2026-11-01 01:30-06:00", "2026-11-01T01:30:00-06:00"),
    ("2026-11-01T03:00-07:00", "01:30-07:00", "2026-11-01T01:30:00-07:00"),
    ("2026-11-01T03:00-07:00", "2026-11-01 00:30-07:00", "work.late_offset"),
    ("2026-03-08T04:00-06:00", "2026-03-08 02:30", "work.late_hour_missing"),
    ("2026-03-08T04:00-06:00", "2026-03-08 01:30", "2026-03-08T01:30:00-07:00"),
]


@pytest.mark.parametrize(("now", "text", "told"), CHANGES)
def test_a_paper_is_read_on_the_clock_of_its_own_time(now: str, text: str, told: str) -> None:
    found = paper_time(text, datetime.fromisoformat(now), ZoneInfo("America/Denver"))
    assert (found.key if isinstance(found, Say) else found.isoformat()) == told
