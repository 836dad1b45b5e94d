"""What the Checklists screen says: lines, fragrances, procedures and lockouts as they are now. Pure."""

from collections.abc import Iterable
from datetime import tzinfo
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import asdict

from floorterm.terminal.views.text import Line, Span, short_name, tell, thousands, wrapped
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.library import Library, TranslationGap
    from floorterm.library.model import LineFile, LockoutFile

_MOST_GAPS = 3  # of a file, named one by one


class LibraryRow(Struct, frozen=True):
    """One row: a heading, or something of the library; `kind` and `name` say what."""

    key: str
    lines: tuple[Line, ...]
    kind: str = ""
    name: str = ""


def approval_line(
    library: "Library", approval: "Entry | None", others: "Entry | None", zone: tzinfo, language: str
) -> Line:
    """The digest, and who approved exactly these files, or other ones since."""
    digest = Span(words("terminal.digest", language, digest=library.digest[:16]), "quiet")

    def by(key: str, entry: "Entry") -> str:
        at = f"{entry.at.astimezone(zone):%Y-%m-%d %H:%M}"
        return words(key, language, name=short_name(entry.name or entry.person), at=at)

    if approval is not None:
        return (digest, Span("  "), Span(by("terminal.approved_by", approval), "done"))
    told = by("terminal.others_approved_by", others) if others else words("terminal.not_approved", language)
    return (digest, Span("  "), Span(f" {told} ", "caution"))


def library_rows(library: "Library", language: str) -> tuple[LibraryRow, ...]:
    """Everything in it, by kind."""
    rows: list[LibraryRow] = []

    def part(kind: str, found: "Iterable[tuple[str, str, str]]") -> None:
        items = list(found)
        heading = words(f"terminal.library_{kind}", language, n=len(items))
        rows.append(LibraryRow(f"heading {kind}", ((Span(f" {heading}", "strong"),),)))
        for name, title, note in items:
            lines: tuple[Line, Line] = ((Span(title),), (Span(note, "quiet"),))
            rows.append(LibraryRow(f"{kind} {name}", lines, kind, name))

    part(
        "lines",
        ((name, tell(one.name, language), _line_note(one, language)) for name, one in library.lines.items()),
    )
    part(
        "fragrances",
        (
            (name, f"{tell(one.name, language)}   {one.code}", _on(library, one.lines, language))
            for name, one in library.fragrances.items()
        ),
    )
    part(
        "alone",
        (
            (name, tell(one.title, language), _on(library, one.lines, language))
            for name, one in library.alone.items()
        ),
    )
    part(
        "lockouts",
        (
            (name, tell(one.title, language), _lockout_note(one, language))
            for name, one in library.lockouts.items()
        ),
    )
    return tuple(rows)


def _on(library: "Library", lines: "Iterable[str]", language: str) -> str:
    """The lines of something by what people call them."""
    return ", ".join(tell(library.lines[line].name, language) for line in lines)


def _line_note(line: "LineFile", language: str) -> str:
    return words(
        "terminal.line_note",
        language,
        units=len(line.units),
        points=len(line.points),
        rate=thousands(line.rate_kg_h, language),
    )


def _lockout_note(lockout: "LockoutFile", language: str) -> str:
    return words(
        "terminal.lockout_note",
        language,
        machine=tell(lockout.machine, language),
        revision=lockout.revision,
        date=lockout.effective_on.isoformat(),
        points=len(lockout.points),
    )


def line_lines(line: "LineFile", width: int, language: str) -> tuple[Line, ...]:
    """Units in process order, then isolation points."""
    lines: list[Line] = [(Span(words("terminal.units", language), "strong"),)]
    for unit in line.units:
        mass = words(
            "terminal.unit_note",
            language,
            mixed=f"{unit.mixed_kg:f}",
            plug=f"{unit.plug_kg:f}",
            evidence=words(f"terminal.evidence_word_{unit.evidence}", language),
        )
        lines += wrapped(f"{tell(unit.title, language)}: {mass}", width, indent=4)
    lines += [(), (Span(words("terminal.points", language), "strong"),)]
    for point in line.points:
        text = f"{point.id}  {tell(point.name, language)}, {tell(point.place, language)}: {point.magnitude}"
        lines += wrapped(text, width, indent=4)
    return tuple(lines)


def lockout_lines(lockout: "LockoutFile", width: int, language: str) -> tuple[Line, ...]:
    """What the energy-control procedure states, in the site's own sentences."""
    lines: list[Line] = [(Span(tell(lockout.title, language), "strong"),), ()]
    for name, text in asdict(lockout.content).items():
        lines.append((Span(words(f"terminal.content_{name}", language), "quiet"),))
        lines += [(Span("  "), *line) for line in wrapped(tell(text, language), width - 2)]
    return tuple(lines)


def gap_lines(gaps: "Iterable[TranslationGap]", width: int, language: str) -> tuple[Line, ...]:
    """Each text without a reviewed translation; those of a file by their number where it has many."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for gap in gaps:
        found.setdefault((gap.path, gap.kind, gap.language), []).append(gap.field)
    lines: list[Line] = []
    for (path, kind, missing), fields in found.items():
        said = words(f"terminal.gap_{kind}", language, missing=missing)
        many = len(fields) > _MOST_GAPS
        for field in [words("terminal.gap_texts", language, n=len(fields))] if many else fields:
            lines += wrapped(f"{path}: {field}: {said}", width, indent=4)
    return tuple(lines) or ((Span(words("terminal.no_gaps", language)),),)


def text_lines(text: str) -> tuple[Line, ...]:
    """A printed text, line by line."""
    return tuple((Span(line),) for line in text.splitlines())
