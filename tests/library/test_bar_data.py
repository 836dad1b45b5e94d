"""Colour bands, odour, indices, safety maxima and the plant's colour and odour policy, as the files say them."""

# ruff: noqa: E501  the table reads as a table

from decimal import Decimal
from pathlib import Path

import pytest

from floorterm.library import load
from floorterm.library.model import FragranceFile, Library, LimitPolicy
from tests.library.helper import FILES, broken, faults_of, plant

CLOVE, PLAIN, PLANT = "fragrances/clove.yaml", "fragrances/plain.yaml", "plant.yaml"

_MORE = (
    "odour: {activity: 1800, evidence: measured, source: panel}\n"
    "indices:\n  - {name: natural origin, value: 0.98, claim: 0.95, evidence: guessed, source: sheet}\n"
    "maxima:\n  - {item: Eugenol, content: 0.02, evidence: estimated, source: certificate}\n"
    "label:\n"
)
_COLOUR = ("  lab: [37, 15, 22]", "  lab: [37, 15, 22]\n  bands: [0.19, 0.07, 0.03]")


@pytest.mark.parametrize(
    ("old", "new", "field", "expected"),
    [
        (_COLOUR[0], _COLOUR[1].replace("0.19", "0"), "colour.bands[1]", "a number above 0"),
        (_COLOUR[0], _COLOUR[1].replace("0.19", "19"), "colour.bands[1]", "a number of at most 1"),
        (_COLOUR[0], _COLOUR[1].replace("0.19, ", ""), "colour.bands", "a list of at least 3 items"),
        (_COLOUR[0], "  lab: [137, 15, 22]", "colour.lab", "L*, a* and b* with L* from 0 to 100"),
        ("label:\n", "odour: {activity: -1, evidence: guessed, source: x}\nlabel:\n", "odour.activity", "a number of at least 0"),
        ("label:\n", "odour: {activity: 1, evidence: guessed}\nlabel:\n", "odour.source", "the key source"),
        ("label:\n", "indices: [{name: n, value: 98, evidence: guessed, source: x}]\nlabel:\n", "indices[1].value",
         "a number of at most 1"),
        ("label:\n", "maxima: [{item: Eugenoll, content: 0.1, evidence: guessed, source: x}]\nlabel:\n", "maxima[1].item",
         "an item of the label list"),
    ],
)  # fmt: skip
def test_a_broken_figure_of_a_bar_has_its_place(
    tmp_path: Path, old: str, new: str, field: str, expected: str
) -> None:
    assert (field, expected) in {(fault.field, fault.expected) for fault in broken(tmp_path, CLOVE, old, new)}


def test_a_name_that_stands_twice_is_told(tmp_path: Path) -> None:
    index = "{name: n, value: 0.9, evidence: guessed, source: x}"
    faults = broken(tmp_path, CLOVE, "label:\n", f"indices: [{index}, {index}]\nlabel:\n")
    assert [fault.field for fault in faults] == ["indices[2].name"]


def test_a_bar_without_oils_has_no_odour(tmp_path: Path) -> None:
    faults = broken(
        tmp_path,
        PLAIN,
        "bar_format: rect",
        "odour: {activity: 5, evidence: guessed, source: x}\nbar_format: rect",
    )
    assert [(fault.field, fault.expected) for fault in faults] == [("odour", "none for a bar without oils")]


def test_a_plant_warns_before_it_limits(tmp_path: Path) -> None:
    text = FILES[PLANT].rstrip("\n") + "\nlimits:\n  colour: {warn_de: 2, limit_de: 1.8}\n"
    faults = faults_of(plant(tmp_path, {PLANT: text}))
    assert [(fault.field, fault.expected) for fault in faults] == [
        ("limits.colour.warn_de", "at most limit_de, which is 1.8")
    ]


def test_a_whole_set_of_figures_is_read(tmp_path: Path) -> None:
    text = FILES[CLOVE].replace("label:\n", _MORE, 1).replace(*_COLOUR, 1)
    clove = load(plant(tmp_path, {CLOVE: text})).fragrances["clove"]
    assert clove.colour.bands == (Decimal("0.19"), Decimal("0.07"), Decimal("0.03"))
    assert clove.odour is not None
    assert (clove.odour.activity, clove.odour.evidence) == (1800, "measured")
    assert [(one.name, one.claim) for one in clove.indices] == [("natural origin", Decimal("0.95"))]
    assert [(one.item, one.content) for one in clove.maxima] == [("Eugenol", Decimal("0.02"))]


def test_a_plant_without_a_word_judges_colour_and_odour_at_the_published_starting_points() -> None:
    """0.8 and 1.8: Paravina et al. 2015, abstract read; 0.25: from memory."""
    policy = LimitPolicy()
    assert (policy.colour.apply, float(policy.colour.warn_de), float(policy.colour.limit_de)) == (
        True,
        0.8,
        1.8,
    )
    assert (policy.odour.apply, float(policy.odour.difference)) == (True, 0.25)
    assert not policy.colour.straight_line


def test_the_starter_fragrances_have_every_figure_marked_as_invented(library: Library) -> None:
    def figures(fragrance: FragranceFile) -> list[tuple[str, str]]:
        groups = (
            fragrance.colour,
            *fragrance.indices,
            *fragrance.maxima,
            *([fragrance.odour] if fragrance.odour else []),
        )
        return [(group.evidence, group.source) for group in groups]

    for fragrance in library.fragrances.values():
        assert fragrance.colour.bands is not None
        assert (fragrance.odour is None) == fragrance.unscented
        assert all(evidence == "guessed" and "invented" in source for evidence, source in figures(fragrance))
