"""What a value may be: each rule broken alone, with the place, what was expected and what was found."""

# ruff: noqa: E501  the tables read as tables

from pathlib import Path

import pytest

from tests.library.helper import FILES, broken, only, place

LINE, CLOVE, PLAIN, START = (
    "lines/one.yaml",
    "fragrances/clove.yaml",
    "fragrances/plain.yaml",
    "procedures/start.yaml",
)
CLEANING, LOCK, PLANT = "procedures/cleaning.yaml", "procedures/lock-1.yaml", "plant.yaml"

# file, passage, its replacement, where the fault stands (a passage of the new text), field, expected, found
VALUES = [
    (LINE, "cavities: 4", "cavities: four", "four", "cavities", "a whole number without quotes", '"four"'),
    (LINE, "cavities: 4", "cavities: '4'", "'4'", "cavities", "a whole number without quotes", '"4"'),
    (LINE, "cavities: 4", "cavities: 4.5", "4.5", "cavities", "a whole number without quotes", '"4.5"'),
    (LINE, "cavities: 4", "cavities: 0", "0\npoints", "cavities", "a number of at least 1", '"0"'),
    (LINE, "cavities: 4", "cavities: 49", "49", "cavities", "a number of at most 48", '"49"'),
    (LINE, "cavities: 4", "cavities: [4]", "[4]", "cavities", "a whole number without quotes", "a list"),
    (LINE, "mixed_kg: 28", "mixed_kg: 28 kg", "28 kg", "units[1].mixed_kg", "a number such as 12 or 0.25", '"28 kg"'),
    (LINE, "mixed_kg: 28", "mixed_kg: 28,5", "28,5", "units[1].mixed_kg", "a number such as 12 or 0.25", '"28,5"'),
    (LINE, "mixed_kg: 28", "mixed_kg: 028", "028", "units[1].mixed_kg", "a number such as 12 or 0.25", '"028"'),
    (LINE, "mixed_kg: 28", "mixed_kg: 1e2", "1e2", "units[1].mixed_kg", "a number such as 12 or 0.25", '"1e2"'),
    (LINE, "mixed_kg: 28", "mixed_kg: .nan", ".nan", "units[1].mixed_kg", "a number such as 12 or 0.25", '".nan"'),
    (LINE, "mixed_kg: 28", "mixed_kg: true", "true", "units[1].mixed_kg", "a number such as 12 or 0.25", "true"),
    (LINE, "mixed_kg: 28", "mixed_kg: -1", "-1", "units[1].mixed_kg", "a number of at least 0", '"-1"'),
    (LINE, "rate_kg_h: 1700", "rate_kg_h: 0", "0\nrate_ev", "rate_kg_h", "a number above 0", '"0"'),
    (LINE, "flash_fraction: 0.2", "flash_fraction: 1", "1\nflash", "flash_fraction", "a number below 1", '"1"'),
    (LINE, "energies: [electrical]", "energies: []", "[]", "points[1].energies", "a list of at least 1 item", "a list"),
    (LINE, "energies: [electrical]", "energies: electrical", "electrical\n    mag", "points[1].energies", "a list",
     '"electrical"'),
    (LINE, "[electrical]", "[electric]", "electric]", "points[1].energies[1]",
     "one of chemical, cold, electrical, gravity, hydraulic, material_in_motion, mechanical, pneumatic, steam, "
     "thermal, vacuum", '"electric"'),
    (LINE, "id: L1", "id: Line 1", "Line 1\nname", "id",
     "a short name of letters, digits, - and _ (at most 40, beginning with a letter or digit)", '"Line 1"'),
    (LINE, "needs_release: false", "needs_release: true", "id: E1", "points[1].release_how",
     "how the stored energy of this point is relieved", "nothing"),
    (LINE, "needs_release: false", "needs_release: false\n    reaccumulates: true", "id: E1", "points[1].monitor_min",
     "minutes between verifications, as energy can build up again", "nothing"),
    (LINE, "      method: {en: Press start., es: Pulse arranque.}\n", "", "expect: {en: Nothing",
     "points[1].verify.method", "the key method", "nothing"),
    (CLOVE, "share: 0.4", "share: 0.5", "- {oil: clove", "oils", "shares that sum to 1 (they sum to 1.1)", "a list"),
    (CLOVE, "dose: 0.01", "dose: 0", "0\noils", "dose", "0 for a bar without oils, more than 0 for one with oils", '"0"'),
    (CLOVE, "dose: 0.01", "dose: 1.2", "1.2", "dose", "a number of at most 1", '"1.2"'),
    (CLOVE, "label:", "claims: [unscented]\nlabel:", "[unscented]", "claims",
     "no claim of being without fragrance on a bar that has oils", "a list"),
    (PLAIN, "lab: [92, -1.5, 6]", "lab: [92, -1.5]", "[92", "colour.lab", "a list of at least 3 items", "a list"),
    (PLAIN, "source: invented\n", "", "format", "source", "the key source", "nothing"),
    (PLAIN, "format: 1", "format: 2", "2", "format", "1, the only format of these files so far", '"2"'),
    (PLAIN, "format: 1", "format: true", "true", "format", "1, the only format of these files so far", "true"),
    (PLAIN, "name: {en: Plain, es: Natural}", "name: {es: Natural}", "{es", "name.en", "the key en", "nothing"),
    (PLAIN, "name: {en: Plain, es: Natural}", "name: [Plain]", "[Plain]", "name", "keys with values", "a list"),
    (PLAIN, "name: {en: Plain, es: Natural}", 'name: ""', '""', "name", "a text", "nothing"),
    (PLAIN, "source: invented", "source: true", "true", "source",
     "a text (in quotes if it could be read as something else)", "true"),
    (PLAIN, "name: {en: Plain, es: Natural}", "name:\n  en: |\n    two\n    lines\n  es: x", "|", "name.en",
     "one paragraph (fold a long text with >- rather than |)", '"two<U+000A>lines<U+000A>"'),
    (START, "        dwell_min: 5\n", "", "id: heat", "sections[1].steps[2].dwell_min",
     "the value that a step of kind wait needs", "nothing"),
    (START, 'expect: "{incoming}"\n', "unit: kg\n", "id: scan-oil", "sections[1].steps[1].expect",
     "the value that a step of kind scan needs", "nothing"),
    (START, "dwell_min: 5", "dwell_min: 5\n        unit: kg", "kg\n        since", "sections[1].steps[2].unit",
     "nothing, as only a step of kind reading has it", '"kg"'),
    (START, "after: [heat, clean]", "after: [a/b/c]", "a/b/c", "sections[1].steps[3].after[1]",
     "a step as step or section/step (letters, digits, - and _)", '"a/b/c"'),
    (CLEANING, "low: 20", "low: 50", "50", "sections[1].steps[2].low", "a number not above high (45)", '"50"'),
    (CLEANING, "standard_min: 3", "standard_min: 1:30", "1:30", "sections[1].steps[1].standard_min",
     "a number such as 12 or 0.25", '"1:30"'),
    (LOCK, "effective_on: 2026-01-05", "effective_on: 5 January", "5 January", "effective_on",
     "a date such as 2026-03-31", '"5 January"'),
    (LOCK, "effective_on: 2026-01-05", "effective_on: 20260105", "20260105", "effective_on",
     "a date such as 2026-03-31", '"20260105"'),
    (PLANT, "start: 06:00", "start: 360", "360", "shifts[1].start", "a time of day such as 06:00", '"360"'),
    (PLANT, "start: 06:00", "start: 25:00", "25:00", "shifts[1].start", "a time of day such as 06:00", '"25:00"'),
    (PLANT, "America/Denver", "America/Denvr", "America/Denvr", "time_zone",
     "a time-zone name such as America/Denver", '"America/Denvr"'),
    (PLANT, "id: tinymere\n", "", "format", "id", "the key id", "nothing"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new", "at", "field", "expected", "found"), VALUES)
def test_a_broken_value_has_its_place_and_says_what_was_expected(
    tmp_path: Path, name: str, old: str, new: str, at: str, field: str, expected: str, found: str
) -> None:
    faults = broken(tmp_path, name, old, new)
    text = FILES[name].replace(old, new, 1)
    matching = [fault for fault in faults if fault.field == field]
    assert len(matching) == 1, faults
    assert (matching[0].line, matching[0].column) == place(text, at)
    assert (matching[0].expected, matching[0].found) == (expected, found)


@pytest.mark.parametrize(
    ("word", "hint"),
    [("no", "write false"), ("No", "write false"), ("off", "write false"), ("n", "write false"), ("False", "write false"),
     ("yes", "write true"), ("on", "write true"), ("Y", "write true"), ("TRUE", "write true"), ("maybe", ""), ("1", "")],
)  # fmt: skip
def test_the_truth_values_of_yaml_1_1_get_the_word_to_write(tmp_path: Path, word: str, hint: str) -> None:
    """The words of YAML 1.1's bool type (y, yes, n, no, true, false, on, off in any case), of which two remain."""
    fault = only(tmp_path, LINE, "needs_release: false", f"needs_release: {word}")
    assert (fault.field, fault.expected, fault.suggestion) == (
        "points[1].needs_release",
        "true or false",
        hint,
    )


def test_the_norwegian_word_is_a_text_where_a_text_belongs(tmp_path: Path) -> None:
    fault = only(tmp_path, CLEANING, "- id: whole\n            text: {en: whole, es: entera}",
                 "- id: no\n            text: {en: no, es: no}\n            stops: no")  # fmt: skip
    assert fault.field == "sections[1].steps[1].choices[1].stops"


@pytest.mark.parametrize(
    ("name", "old", "new", "field", "hint"),
    [
        (LINE, "flash_to:", "flash_too:", "flash_too", 'did you mean "flash_to" or "flash_fraction"?'),
        (LINE, "    tanks: 3", "    tank: 3", "units[2].tank", 'did you mean "tanks"?'),
        (START, "        dwell_min: 5", "        dwel_min: 5", "sections[1].steps[2].dwel_min", 'did you mean "dwell_min"?'),
        (CLEANING, "deviation: true", "deviaton: true", "sections[1].steps[1].choices[2].deviaton",
         'did you mean "deviation"?'),
        (CLOVE, "    duty: operator", "    Duty: operator", "leave[1].Duty", 'did you mean "duty"?'),
        (LINE, "magnitude: 480 V", "magnitude: 480 V\n    verfy: x", "points[1].verfy", 'did you mean "verify"?'),
        (LOCK, "  scope: {en", "  skope: {en", "content.skope", 'did you mean "scope"?'),
        (PLANT, "emergency_note: {en: Call site 4444., es:", "emergency_note: {en: Call site 4444., ess:",
         "emergency_note.ess", 'did you mean "es"?'),
    ],
)  # fmt: skip
def test_an_unknown_key_stands_at_the_key_and_gets_the_nearest_one(
    tmp_path: Path, name: str, old: str, new: str, field: str, hint: str
) -> None:
    faults = [fault for fault in broken(tmp_path, name, old, new) if fault.field == field]
    assert [fault.suggestion for fault in faults] == [hint]
    key = field.rpartition(".")[2]
    assert (faults[0].line, faults[0].column) == place(FILES[name].replace(old, new, 1), f"{key}:")
    assert faults[0].found == f'the key "{key}"'


def test_an_unknown_key_that_looks_like_nothing_gets_the_list_of_keys(tmp_path: Path) -> None:
    fault = only(tmp_path, LINE, "    tanks: 3", "    zzz: 3")
    assert fault.expected.startswith("one of dead_fraction, evidence, exchange_ratio, mixed_kg")
    assert fault.suggestion == ""


@pytest.mark.parametrize(
    ("name", "old", "new", "hint"),
    [
        (START, "kind: scan", "kind: scna", 'did you mean "scan"?'),
        (CLEANING, "kind: reading", "kind: reeding", 'did you mean "reading"?'),
        (CLEANING, "unit: °C", "unit: furlong", ""),
        (CLEANING, "unit: °C", "unit: C", 'did you mean "°C" or "cm"?'),
        (CLEANING, "unit: °C", "unit: kgs", 'did you mean "kg"?'),
        (LINE, "evidence: guessed", "evidence: guesed", 'did you mean "guessed"?'),
        (LINE, "device: disconnect", "device: disconect", 'did you mean "disconnect"?'),
        (PLAIN, "claims: [unscented]", "claims: [unsented]", 'did you mean "unscented"?'),
        (PLAIN, "format: 1", "format: 1\nleave_on: flase", ""),
    ],
)  # fmt: skip
def test_a_word_outside_a_closed_set_gets_the_nearest_one(
    tmp_path: Path, name: str, old: str, new: str, hint: str
) -> None:
    assert only(tmp_path, name, old, new).suggestion == hint


def test_all_broken_rules_of_one_step_come_at_once(tmp_path: Path) -> None:
    faults = broken(tmp_path, START, "        dwell_min: 5\n", "        low: 3\n        unit: kg\n")
    assert {fault.field.rpartition(".")[2] for fault in faults} == {"dwell_min", "low", "unit"}


def test_a_union_says_what_either_branch_expects(tmp_path: Path) -> None:
    fault = only(
        tmp_path, CLEANING, "when: {strip_down: true, line: L1}", "when: {strip_down: [true], line: L1}"
    )
    assert (fault.line, fault.field, fault.found) == (9, "sections[1].when.strip_down", "a list")
    assert "true or false" in fault.expected


def test_numbers_may_stand_where_texts_belong(tmp_path: Path) -> None:
    from floorterm.library import load
    from tests.library.helper import plant

    text = (
        FILES[PLAIN]
        .replace("code: TM-PLN", "code: 4711")
        .replace("name: {en: Plain, es: Natural}", "name: 12")
    )
    library = load(plant(tmp_path, {PLAIN: text}))
    assert library.fragrances["plain"].code == "4711"
    assert library.fragrances["plain"].name.en == "12"
