"""Dialogues for everything that is entered beside the steps: one to ask for an entry, one to choose from.

Both take values and give a value back; what becomes of it is the asking screen's business.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, ClassVar

from msgspec import Struct
from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.changeover.entering import Echo, EntrySpec, Given, Option, counter_of, lock_spec
from floorterm.changeover.figures import number_of
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import Scanned
from floorterm.terminal.owned import OwnedScreen
from floorterm.terminal.views.text import Line, Span, wrapped
from floorterm.terminal.widgets.entry import Entry
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    pass


# what is read of a text in each mode that takes digits alone; None where it is none of them
_READ: dict[str, Callable[[str], object]] = {"counter": counter_of, "number": number_of}


class AskScreen(OwnedScreen[Given | None]):
    """Asks for one entry; its result is what was given, or None when the person stepped back.

    `title` and `question` are texts already spoken. `may_be_empty` lets Enter pass with nothing entered.
    """

    READS_RECORD = False
    CSS_PATH = "dialogs.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "work.key_take", id="ask.take"),
    ]

    def __init__(
        self,
        title: str,
        question: str,
        spec: EntrySpec,
        *,
        given: Given | None = None,
        may_be_empty: bool = False,
    ) -> None:
        super().__init__()
        self._title, self._question = title, question
        self._spec, self._begin = spec, given
        self._may_be_empty = may_be_empty

    def body(self) -> Iterable[Widget]:
        """The entry with its pad."""
        yield Entry(pad_always=True, id="entry")

    def title_text(self) -> str:
        """What is asked about."""
        return self._title

    def question_text(self) -> str:
        """What is asked."""
        return self._question

    def show(self) -> None:
        """Ask."""
        entry = self.query_one(Entry)
        entry.show(self._spec, "asked")
        if self._begin is not None:
            entry.given, self._begin = self._begin, None
            entry.show(self._spec, "asked")
        if self.focused is not entry:
            entry.focus()

    def give_focus(self) -> None:
        """The field is always in focus."""
        self.query_one(Entry).focus()

    def on_entry_changed(self, message: Entry.Changed) -> None:
        """Say at once what cannot be."""
        typed, mode = message.entry.given.text, self._spec.mode
        bad = bool(typed) and mode in _READ and _READ[mode](typed) is None
        text = (
            words(f"work.echo_{'counter' if mode == 'counter' else 'no_number'}", self.language)
            if bad
            else ""
        )
        message.entry.answer(Echo(text=text, level="bad" if text else ""))
        self.refuse(())

    def scanned(self, message: Scanned) -> None:
        """A scanned code is put into the field, but no badge: nobody takes over in the middle of a dialogue."""
        entry = self.query_one(Entry)
        if self.desk.is_badge(message.text):
            self.refuse((words("terminal.scan_badge", self.language, text=message.text),), "caution")
        elif entry.takes(message.text):
            entry.put(message.text)

    def action_take(self) -> None:
        """Give back what was entered."""
        entry = self.query_one(Entry)
        if not self.is_meant(seen=entry.touched):
            return
        given = entry.given
        mode = self._spec.mode
        missing = {"one": not given.chosen, "some": False, "none": False}.get(mode, not given.text.strip())
        if mode == "counter" and counter_of(given.text) is None:
            missing = True
        if missing and not self._may_be_empty:
            self.refuse((words("work.enter_something", self.language),), "caution")
            return
        if mode == "number" and given.text.strip() and number_of(given.text) is None:
            self.refuse((words("work.no_number", self.language),), "caution")
            return
        self.dismiss(given)


class Item(Struct, frozen=True):
    """One thing to choose: what it is, and a note under it."""

    key: str
    text: str
    note: str = ""


class MenuScreen(OwnedScreen[str | None]):
    """A numbered list; its result is the key of what was chosen, or None."""

    READS_RECORD = False
    CSS_PATH = "dialogs.tcss"
    OPENS = "terminal.key_choose"

    def __init__(self, title: str, question: str, items: Sequence[Item], *, empty: str = "") -> None:
        super().__init__()
        self._title, self._question, self._items, self._empty = title, question, tuple(items), empty

    def body(self) -> Iterable[Widget]:
        """The list."""
        yield Rows(
            row_height=3,
            digit_opens=len(self._items) < 10,
            tap_opens=True,
            takes_enter=self.is_meant,
            id="menu",
        )

    def title_text(self) -> str:
        """What it is about."""
        return self._title

    def question_text(self) -> str:
        """What is asked."""
        return self._question

    def show(self) -> None:
        """Show the items."""
        room = max(20, self.size.width - 8)
        rows = [
            Row(
                item.key,
                (
                    (Span(item.text),),
                    *((Span("  "), *line) for line in wrapped(item.note, room, "quiet")[:2]),
                ),
            )
            for item in self._items
        ]
        self.query_one("#menu", Rows).show(rows, empty=self._empty)

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Take it."""
        self.dismiss(message.row.key)


class TextScreen(FloorScreen[None]):
    """Lines to read, with nothing to enter."""

    READS_RECORD = False
    CSS_PATH = "dialogs.tcss"

    def __init__(self, title: str, question: str, lines: Sequence[Line]) -> None:
        super().__init__()
        self._title, self._question, self._lines = title, question, tuple(lines)

    def body(self) -> Iterable[Widget]:
        """The lines."""
        yield Page(id="text")

    def title_text(self) -> str:
        """What it is about."""
        return self._title

    def question_text(self) -> str:
        """What it answers."""
        return self._question

    def show(self) -> None:
        """Show them."""
        self.query_one("#text", Page).show(self._lines)


# --- what is asked beside the steps -------------------------------------------------------------------


def words_spec(key: str, language: str) -> EntrySpec:
    """A text to write: a note, a reason, a report."""
    return EntrySpec(mode="text", prompt=words(f"work.{key}", language))


def reason_spec(language: str) -> EntrySpec:
    """The reason of an act."""
    return words_spec("ask_reason", language)


def counter_spec(language: str) -> EntrySpec:
    """The bar counter that belongs to an entry."""
    return EntrySpec(mode="counter", prompt=words("work.enter_counter", language))


def number_spec(key: str, unit: str, language: str) -> EntrySpec:
    """A number with its unit."""
    return EntrySpec(mode="number", prompt=words(f"work.{key}", language), unit=unit)


def holds_spec(names: Sequence[tuple[str, str]], language: str) -> EntrySpec:
    """What a line may hold now: all that was or should have been on it, unless something is taken off."""
    options = tuple(Option(id=key, text=text) for key, text in names)
    return EntrySpec(
        mode="some",
        prompt=words("work.ask_holds", language),
        options=options,
        chosen=tuple(key for key, _ in names),
    )


def own_lock_spec(point: str, language: str) -> EntrySpec:
    """The number of one's own lock for a point; the point is named in the prompt."""
    spec = lock_spec(language)
    return EntrySpec(mode=spec.mode, prompt=f"{point}: {spec.prompt}")
