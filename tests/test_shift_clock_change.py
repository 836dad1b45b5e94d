"""A night shift on which the clock is changed, on a real plant: what belongs to it, its minutes, when it is signed.

The changes of Denver as in the time zone database: 8 March and 1 November 2026, both at 02:00.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from floorterm.changeover.acts import Abandon, RaiseDeviation, SignStep
from floorterm.changeover.minutes import minutes_spent
from floorterm.demo.clock import SetClock
from floorterm.ledger import RefusedError
from floorterm.plant import Plant
from floorterm.shift.window import window_at, window_named, window_text
from floorterm.shift_review import review_of, shift_to_review, sign
from tests.conftest import who

_MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Night:
    """A night: its key, when it begins and ends, how long it is, its end on the wall clock."""

    key: str
    since: datetime
    until: datetime
    hours: int
    end: str


NIGHTS = {
    "spring": Night(
        "2026-03-07/night", datetime(2026, 3, 8, 5, tzinfo=UTC), datetime(2026, 3, 8, 12, tzinfo=UTC), 7, "-06:00"
    ),
    "autumn": Night(
        "2026-10-31/night", datetime(2026, 11, 1, 4, tzinfo=UTC), datetime(2026, 11, 1, 13, tzinfo=UTC), 9, "-07:00"
    ),
}  # fmt: skip


@pytest.fixture(params=NIGHTS)
def night(request: pytest.FixtureRequest) -> Night:
    return NIGHTS[request.param]


@pytest.fixture
def clock(night: Night) -> SetClock:
    """The plant's clock, a minute before the night shift begins."""
    return SetClock(night.since - _MINUTE)


def _raised(plant: Plant, work: str, text: str) -> int:
    return plant.act(work, RaiseDeviation(text=text), who(plant, "AA"), key=text).n


def test_a_night_on_which_the_clock_is_changed_has_its_own_and_only_that(
    plant: Plant, clock: SetClock, night: Night
) -> None:
    work = plant.start_procedure(who(plant, "SS"), "L1", "eyewash-weekly", "begin").work
    before = _raised(plant, work, "before it began")
    clock.move_to(night.since)
    first = _raised(plant, work, "in its first minute")
    clock.move_to(night.since + timedelta(hours=5))  # the change is over
    step = next(plant.state(work).worksheet.steps())
    choice = next(one.id for one in step.choices if not one.deviation)
    plant.act(work, SignStep(step=step.id, choice=choice), who(plant, "VV"), key="sign")
    clock.move_to(night.until - _MINUTE)
    last = _raised(plant, work, "in its last minute")
    clock.move_to(night.until)
    after = _raised(plant, work, "when it was over")
    plant.act(work, Abandon(reason="enough"), who(plant, "AA"), key="abandon")

    window = window_named(plant.library.plant.shifts, night.key, plant.zone)
    assert (window.since, window.until, window.hours) == (night.since, night.until, night.hours)
    assert f"({night.hours} hours" in window_text(window, "en")
    assert window_at(plant.library.plant.shifts, plant.now(), plant.zone).id == "early"
    assert shift_to_review(plant) == window
    summary = review_of(plant, window).summary
    assert [one.n for one in summary.deviations if "before" not in one.facts["text"]] == [first, last]
    assert after not in {one.n for one in summary.deviations}
    assert before in {one.n for one in summary.deviations}  # it still waits, so the shift answers for it
    assert summary.until.endswith(night.end)
    spent = minutes_spent(plant.state(work), plant.now())
    assert spent is not None
    assert spent.actual_s == (night.hours * 60 + 1) * 60
    assert sum(part.seconds for part in spent.parts) == spent.gap_s


def test_it_is_signed_from_half_an_hour_before_its_real_end(
    plant: Plant, clock: SetClock, night: Night
) -> None:
    window = window_named(plant.library.plant.shifts, night.key, plant.zone)
    clock.move_to(night.until - timedelta(minutes=31))
    with pytest.raises(RefusedError, match="until 06:00; it can be signed from 05:30"):
        sign(plant, who(plant, "SS"), review_of(plant, window), "nothing", key="early")
    clock.move_to(night.until - timedelta(minutes=30))
    sign(plant, who(plant, "SS"), review_of(plant, window), "nothing", key="then")
    assert review_of(plant, window).signature is not None
