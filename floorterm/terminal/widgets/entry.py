"""The one place where something is entered: a field that is always in focus, answers by digit, zones to tap.

It decides nothing: it shows an `EntrySpec`, keeps what was typed, and hands out a `Given`. Enter is the
screen's. A scanned code is put into the field like a typed one; a scan never signs.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from textwrap import wrap
from typing import Final

from msgspec.structs import replace
from rich.cells import cell_len
from textual import events
from textual.containers import Vertical
from textual.message import Message
from textual.widget import Widget

from floorterm.changeover.entering import MEASURES, Echo, EntrySpec, Given, Measure
from floorterm.changeover.figures import number_of
from floorterm.languages import pad_letters
from floorterm.terminal.messages import ByHand
from floorterm.terminal.views.text import Line, Span, Tone
from floorterm.terminal.widgets.keys import HELP_KEYS
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.zones import Zone, Zones
from floorterm.wording import words

_FIELDS: Final = frozenset({"number", "numbers", "text", "code", "kg", "counter"})
_DIGITS_ONLY: Final = {
    "number": "0123456789,.-+",
    "numbers": "0123456789,.-+ ",
    "kg": "0123456789,.",
    "counter": "0123456789",
}
_ECHO_TONES: Final[dict[str, Tone]] = {"": "quiet", "ok": "done", "outside": "caution", "bad": "danger"}
_MOST: Final = 900
_TOLD_LINES: Final = 4
_DIGITS: Final = tuple("1234567890")
_NUMBERS: Final = (*"1234567", *"890,.-")
_PAD_ROW: Final = {"letters": 10}


class Pad(Zones):
    """Characters to tap: digits, or letters where words are asked."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(per_row=7, id=id)

    def show_kind(self, kind: str, language: str, *, capitals: bool) -> None:
        """Show no pad (""), "numbers", "several numbers" or "letters"."""
        self._per_row = _PAD_ROW.get(kind, 7)
        labels: tuple[str, ...] = {"": (), "letters": (*_DIGITS, *pad_letters(language))}.get(kind, _NUMBERS)
        if capitals:  # a letter without a capital of one character stays
            labels = tuple(label.upper() if len(label.upper()) == 1 else label for label in labels)
        zones = [Zone(label, label) for label in labels]
        if kind == "letters":
            zones.append(Zone("shift", "abc" if capitals else "ABC"))
            zones.append(Zone(" ", words("work.pad_space", language)))
        if kind == "several numbers":
            zones.append(Zone(" ", words("work.pad_space", language)))
        if kind:
            zones.append(Zone("backspace", words("work.pad_back", language)))
        self.show(zones)


class Entry(Vertical, can_focus=True):
    """Field, answers and pad for one `EntrySpec`. `pad` says when the pad is shown: "room" or "always"."""

    DEFAULT_CSS = """
    Entry { height: auto; }
    Entry > Page { height: 0; }
    """

    @dataclass(eq=False, repr=False)
    class Changed(Message):
        """Something was typed, chosen or taken back."""

        entry: "Entry"

    @dataclass(eq=False, repr=False)
    class PadWanted(ByHand):
        """The field was tapped where no pad has room."""

        entry: "Entry"

    def __init__(self, *, pad_always: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self.spec = EntrySpec()
        self.about = ""
        self.given = Given()
        self.touched = False  # by hand or by a scan, since this was asked
        self._cursor = 0
        self._echo = Echo(text="")
        self._pad_always = pad_always
        self._capitals = False

    def compose(self) -> Iterable[Widget]:
        """Field, answers, pad."""
        yield Page(id="field")
        yield Zones(id="answers")
        yield Pad(id="pad")

    # --- values ---------------------------------------------------------------------------------

    def show(self, spec: EntrySpec, about: str) -> None:
        """Ask for something; another `about` begins with an empty field, the same one keeps what was typed."""
        if about != self.about:
            self.given = Given(chosen=spec.chosen)
            self.touched = False
            self._cursor = 0
            self._capitals = spec.mode == "code"  # codes on labels are mostly in capitals
            self._echo = Echo(text="")
        self.spec, self.about = spec, about
        self._draw()

    def answer(self, echo: Echo) -> None:
        """What the screen answers to what was typed."""
        if echo != self._echo:
            self._echo = echo
            self._draw()

    def put(self, text: str) -> None:
        """A scanned or tapped text takes the place of what stands in the field.

        Where several numbers are asked it follows them: a scale that types sends one weighing after the other.
        """
        if self.spec.mode == "numbers" and self.given.text:
            text = f"{self.given.text.rstrip()} {text}"
        self._change(text=text[:_MOST])

    def takes(self, scanned: str) -> bool:
        """Whether a scanned text may stand in this field: words and codes, or one more of several numbers."""
        if self.spec.mode == "numbers":
            return number_of(scanned) is not None
        return self.spec.mode in ("code", "text")

    def clear(self) -> bool:
        """Empty the field and the answers; whether there was anything to empty."""
        empty = replace(Given(chosen=self.spec.chosen), measure=self.given.measure)
        if self.given == empty:
            return False
        self.given = empty
        self._told()
        return True

    def forget(self) -> None:
        """The entry was recorded: the next one starts empty, also at the same step."""
        self.about = ""
        self.given = Given()
        self.touched = False

    @property
    def is_field(self) -> bool:
        """Whether something is typed here, rather than chosen."""
        return self.spec.mode in _FIELDS

    def needed(self) -> int:
        """Lines that field, answers and pad take."""
        parts = self.query_one("#answers", Zones).needed() + self.query_one("#pad", Pad).needed()
        return len(self._field_lines()) + parts

    def _change(self, **fields: object) -> None:
        self.given = replace(self.given, **fields)
        self._told()

    def _told(self) -> None:
        self.touched = True
        self.post_message(self.Changed(self))
        self._draw()

    # --- drawing --------------------------------------------------------------------------------

    def _draw(self) -> None:
        if not self.is_mounted:
            return
        lines = self._field_lines()
        field = self.query_one("#field", Page)
        field.styles.height = len(lines)
        field.show(lines)
        self.query_one("#answers", Zones).show(self._answers())
        self.query_one("#pad", Pad).show_kind(self._pad_kind(), self._language, capitals=self._capitals)

    @property
    def _language(self) -> str:
        return str(getattr(self.app, "language", "en"))

    def _pad_kind(self) -> str:
        if not self.is_field or not (self._pad_always or self.app.size.height >= 34):
            return ""
        words_asked = self.spec.mode in ("text", "code")
        if words_asked and not self._pad_always:
            return ""
        return "letters" if words_asked else "several numbers" if self.spec.mode == "numbers" else "numbers"

    def _field_lines(self) -> list[Line]:
        spec = self.spec
        if spec.mode == "none":
            return []
        prompt: Line = (Span(f" {spec.prompt}", "strong"),)
        if not self.is_field:
            return [prompt]
        unit = spec.unit if spec.mode != "kg" else words(f"work.measure_{self.given.measure}", self._language)
        shown = self.given.text
        room = max(10, (self.size.width or self.app.size.width) - 40)
        if cell_len(shown) > room:
            shown = shown[-room:]
        field: list[Span] = [
            Span(" > ", "input"),
            Span(shown, "input"),
            Span("_", "input"),
            Span(f" {unit}  "),
        ]
        if spec.mode == "numbers":
            return [prompt, tuple(field), *self._told_below()]
        if self._echo.text:
            field.append(Span(f" {self._echo.text} ", _ECHO_TONES[self._echo.level]))
        elif spec.limit:
            field.append(Span(spec.limit, "quiet"))
        return [prompt, tuple(field)]

    def _told_below(self) -> list[Line]:
        """What follows from several numbers takes lines of its own."""
        tone = _ECHO_TONES[self._echo.level] if self._echo.text else "quiet"
        width = max(20, (self.size.width or self.app.size.width) - 6)
        return [
            (Span(f"   {line} ", tone),)
            for line in wrap(self._echo.text or self.spec.limit, width)[:_TOLD_LINES]
        ]

    def _answers(self) -> tuple[Zone, ...]:
        if self.spec.mode == "kg":
            chosen = self.given.measure
            return tuple(
                Zone(name, words(f"work.measure_{name}_long", self._language), chosen=name == chosen)
                for name in MEASURES
            )
        several = self.spec.mode == "some"
        return tuple(
            Zone(
                option.id,
                option.text,
                digit=str(place) if place < 10 else "",
                note=option.note,
                chosen=option.id in self.given.chosen,
                under_cursor=several and place - 1 == self._cursor,
            )
            for place, option in enumerate(self.spec.options, 1)
        )

    # --- keys and taps --------------------------------------------------------------------------

    def on_key(self, event: events.Key) -> None:
        """Typing, choosing and taking back; everything else is the screen's."""
        taken = self._type(event) if self.is_field else self._pick(event)
        if taken:
            event.stop()
            event.prevent_default()

    def _type(self, event: events.Key) -> bool:
        character = event.character or ""
        if event.key == "backspace":
            self._change(text=self.given.text[:-1])
        elif event.key == "delete":
            self._change(text="")
        elif event.key in ("up", "down") and self.spec.mode == "kg":
            place = MEASURES.index(self.given.measure) + (1 if event.key == "down" else -1)
            self._change(measure=MEASURES[place % len(MEASURES)])
        elif character and character.isprintable() and self._allowed(character):
            self._change(text=(self.given.text + character)[:_MOST])
        else:
            return bool(character and character.isprintable() and character not in HELP_KEYS)
        return True

    def _allowed(self, character: str) -> bool:
        return character in _DIGITS_ONLY.get(self.spec.mode, character)

    def _pick(self, event: events.Key) -> bool:
        options = self.spec.options
        if not options:
            return False
        if event.character and event.character in "123456789":
            place = int(event.character) - 1
            if place < len(options):
                self._choose(options[place].id)
            return True
        if event.key in ("up", "left", "down", "right"):
            self._step(1 if event.key in ("down", "right") else -1)
            return True
        if event.key == "space" and self.spec.mode == "some":
            self._choose(options[self._cursor].id)
            return True
        return False

    def _step(self, by: int) -> None:
        self._cursor = (self._cursor + by) % len(self.spec.options)
        if self.spec.mode == "one":
            chosen = self.given.chosen[0] if self.given.chosen else ""
            ids = [option.id for option in self.spec.options]
            place = ids.index(chosen) + by if chosen in ids else (0 if by > 0 else len(ids) - 1)
            self._choose(ids[place % len(ids)])
        else:
            self._draw()

    def _choose(self, option: str) -> None:
        if self.spec.mode == "one":
            self._change(chosen=(option,))
            return
        marked = set(self.given.chosen) ^ {option}
        self._change(chosen=tuple(one.id for one in self.spec.options if one.id in marked))

    def on_zones_tapped(self, message: Zones.Tapped) -> None:
        """A tap chooses, types, or changes the unit."""
        message.stop()
        self.focus()
        if isinstance(message.zones, Pad):
            self._tap_pad(message.key)
        elif self.spec.mode == "kg":
            measure: Measure = next(name for name in MEASURES if name == message.key)
            self._change(measure=measure)
        else:
            self._choose(message.key)

    def _tap_pad(self, key: str) -> None:
        if key == "backspace":
            self._change(text=self.given.text[:-1])
        elif key == "shift":
            self._capitals = not self._capitals
            self._draw()
        elif self._allowed(key):
            self._change(text=(self.given.text + key)[:_MOST])

    def on_click(self, event: events.Click) -> None:
        """A tap on the field asks for a pad where there is none."""
        event.stop()
        self.focus()
        if self.is_field and not self._pad_kind():
            self.post_message(self.PadWanted(self))

    def on_resize(self) -> None:
        """Room for a pad, or none."""
        self._draw()
