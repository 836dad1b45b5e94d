"""The heading of every screen: its name and its question, the plant, the time, who is signed in."""

from dataclasses import dataclass
from typing import Any, ClassVar

from msgspec import Struct
from msgspec.structs import replace
from textual import events
from textual.geometry import Region
from textual.strip import Strip

from floorterm.terminal.messages import ByHand
from floorterm.terminal.views.text import Line, Span, apart, width_of
from floorterm.terminal.widgets.paint import Look, Looks, Painted, looks

_GAP = 2  # what `apart` keeps free between both ends of a line


class HeadingView(Struct, frozen=True, kw_only=True):
    """What the heading says. `plant` goes first when there is no room; `right` stands beside the question."""

    title: str = ""
    question: str = ""
    right: Line = ()
    plant: str = ""
    mark: str = ""  # DEMO
    time: str = ""
    person: str = ""
    nobody: str = ""  # what stands there while nobody is signed in
    language: str = ""


class Heading(Painted):
    """Two lines; a tap at the right end of the first is about the person, before it about the language."""

    DEFAULT_CSS = """
    Heading { height: 2; background: $head-back; color: $head-fore; }
    """
    LOOKS: ClassVar[Looks] = looks(
        {"strong": Look("head-strong", "head-back", "cap-style"), "quiet": Look("head-quiet", "head-back")}
    )

    @dataclass(eq=False, repr=False)
    class Tapped(ByHand):
        """Somebody tapped the person's name ("person") or the language ("language")."""

        what: str

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.view = HeadingView()

    def show(self, **changes: Any) -> None:
        """Change some fields; only a line that says something else is repainted."""
        fresh = replace(self.view, **changes)
        old, self.view = self.view, fresh
        first = replace(fresh, question=old.question, right=old.right)
        if first != old:
            self.refresh(Region(0, 0, self.size.width, 1))
        if (fresh.question, fresh.right) != (old.question, old.right):
            self.refresh(Region(0, 1, self.size.width, 1))

    def _parts(self) -> tuple[Line, Line, Line]:
        """Title; plant, mark and time; language and person."""
        view = self.view
        title: Line = (Span(f" {view.title}  ", "strong"),)
        person: Line = (
            Span(f"  {view.language} ", "quiet"),
            Span(f" {view.person or view.nobody} ", "strong" if view.person else "quiet"),
        )
        middle: Line = (
            *((Span(f" {view.mark} ", "caution"), Span("  ")) if view.mark else ()),
            Span(view.time),
        )
        plant: Line = (Span(f"{view.plant}  ", "quiet"),) if view.plant else ()
        if width_of((*title, *plant, *middle, *person)) + _GAP <= self.size.width:
            middle = (*plant, *middle)
        return title, middle, person

    def render_line(self, y: int) -> Strip:
        """One of the two lines."""
        width = self.size.width
        if y == 0:
            title, middle, person = self._parts()
            return self.paint(apart(title, (*middle, *person), width, plain=self.plain), width)
        right = (*self.view.right, Span(" ")) if self.view.right else ()
        return self.paint(apart((Span(f" {self.view.question}"),), right, width, plain=self.plain), width)

    def on_click(self, event: events.Click) -> None:
        """Say what was tapped."""
        event.stop()
        if event.y != 0:
            return
        _, _, person = self._parts()
        from_right = self.size.width - event.x
        if from_right <= width_of(person[1:]):
            self.post_message(self.Tapped("person"))
        elif from_right <= width_of(person):
            self.post_message(self.Tapped("language"))
