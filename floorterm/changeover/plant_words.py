"""Sentences of the flush calculation in the words of the plant: units by what people call them."""

from collections.abc import Sequence

from floorterm.changeover.lockout_steps import spoken
from floorterm.changeover.worksheet import Text
from floorterm.library.model import LineFile
from floorterm.wording import Say, sentence


def unit_names(line: LineFile) -> dict[str, Text]:
    """The title of every unit by its id."""
    return {unit.name: spoken(unit.title) for unit in line.units}


def in_plant_words(say: Say, line: LineFile) -> Say:
    """The sentence with the id of a unit replaced by what people call it."""
    unit = say.facts.get("unit")
    if not isinstance(unit, str):
        return say
    return Say(say.key, {**say.facts, "unit": unit_names(line).get(unit, unit)})


def text_of(say: Say, languages: Sequence[str]) -> Text:
    """A sentence in the languages of the plant, as a record keeps it."""
    return {language: sentence(say, language) for language in languages}
