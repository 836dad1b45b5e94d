"""Missing and unreviewed translations are reported, each with its file and field, and are no faults."""

from pathlib import Path

import pytest

from floorterm.languages import LANGUAGES
from floorterm.library import LibraryError, TranslationGap, load, translation_gaps
from tests.library.helper import FILES, plant


def test_a_plant_with_all_its_translations_has_no_gap(tmp_path: Path) -> None:
    assert translation_gaps(load(plant(tmp_path))) == ()


def test_every_gap_names_file_field_kind_and_language(tmp_path: Path) -> None:
    changes = {
        "lines/one.yaml": FILES["lines/one.yaml"].replace("{en: Mixer, es: Mezcladora}", "Mixer"),
        "procedures/cleaning.yaml": FILES["procedures/cleaning.yaml"].replace("es: rota", "es_draft: rota"),
        "procedures/changeover.yaml": FILES["procedures/changeover.yaml"].replace(", es: Cambio", ', es: ""'),
        "plant.yaml": FILES["plant.yaml"].replace(", es: Agua de inmediato.", ""),
    }
    assert translation_gaps(load(plant(tmp_path, changes))) == (
        TranslationGap("lines/one.yaml", "units[1].title", "missing", "es"),
        TranslationGap("plant.yaml", "first_aid[1].lines[1]", "missing", "es"),
        TranslationGap("procedures/changeover.yaml", "title", "missing", "es"),
        TranslationGap(
            "procedures/cleaning.yaml", "sections[1].steps[1].choices[2].text", "unreviewed", "es"
        ),
    )


def test_a_plant_of_one_language_has_no_gap(tmp_path: Path) -> None:
    changes = {
        "plant.yaml": FILES["plant.yaml"] + "languages: [en]\n",
        "lines/one.yaml": FILES["lines/one.yaml"].replace("{en: Mixer, es: Mezcladora}", "Mixer"),
    }
    assert translation_gaps(load(plant(tmp_path, changes))) == ()


def test_gaps_are_told_for_each_language_that_the_plant_declares(tmp_path: Path) -> None:
    changes = {
        "plant.yaml": FILES["plant.yaml"] + "languages: [en, de]\n",
        "lines/one.yaml": FILES["lines/one.yaml"].replace(
            "{en: Mixer, es: Mezcladora}", "{en: Mixer, de_draft: Mischer}"
        ),
    }
    found = translation_gaps(load(plant(tmp_path, changes)))
    assert {gap.language for gap in found} == {"de"}
    assert [gap.field for gap in found if gap.kind == "unreviewed"] == ["units[1].title"]


def test_a_language_that_the_program_does_not_speak_is_a_fault_that_names_those_it_does(
    tmp_path: Path,
) -> None:
    changes = {
        "plant.yaml": FILES["plant.yaml"] + "languages: [en, xx]\n",
        "lines/one.yaml": FILES["lines/one.yaml"].replace("es: Mezcladora", "xx: Mezcladora"),
    }
    with pytest.raises(LibraryError) as caught:
        load(plant(tmp_path, changes))
    assert [(fault.path, fault.field) for fault in caught.value.faults] == [
        ("lines/one.yaml", "units[1].title.xx"),
        ("plant.yaml", "languages[2]"),
    ]
    assert all(code in caught.value.faults[1].expected for code in LANGUAGES)
