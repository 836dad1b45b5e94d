"""Numbers as people type them: decimal comma or point, no grouping."""

import re
from decimal import Decimal
from typing import Final

_NUMBER: Final = re.compile(r"[+\-\u2212]?[0-9]{1,9}(?:[.,][0-9]{1,6})?")


class NumberError(ValueError):
    """A typed text is no number."""


def typed(text: str) -> Decimal:
    """The number that somebody typed: decimal comma or point, at most nine digits before and six after it.

    There is no grouping: `1,234` and `1.234` are both one and a bit. Raises NumberError for anything else.
    """
    tidy = text.strip()
    if not _NUMBER.fullmatch(tidy):
        raise NumberError(f"{tidy!r} is not a number; type digits with at most one comma or point.")
    return Decimal(tidy.replace(",", ".").replace("\u2212", "-"))


def number_of(text: str) -> Decimal | None:
    """Like `typed`, but None for what is no number."""
    try:
        return typed(text)
    except NumberError:
        return None
