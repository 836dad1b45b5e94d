"""Texts that lack a translation, or have one that nobody has reviewed: a report, not a fault."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from msgspec import Struct

from floorterm.languages import DRAFT, FALLBACK, by_language
from floorterm.library.model import Library, Text
from floorterm.library.reading import Loc, field_of


class TranslationGap(Struct, frozen=True):
    """One text without a reviewed translation: its file, the way to it, and which language lacks what."""

    path: str
    field: str
    kind: Literal["missing", "unreviewed"]
    language: str


def translation_gaps(library: Library) -> tuple[TranslationGap, ...]:
    """Every text that is not fully translated into the languages of the plant, file by file."""
    languages = tuple(code for code in library.plant.languages if code != FALLBACK)
    files: dict[str, Struct] = {
        library.files.get("plant", "plant.yaml"): library.plant,
        library.files.get("sequence", library.sequence.id): library.sequence,
    }
    kinds: Mapping[str, Mapping[str, Struct]] = {
        "lines": library.lines,
        "fragrances": library.fragrances,
        "lockouts": library.lockouts,
        "blocks": library.blocks,
        "alone": library.alone,
    }
    for kind, found in kinds.items():
        files.update({library.files.get(f"{kind}/{name}", name): model for name, model in found.items()})
    return tuple(gap for path in sorted(files) for gap in _gaps(path, files[path], (), languages))


def lacks_review(value: object, language: str) -> bool:
    """Whether any text of the value stands without a reviewed translation into that language."""
    return language != FALLBACK and any(True for _ in _gaps("", value, (), (language,)))


def _gaps(path: str, value: object, loc: Loc, languages: Sequence[str]) -> Iterator[TranslationGap]:
    if isinstance(value, Text):
        found = by_language(value)
        for code in languages:
            if code not in found:
                yield TranslationGap(
                    path, field_of(loc), "unreviewed" if code + DRAFT in found else "missing", code
                )
    elif isinstance(value, Struct):
        for name in value.__struct_fields__:
            yield from _gaps(path, getattr(value, name), (*loc, name), languages)
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from _gaps(path, item, (*loc, index), languages)
