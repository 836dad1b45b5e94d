"""Which shift it is: each one on its day, from its local start to its local end, compared as instants.

A shift begins and ends when the wall clock says so, also on the two days of the year on which that clock is changed:
a night shift then has an hour less or more, and no moment lies in two shifts or in none.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from typing import Protocol

from msgspec import Struct

from floorterm.languages import Worded, by_language, day, in_
from floorterm.wording import words

_SECOND = timedelta(seconds=1)


class ShiftNamed(Protocol):
    """A shift as plant.yaml names it."""

    @property
    def id(self) -> str:
        """Its id."""
        ...

    @property
    def name(self) -> Worded:
        """Its name by language."""
        ...

    @property
    def start(self) -> time:
        """Its local start."""
        ...

    @property
    def hours(self) -> int:
        """How many hours of the wall clock it runs."""
        ...


class UnknownShiftError(ValueError):
    """No shift has that name, or not on that day."""


class Window(Struct, frozen=True):
    """One shift on one day: from `since` until `until`, which does not count; each with its own offset.

    `name` is the plant's, by language; `day` the one on which it begins by the plan.
    """

    id: str
    name: Mapping[str, str]
    day: date
    since: datetime
    until: datetime

    @property
    def key(self) -> str:
        """How the record names it, and what somebody types to ask for it."""
        return f"{self.day.isoformat()}/{self.id}"

    @property
    def hours(self) -> float:
        """How many hours it really lasts."""
        return (self.until - self.since) / timedelta(hours=1)

    def holds(self, at: datetime) -> bool:
        """Whether a moment lies in it."""
        return self.since <= at < self.until


def window_at(shifts: Sequence[ShiftNamed], at: datetime, zone: tzinfo) -> Window:
    """The shift that runs at that moment; between two shifts, the one that began last."""
    day = at.astimezone(zone).date()
    around = (day + timedelta(days=1), day, day - timedelta(days=1))
    begun = [window for window in _windows(shifts, around, zone) if window.since <= at]
    return max(begun, key=lambda window: (window.until > at, window.since))


def window_before(shifts: Sequence[ShiftNamed], window: Window, zone: tzinfo) -> Window:
    """The shift before this one."""
    return window_at(shifts, window.since - _SECOND, zone)


def window_after(shifts: Sequence[ShiftNamed], window: Window, zone: tzinfo) -> Window:
    """The shift after this one."""
    days = tuple(window.day + timedelta(days=n) for n in range(3))
    later = (one for one in _windows(shifts, days, zone) if one.since > window.since)
    return min(later, key=lambda one: one.since)


def last_end(shifts: Sequence[ShiftNamed], at: datetime, zone: tzinfo) -> datetime:
    """When a shift ended last, at that moment or before it."""
    day = at.astimezone(zone).date()
    days = tuple(day - timedelta(days=back) for back in range(3))
    return max(window.until for window in _windows(shifts, days, zone) if window.until <= at)


def window_named(shifts: Sequence[ShiftNamed], key: str, zone: tzinfo) -> Window:
    """The shift of a key such as `2026-11-24/early`. Raises UnknownShiftError."""
    day, _, name = key.partition("/")
    try:
        found = _windows(shifts, (date.fromisoformat(day),), zone)
    except ValueError as fault:
        raise UnknownShiftError(key) from fault
    for window in found:
        if window.id == name:
            return window
    raise UnknownShiftError(key)


def window_text(window: Window, language: str) -> str:
    """Name, day and hours of a shift; how many there are, where the clock was changed."""
    weekday = words(f"terminal.weekday_{window.since.isoweekday()}", language)
    name = in_(window.name, language)
    text = f"{name}, {weekday} {day(window.since, language)}, {window.since:%H:%M}-{window.until:%H:%M}"
    if window.since.utcoffset() == window.until.utcoffset():
        return text
    return f"{text} {words('shift.clock_changed', language, hours=f'{window.hours:g}')}"


def _windows(shifts: Sequence[ShiftNamed], days: Sequence[date], zone: tzinfo) -> Iterator[Window]:
    for on in days:
        for shift in shifts:
            begin = datetime.combine(on, shift.start)
            name = by_language(shift.name)
            since, until = (_instant(local, zone) for local in (begin, begin + timedelta(hours=shift.hours)))
            yield Window(shift.id, name, on, since, until)


def _instant(local: datetime, zone: tzinfo) -> datetime:
    """A wall-clock time as an instant with its offset; one that a change skips is as late as its old offset says."""
    at = local.replace(tzinfo=zone).astimezone(UTC).astimezone(zone)
    return at.replace(tzinfo=timezone(at.utcoffset() or timedelta(0)))
