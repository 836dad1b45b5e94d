"""Which shift it is: every moment lies in one, also around midnight and on the days on which the clock is changed."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.library.model import Shift, Text
from floorterm.shift.window import (
    UnknownShiftError,
    window_after,
    window_at,
    window_before,
    window_named,
    window_text,
)

ZONE = ZoneInfo("America/Denver")
ZONES = tuple(map(ZoneInfo, ("America/Denver", "Europe/Madrid", "Australia/Lord_Howe", "UTC")))


def _shift(id_: str, hour: int, hours: int = 8, minute: int = 0) -> Shift:
    return Shift(id=id_, name=Text(en=id_), start=time(hour, minute), hours=hours)


THREE = (_shift("early", 6), _shift("late", 14), _shift("night", 22))
ODD = (
    _shift("first", 2, 12, 30),
    _shift("second", 14, 12, 30),
)  # begin in the hour that the change skips or repeats
moments = st.integers(0, 365 * 24 * 60).map(
    lambda minutes: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)
# the two hours before and after each change of 2026 in Denver, a minute apart
changes = st.tuples(st.sampled_from((datetime(2026, 3, 8, 9, tzinfo=UTC), datetime(2026, 11, 1, 8, tzinfo=UTC))),
                    st.integers(-120, 120)).map(lambda two: two[0] + timedelta(minutes=two[1]))  # fmt: skip


@given(st.sampled_from((THREE, ODD)), st.sampled_from(ZONES), moments | changes)
def test_every_moment_lies_in_its_shift_and_the_shifts_touch(
    shifts: tuple[Shift, ...], zone: ZoneInfo, at: datetime
) -> None:
    window = window_at(shifts, at, zone)
    assert window.holds(at)
    after = window_after(shifts, window, zone)
    assert after.since == window.until
    assert window_before(shifts, after, zone) == window
    assert window_named(shifts, window.key, zone) == window


def test_a_night_shift_crosses_midnight_and_is_of_the_day_on_which_it_begins() -> None:
    window = window_at(THREE, datetime(2026, 11, 25, 3, 0, tzinfo=ZONE), ZONE)
    assert window_text(window, "en") == "night, Tue 2026-11-24, 22:00-06:00"
    assert (window.key, window.hours) == ("2026-11-24/night", 8)


@pytest.mark.parametrize(
    ("day", "hours", "since", "until"),
    [
        # the changes of Denver as in the time zone database: 8 March and 1 November 2026, both at 02:00
        (date(2026, 3, 7), 7, datetime(2026, 3, 8, 5, tzinfo=UTC), datetime(2026, 3, 8, 12, tzinfo=UTC)),
        (date(2026, 10, 31), 9, datetime(2026, 11, 1, 4, tzinfo=UTC), datetime(2026, 11, 1, 13, tzinfo=UTC)),
    ],
)
def test_the_night_on_which_the_clock_is_changed_has_an_hour_less_or_more(
    day: date, hours: int, since: datetime, until: datetime
) -> None:
    window = window_named(THREE, f"{day}/night", ZONE)
    assert (window.since, window.until, window.hours) == (since, until, hours)
    assert f"({hours} hours: the clock is changed)" in window_text(window, "en")
    assert f"({hours} horas" in window_text(window, "es")


def test_the_hour_that_comes_twice_lies_in_one_shift_both_times() -> None:
    for fold in (0, 1):
        assert (
            window_at(THREE, datetime(2026, 11, 1, 1, 30, tzinfo=ZONE, fold=fold), ZONE).key
            == "2026-10-31/night"
        )


def test_between_two_shifts_the_last_one_is_shown_and_the_next_one_follows() -> None:
    day = (_shift("day", 7),)
    window = window_at(day, datetime(2026, 11, 25, 20, 0, tzinfo=ZONE), ZONE)
    assert (window.since.day, window.until.hour) == (25, 15)
    assert window_after(day, window, ZONE).since.day == 26
    assert window_before(day, window, ZONE).since.day == 24


@pytest.mark.parametrize("key", ["2026-11-24", "2026-11-24/noon", "24.11.2026/early", ""])
def test_what_names_no_shift_is_refused(key: str) -> None:
    with pytest.raises(UnknownShiftError):
        window_named(THREE, key, ZONE)
