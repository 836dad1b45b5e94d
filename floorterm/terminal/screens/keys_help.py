"""Every key that works on the screen below, as a list: a key that a keyboard lacks is pressed from here."""

from collections.abc import Iterable, Sequence

from textual.binding import Binding
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen, key_name
from floorterm.terminal.views.text import Span, Tone
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words


class KeysScreen(FloorScreen[str]):
    """A list of keys; the chosen one is pressed on the screen below. Its result is the key, or None."""

    NAME = "terminal.keys"
    QUESTION = "terminal.keys_question"
    READS_RECORD = False
    CSS_PATH = "keys_help.tcss"
    OPENS = "terminal.key_press"

    def __init__(self, below: Sequence[tuple[str, Binding, bool]]) -> None:
        super().__init__()
        self._below = [one for one in below if one[0] not in ("question_mark", "enter")]

    def body(self) -> Iterable[Widget]:
        """One list."""
        yield Rows(row_height=2, digit_opens=True, tap_opens=True, id="all-keys")

    def show(self) -> None:
        """Each key with what it does; those that cannot do it now say so."""
        rows = []
        for key, binding, enabled in self._below:
            label = words(binding.description, self.language).replace("|", "")
            tone: Tone = "" if enabled else "quiet"
            note = "" if enabled else words("terminal.not_now", self.language)
            rows.append(Row(key, ((Span(f"{key_name(key):<7}", "strong"), Span(f"{label}  {note}", tone)),)))
        self.query_one("#all-keys", Rows).show(rows)

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Press that key."""
        self.dismiss(message.row.key)
