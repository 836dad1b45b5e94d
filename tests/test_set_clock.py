"""A clock that is set while the plant works: a dwell counts the time that passed, and a doubtful clock is said."""

from datetime import datetime, timedelta

import pytest
from msgspec.structs import replace

from floorterm.changeover.fold import fold
from floorterm.changeover.order_rules import set_clock_refusals
from floorterm.entries import Draft, Entry
from floorterm.ledger import Asked, Head, Ledger
from floorterm.ledger.clock import doubtful
from floorterm.plant import Plant, _set_clock
from floorterm.wording import Refusal
from tests.changeover.sheets import ODE, PLANT, START, Record, good_entry
from tests.terminal.shell import opened, text_of, until


def _cooling() -> Record:
    return Record().sign("prep/stop").sign("prep/nose")


@pytest.mark.parametrize(
    ("ahead_min", "waited_min", "refused"),
    [(0, 11, False), (60, 11, True), (60, 69, True), (60, 71, False), (-60, 11, False)],
)
def test_a_dwell_is_not_over_by_a_clock_that_was_set(ahead_min: int, waited_min: int, refused: bool) -> None:
    record = _cooling()
    step = record.worksheet.step("prep/cool")
    assert step is not None
    now = (record.now + timedelta(minutes=waited_min)).astimezone(PLANT)
    found = list(set_clock_refusals(record.state, step, now, timedelta(minutes=ahead_min)))
    assert [one.say.key for one in found] == ["changeover.dwell_clock_set"] * refused


def test_the_order_of_entries_is_by_number_whatever_their_times() -> None:
    record = Record().sign("prep/stop")
    record.now -= timedelta(hours=1)
    record.sign("prep/nose")
    state = fold("C-0001", record.entries)
    assert list(state.signed) == ["prep/stop", "prep/nose"]
    assert state.signed["prep/nose"].at < state.signed["prep/stop"].at


def test_a_clock_is_doubted_before_the_newest_entry_or_a_day_past_it() -> None:
    assert doubtful(START - timedelta(seconds=3), START) == "before"
    assert doubtful(START - timedelta(seconds=1), START) == ""
    assert doubtful(START + timedelta(hours=23), START) == ""
    assert doubtful(START + timedelta(hours=25), START) == "past"


@pytest.mark.parametrize(("hours", "said"), [(-1, "before the newest entry"), (30, "more than a day past")])
async def test_the_terminal_says_so_when_it_opens(
    plant: Plant, monkeypatch: pytest.MonkeyPatch, hours: int, said: str
) -> None:
    now: datetime = plant.ledger.now() + timedelta(hours=hours)
    monkeypatch.setattr(plant.ledger, "now", lambda: now)
    head: Head = plant.ledger.head()
    async with opened(plant) as (app, pilot):
        await until(pilot, lambda: said in " ".join(text_of(app).split()))
    assert plant.ledger.head() == head, "it is said, nothing is kept from anybody"


def test_an_act_adds_up_what_the_record_says_of_the_clock_and_what_no_entry_says_yet() -> None:
    record = _cooling()
    act = good_entry(record.state, record.worksheet.step("prep/cool"), ODE)  # type: ignore[arg-type]
    stepped = replace(
        record.entries[-1], kind="clock.stepped", value={"by": {"number": "1800.0", "unit": "s"}}
    )
    asked_for: list[object] = []

    def entries(**filters: object) -> list[Entry]:
        asked_for.append(filters)
        return [stepped]

    now = (record.now + timedelta(minutes=45)).astimezone(PLANT)
    asked = Asked(None, None, now, entries, stepped=timedelta(minutes=20))
    (refusal,) = _set_clock(record.state, act, asked, now)
    assert refusal.say.facts["set"] == "50"
    assert asked_for == [{"kinds": ("clock.stepped",), "after_n": record.state.signed["prep/nose"].n}]
    settled = replace(asked, stepped=None)
    assert not _set_clock(record.state, act, settled, now), (
        "30 min ahead and 45 waited: 15 of 10 really passed"
    )


def test_whoever_guards_an_act_hears_of_a_step_that_no_entry_tells_yet(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    wall = [plant.ledger.now() + timedelta(hours=1)]
    heard: list[timedelta | None] = []
    monkeypatch.setattr("floorterm.ledger.clock.wall_clock", lambda: wall[0])
    ledger = Ledger.open(plant.ledger.path)

    def guard(asked: Asked) -> tuple[Refusal, ...]:
        heard.append(asked.stepped)
        return ()

    for key in ("a", "b"):
        ledger.append(Draft(kind="work.note", key=key, value={"text": key}), guard)
        wall[0] += timedelta(hours=2)
    assert heard[0] is None
    assert heard[1] is not None
    assert timedelta(minutes=119) < heard[1] < timedelta(minutes=121)
