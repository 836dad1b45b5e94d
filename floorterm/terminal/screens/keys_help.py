"""Every key that works on the screen below, as a list: a key that a keyboard lacks is pressed from here."""

from collections.abc import Iterable, Mapping

from textual.binding import ActiveBinding
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen, is_worded, key_name
from floorterm.terminal.views.text import Span, Tone
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words


class KeysScreen(FloorScreen[str]):
    """A list of keys; the chosen one is pressed on the screen below. Its result is the key, or None."""

    NAME = "terminal.keys"
    QUESTION = "terminal.keys_question"
    CSS_PATH = "keys_help.tcss"

    def __init__(self, below: Mapping[str, ActiveBinding]) -> None:
        super().__init__()
        self._below = {
            key: one
            for key, one in below.items()
            if is_worded(one.binding.description) and key not in ("question_mark", "enter")
        }

    def body(self) -> Iterable[Widget]:
        """One list."""
        yield Rows(row_height=2, digit_opens=True, tap_opens=True, id="all-keys")

    def show(self) -> None:
        """Each key with what it does; those that cannot do it now say so."""
        rows = []
        for key, one in self._below.items():
            label = words(one.binding.description, self.language)
            tone: Tone = "" if one.enabled else "quiet"
            note = "" if one.enabled else words("terminal.not_now", self.language)
            rows.append(Row(key, ((Span(f"{key_name(key):<7}", "strong"), Span(f"{label}  {note}", tone)),)))
        self.query_one("#all-keys", Rows).show(rows)

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Press that key."""
        self.dismiss(message.row.key)
