"""Calendar months as the regulation counts them."""

import calendar
from datetime import date


def months_after(day: date, months: int) -> date:
    """The same day of the month some months later; the last day of a month that is too short."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
