"""What the application tells a screen."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.message import Message

if TYPE_CHECKING:
    from floorterm.changeover.acts import Act
    from floorterm.entries import Entry


class ByHand(Message):
    """A widget tells its screen that a hand opened, pressed or tapped something on it."""


@dataclass(eq=False, repr=False)
class Recorded(Message):
    """An entry is in the record: sent only after the commit."""

    entry: "Entry"


@dataclass(eq=False, repr=False)
class NotRecorded(Message):
    """Nothing was recorded, and why; or that is not `known` yet, and is told later. What was typed stays.

    `act` is None for what is no act on a work (a start, an approval). `key` is the idempotency key to press
    again with, so that a commit whose outcome is unknown is looked up instead of repeated. Without sentences
    the person stepped back by themselves.
    """

    sentences: tuple[str, ...]
    key: str
    act: "Act | None" = None
    known: bool = True


class LedgerMoved(Message):
    """The record has more entries than the screen has seen."""


class MinutePassed(Message):
    """The minute on the wall clock has changed."""


class Retold(Message):
    """Say everything again: another language, another person, or the plant has just been opened."""


@dataclass(eq=False, repr=False)
class Scanned(Message):
    """A scanner read a code. A scan names things and persons; it never signs."""

    text: str
