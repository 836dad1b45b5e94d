"""What the sign-in screen says. Pure."""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

from floorterm.languages import Worded
from floorterm.terminal.views.text import Line, Span, tell, wrapped
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.people import Person


PIN_AGAIN = "terminal.pin_again"
_MOST_SAID = 13  # lines above the PIN, so that it stands beside the pad at 80x24 too


class DutyNamed(Protocol):
    """A duty as plant.yaml names it."""

    @property
    def id(self) -> str:
        """The duty's id."""
        ...

    @property
    def name(self) -> Worded:
        """Its name by language."""
        ...


class PersonRow(Struct, frozen=True):
    """One person to pick: name and code, duties under it."""

    key: str
    lines: tuple[Line, Line]


class PinView(Struct, frozen=True, kw_only=True):
    """Where the asking of a PIN stands. `digits` counts what is typed; the digits themselves are nowhere."""

    name: str
    code: str
    digits: int
    checking: bool = False
    reason: str = ""
    duty: str = ""
    failed: bool = False
    about: tuple[str, ...] = ()
    demo: bool = False


def people_rows(
    people: "Iterable[Person]", duties: Iterable[DutyNamed], typed: str, language: str
) -> tuple[tuple[Line, ...], tuple[PersonRow, ...]]:
    """The prompt with what was typed, and the people that it fits."""
    names = {duty.id: tell(duty.name, language) for duty in duties}
    wanted = typed.strip().casefold()
    fitting = [person for person in people if _fits(person, wanted)]
    fitting.sort(key=lambda person: (person.code.casefold() != wanted, person.name.casefold()))
    prompt: Line = (
        Span(words("terminal.sign_in_prompt", language) + " "),
        Span(f"{typed}_", "input"),
    )
    rows = tuple(
        PersonRow(
            person.code,
            (
                (Span(person.name, "strong"), Span(f"   {person.code}", "quiet")),
                (Span(_does(person, names, language), "quiet"),),
            ),
        )
        for person in fitting
    )
    return (prompt,), rows


def _does(person: "Person", duties: Mapping[str, str], language: str) -> str:
    """Duties on the floor; whoever has none is told by their permission."""
    named = [duties.get(duty, duty) for duty in sorted(person.duties)]
    return ", ".join(named) or words(f"terminal.permission_{person.permission.value}", language)


def _fits(person: "Person", wanted: str) -> bool:
    if not wanted or person.badge.casefold() == wanted:
        return True
    return any(
        part.casefold().startswith(wanted) for part in (person.code, person.name, *person.name.split())
    )


def _signed(about: tuple[str, ...], width: int, most: int) -> list[Line]:
    """What is signed; a text of a length that leaves no room for the PIN ends in dots."""
    lines = [line for text in about for line in wrapped(text, width, "strong")]
    if len(lines) > most:
        last = "".join(span.text for span in lines[most - 1])
        lines[most - 1 :] = [(Span(f"{last[: width - 1]}…", "strong"),)]
    return lines


def pin_lines(view: PinView, width: int, language: str) -> tuple[Line, ...]:
    """Who is asked, why, and how many digits are typed."""
    lines: list[Line] = [(Span(view.name, "strong"), Span(f"   {view.code}", "quiet")), ()]
    if view.reason and not (view.about and view.reason == PIN_AGAIN):  # what is signed says it better
        lines += [*wrapped(words(view.reason, language), width), ()]
    if view.about:
        lines.append((Span(words("terminal.signs", language), "quiet"),))
        lines += [*_signed(view.about, width, _MOST_SAID - len(lines)), ()]
    lines.append((Span("PIN  "), Span("* " * view.digits + ("_" if not view.checking else ""), "input")))
    lines.append(())
    if view.checking:
        lines.append((Span(words("terminal.pin_checking", language), "quiet"),))
    elif not view.failed:
        lines += wrapped(words("terminal.pin_hint", language), width, "quiet")
    else:
        lines += wrapped(words("terminal.pin_unconfirmed_hint", language), width, "caution")
    if view.demo:
        lines += [(), *wrapped(words("terminal.demo_pin", language), width)]
    return tuple(lines)
