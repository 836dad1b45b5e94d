"""What names what across the files: every reference broken alone, at its exact place."""

# ruff: noqa: E501  the tables read as tables

import json
import re
from pathlib import Path

import pytest

from floorterm.library import load
from tests.library.helper import (
    CHANGEOVER,
    CLOVE,
    EYEWASH,
    FILES,
    PLAIN,
    broken,
    faults_of,
    only,
    place,
    plant,
)

LINE, PLANT, LOCK, START = "lines/one.yaml", "plant.yaml", "procedures/lock-1.yaml", "procedures/start.yaml"
CLOVE_FILE, PLAIN_FILE = "fragrances/clove.yaml", "fragrances/plain.yaml"
RUN_OUT, CLEANING, ALONE = "procedures/run-out.yaml", "procedures/cleaning.yaml", "procedures/eyewash.yaml"
SEQUENCE = "procedures/changeover.yaml"

# file, passage, its replacement, where the fault stands, field, part of the sentence
REFERENCES = [
    (LINE, "dose_at: mixer", "dose_at: mixre", "mixre", "dose_at", 'did you mean "mixer"?'),
    (LINE, "flash_to: mixer", "flash_to: plodde", "plodde\n", "flash_to", 'did you mean "plodder"?'),
    (LINE, "flash_to: mixer\n", "", "format", "flash_to", "leave flash_fraction out"),
    (LINE, "affected_duties: [operator]", "affected_duties: [opertor]", "opertor", "affected_duties[1]", '"operator"?'),
    (LINE, "only: clove", "only: clvoe", "clvoe", "tanks[2].only", 'did you mean "clove"?'),
    (LINE, "affected_duties:", "flushing:\n  lockout_min: 30\n  cleanings:\n    - {unit: mixre, removed_share: 0.9,"
     " minutes: 5}\n  evidence: guessed\naffected_duties:", "mixre", "flushing.cleanings[1].unit", '"mixer"?'),
    (LINE, "affected_duties:", "flushing:\n  intermediate: {fragrance: junper, run_kg: 900}\n  evidence: guessed\n"
     "affected_duties:", "junper", "flushing.intermediate.fragrance", ""),
    (LINE, "affected_duties:", "flushing:\n  heels: {mixre: 0.1}\n  evidence: guessed\naffected_duties:", "0.1}",
     "flushing.heels.mixre", '"mixer"?'),
    (CLOVE_FILE, "oil: clove leaf", "oil: clove leave", "clove leave", "oils[1].oil", 'did you mean "clove leaf"'),
    (CLOVE_FILE, "  - Eugenol", "  - Eugenlo", "Eugenlo", "label[1]", 'did you mean "Eugenol"'),
    (CLOVE_FILE, "label:", "background:\n  - {item: Linalol, content: 0.001, source: invented}\nlabel:", "Linalol",
     "background[1].item", 'did you mean "Linalool"'),
    (CLOVE_FILE, "duty: operator", "duty: operador", "operador", "leave[1].duty", 'did you mean "operator"?'),
    (CLOVE_FILE, "{L1: T2}", "{L1: T9}", "T9", "tanks.L1", "a dosing tank of L1"),
    (PLAIN_FILE, "lines: [L1]", "lines: [L2]", "L2", "lines[1]", "a line (L1)"),
    (PLANT, "first_aid:", "release_duties: [supervisr]\nfirst_aid:", "supervisr", "release_duties[1]", '"supervisor"?'),
    (LOCK, "points: [E1]", "points: [E1, E2]", "E2]", "points[2]", "an isolation point of L1"),
    (LOCK, "lines: [L1]", "lines: [L1, L3]", "L3", "lines[2]", "a line"),
    (ALONE, "lines: [L1]", "lines: [L1, L3]", "L3", "lines[2]", "a line"),
    (ALONE, "release_duties: [supervisor]", "release_duties: [boss]", "boss", "release_duties[1]", "plant.yaml"),
    (SEQUENCE, "cleaning", "claening", "claening", "blocks[3]", 'did you mean "cleaning"?'),
    (CLEANING, "lockout: lock-1", "lockout: lock-l", "lock-l", "sections[1].lockout", 'did you mean "lock-1"?'),
    (CLEANING, "strip_down: true", "stripdown: true", "stripdown", "sections[1].when.stripdown", '"strip_down"'),
    (CLEANING, "strip_down: true", "strip_down: yes", "yes", "sections[1].when.strip_down", "write true"),
    (CLEANING, "strip_down: true", "strip_down: L1", "L1, line", "sections[1].when.strip_down", "true or false"),
    (CLEANING, "line: L1}", "line: L2}", "L2", "sections[1].when.line", "a line (L1)"),
    (CLEANING, "line: L1}", "line: true}", "true}", "sections[1].when.line", "a line"),
    (CLEANING, "line: L1}", "line: L1, incoming_tank: T7}", "T7", "sections[1].when.incoming_tank", "a dosing tank"),
    (START, "applies_to: [dark]", "applies_to: [drak]", "drak", "sections[1].steps[1].applies_to[1]", '"dark"?'),
    (START, "after: [heat, clean]", "after: [heet, clean]", "heet", "sections[1].steps[3].after[1]", '"heat"'),
    (START, "after: [heat, clean]", "after: [heat, claen]", "claen", "sections[1].steps[3].after[2]", '"clean"?'),
    (START, "after: [start]", "after: [strat]", "strat", "sections[2].after[1]", '"start"'),
    (START, "after: [heat, clean]", "after: [heat, out/stop-doze]", "out/stop-doze", "sections[1].steps[3].after[2]",
     'did you mean "out/stop-dose"'),
    (START, "after: [heat, clean]", "after: [heat, oot/stop-dose]", "oot/stop-dose", "sections[1].steps[3].after[2]",
     'did you mean "out/stop-dose"'),
    (START, "after: [heat, clean]", "after: [heat, stop-dose]", "stop-dose]", "sections[1].steps[3].after[2]",
     'did you mean "out/stop-dose"?'),
    (START, "reopens: [start/flush]", "reopens: [start/flsh]", "start/flsh", "sections[2].steps[1].reopens[1]",
     'did you mean "start/flush"'),
    (START, "reopens: [start/flush]", "reopens: [start]", "start]\n        standard_min: 2", "sections[2].steps[1].reopens[1]",
     "a step of this section or section/step"),
    (START, "since: out/stop-dose", "since: out/stop-dosis", "out/stop-dosis", "sections[1].steps[2].since",
     'did you mean "out/stop-dose"'),
    (START, "dwell_min: 5", "dwell_min: 5\n        needs_lockout: lock1", "lock1", "sections[1].steps[2].needs_lockout",
     'did you mean "lock-1"?'),
    (START, 'expect: "{incoming}"', 'expect: "{incomming}"', '"{incomming}"', "sections[1].steps[1].expect",
     'did you mean "incoming"'),
    (START, 'expect: "{incoming}"', 'expect: "{bars}"', '"{bars}"', "sections[1].steps[1].expect", "placeholders of"),
    (START, 'en: "Flush {flush_kg} kg."', 'en: "Flush {kg} kg."', '"Flush {kg', "sections[1].steps[3].text.en",
     "placeholders of {bars} {flush_kg} {incoming} {line} {outgoing} {rinse_kg} {rinses} {tank} only"),
    (START, 'en: "Flush {flush_kg} kg."', 'en: "Flush {flush_kg kg."', '"Flush {flush', "sections[1].steps[3].text.en",
     "a brace without its partner"),
    (START, 'en: "Flush {flush_kg} kg."', 'en: "Flush {flush_kg!r} kg."', '"Flush {flush', "sections[1].steps[3].text.en",
     "placeholders of"),
    (START, 'en: "Flush {flush_kg} kg."', 'en: "Flush {flush_kg.real} kg."', '"Flush {flush',
     "sections[1].steps[3].text.en", "placeholders of"),
    (START, 'en: "Flush {flush_kg} kg."', 'en: "Flush {} kg."', '"Flush {}', "sections[1].steps[3].text.en",
     "placeholders of"),
    (START, 'es: "Lave {flush_kg} kg."', 'es: "Lave {bars} kg."', '"Lave', "sections[1].steps[3].text.es",
     "the same placeholders as the English text ({flush_kg})"),
    (CLEANING, "text: {en: whole, es: entera}", 'text: {en: "whole {bars}", es: entera}', '"whole',
     "sections[1].steps[1].choices[1].text.en", "a text without placeholders"),
    (ALONE, "kind: confirm", "kind: flush", "flush", "sections[1].steps[1].kind", "only a changeover knows"),
    (START, "kind: flush", "kind: flush\n        needs_lockout: lock-1", "flush\n        needs", "sections[1].steps[3].kind",
     "a flush runs the line, and a lockout holds it"),
    (CLEANING, "kind: choice", "kind: flush", "flush", "sections[1].steps[1].kind", "a lockout holds it"),
    (PLANT, "first_aid:", "release_duties: []\nfirst_aid:", "[]", "release_duties", "at least 1"),
    (ALONE, "kind: confirm", "kind: confirm\n        when: {strip_down: true}", "strip_down",
     "sections[1].steps[1].when.strip_down", "line, the only fact of a procedure that stands alone"),
    (ALONE, "kind: confirm", "kind: confirm\n        applies_to: [dark]", "[dark]", "sections[1].steps[1].applies_to",
     "a procedure that stands alone has no incoming fragrance"),
    (ALONE, "en: Open the valve.", 'en: "Open {tank}."', '"Open', "sections[1].steps[1].text.en", "placeholders of {line} only"),
    (RUN_OUT, "witness: supervisor", "witness: superviser", "superviser", "sections[1].steps[2].witness", '"supervisor"'),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new", "at", "field", "part"), REFERENCES)
def test_a_broken_reference_is_the_one_fault_and_has_its_place(
    tmp_path: Path, name: str, old: str, new: str, at: str, field: str, part: str
) -> None:
    faults = [fault for fault in broken(tmp_path, name, old, new) if fault.field == field]
    assert len(faults) == 1
    assert (faults[0].path, faults[0].line, faults[0].column) == (
        name,
        *place(FILES[name].replace(old, new, 1), at),
    )
    assert part in faults[0].sentence


@pytest.mark.parametrize(
    ("name", "old", "new", "field", "first"),
    [
        (LINE, "  - name: plodder", "  - name: mixer", "units[2].name", 7),
        (LINE, "  - id: T2", "  - id: T1", "tanks[2].id", 36),
        (PLANT, "  - id: supervisor", "  - id: operator", "duties[2].id", 8),
        (RUN_OUT, "- id: last-bar", "- id: stop-dose", "sections[1].steps[2].id", 9),
        (CLEANING, "- id: torn", "- id: whole", "sections[1].steps[1].choices[2].id", 16),
        (CLOVE_FILE, "oil: patchouli", "oil: clove leaf", "oils[2].oil", 8),
        (CLOVE_FILE, "  - Eugenol", "  - Eugenol\n  - Eugenol", "label[2]", 15),
        (SEQUENCE, "leave_steps, cleaning", "leave_steps, cleaning, cleaning", "blocks[4]", 5),
        (LOCK, "points: [E1]", "points: [E1, E1]", "points[2]", 10),
    ],
)
def test_a_name_that_stands_twice_says_where_it_stood_first(
    tmp_path: Path, name: str, old: str, new: str, field: str, first: int
) -> None:
    faults = [fault for fault in broken(tmp_path, name, old, new) if fault.field == field]
    assert len(faults) == 1
    assert f"again (first in line {first})" in faults[0].found


class TestIdsOverFiles:
    def test_two_fragrances_of_one_id_or_code(self, tmp_path: Path) -> None:
        faults = faults_of(plant(tmp_path, {"fragrances/z.yaml": PLAIN}))
        assert [(fault.path, fault.field) for fault in faults] == [
            ("fragrances/z.yaml", "id"),
            ("fragrances/z.yaml", "code"),
        ]
        assert faults[0].found == '"plain", which fragrances/plain.yaml has too'

    def test_two_procedures_of_one_id(self, tmp_path: Path) -> None:
        (fault,) = faults_of(plant(tmp_path, {"procedures/z.yaml": EYEWASH}))
        assert (fault.path, fault.line, fault.field) == ("procedures/z.yaml", 3, "id")

    def test_one_section_id_in_two_blocks(self, tmp_path: Path) -> None:
        faults = broken(tmp_path, START, "- id: first", "- id: out")
        fault = next(fault for fault in faults if fault.field == "sections[2].id")
        assert fault.found == '"out" again (first in procedures/run-out.yaml line 6)'

    @pytest.mark.parametrize("name", ["leave", "enter", "clean-lock", "clean-unlock"])
    def test_a_section_id_that_the_worksheet_needs_itself(self, tmp_path: Path, name: str) -> None:
        fault = only(tmp_path, START, "- id: first", f"- id: {name}")
        assert (fault.field, fault.expected) == ("sections[2].id", "another id")


class TestTanks:
    def test_a_dedicated_tank_and_its_fragrance_must_agree_on_both_sides(self, tmp_path: Path) -> None:
        faults = broken(tmp_path, LINE, "only: clove", "only: plain")
        assert [(fault.path, fault.field) for fault in faults] == [
            ("fragrances/clove.yaml", "tanks.L1"),
            ("lines/one.yaml", "tanks[2].only"),
        ]
        assert faults[0].found == '"T2", which is kept for plain'
        assert "it names no tank on this line in fragrances/plain.yaml" in faults[1].found

    def test_a_dedicated_tank_whose_fragrance_uses_another_one(self, tmp_path: Path) -> None:
        (fault,) = broken(tmp_path, CLOVE_FILE, "{L1: T2}", "{L1: T1}")
        assert (fault.path, fault.field) == (LINE, "tanks[2].only")
        assert 'it has "T1"' in fault.found

    def test_a_shared_tank_may_serve_anybody(self, tmp_path: Path) -> None:
        changes = {
            LINE: FILES[LINE].replace("    only: clove\n", ""),
            PLAIN_FILE: PLAIN.replace("source:", "tanks: {L1: T2}\nsource:"),
        }
        assert load(plant(tmp_path, changes)).lines["L1"].tanks[1].only is None

    def test_a_scented_bar_has_a_tank_on_each_of_its_lines(self, tmp_path: Path) -> None:
        second = (
            FILES[LINE]
            .replace("id: L1", "id: L2")
            .replace("    only: clove\n", "")
            .replace("Line 1", "Line 2")
        )
        changes = {"lines/two.yaml": second, CLOVE_FILE: CLOVE.replace("lines: [L1]", "lines: [L1, L2]")}
        (fault,) = faults_of(plant(tmp_path, changes))
        assert (fault.path, fault.line, fault.column, fault.field, fault.found) == (
            CLOVE_FILE, *place(changes[CLOVE_FILE], "{L1: T2}"), "tanks.L2", "none on L2"
        )  # fmt: skip

    def test_no_tank_at_all_is_missed(self, tmp_path: Path) -> None:
        changes = {
            CLOVE_FILE: CLOVE.replace("tanks: {L1: T2}\n", ""),
            LINE: FILES[LINE].replace("    only: clove\n", ""),
        }
        (fault,) = faults_of(plant(tmp_path, changes))
        assert (fault.path, fault.field, fault.found) == (CLOVE_FILE, "tanks", "none on L1")

    def test_a_tank_for_a_line_that_it_does_not_run_on(self, tmp_path: Path) -> None:
        fault = only(tmp_path, CLOVE_FILE, "{L1: T2}", "{L1: T2, L7: T1}")
        assert (fault.field, fault.found) == ("tanks.L7", 'the line "L7"')


class TestFlash:
    def test_kg_that_come_back_need_flash(self, tmp_path: Path) -> None:
        fault = only(tmp_path, LINE, "flash_fraction: 0.2\nflash_to: mixer\n", "")
        assert (fault.field, fault.found) == ("return_kg", '"10"')

    def test_a_line_without_flash_needs_none_of_it(self, tmp_path: Path) -> None:
        text = FILES[LINE].replace("flash_fraction: 0.2\nflash_to: mixer\nreturn_kg: 10\n", "")
        assert load(plant(tmp_path, {LINE: text})).lines["L1"].flash_to is None


class TestSequence:
    def test_a_block_that_no_changeover_uses(self, tmp_path: Path) -> None:
        text = CHANGEOVER.replace("cleaning, ", "")
        faults = faults_of(
            plant(tmp_path, {SEQUENCE: text, START: FILES[START].replace("heat, clean", "heat")})
        )
        assert [(fault.path, fault.field) for fault in faults] == [(CLEANING, "id")]

    def test_blocks_are_checked_even_where_the_sequence_cannot_be_read(self, tmp_path: Path) -> None:
        cleaning = FILES[CLEANING].replace("duty: operator", "duty: operater", 1)
        faults = faults_of(plant(tmp_path, {SEQUENCE: "blocks: [", CLEANING: cleaning}))
        assert {(fault.path, fault.field) for fault in faults} == {
            (SEQUENCE, ""),
            (CLEANING, "sections[1].steps[1].duty"),
        }

    @pytest.mark.parametrize("marker", ["leave_steps", "enter_steps"])
    def test_steps_of_a_fragrance_need_their_marker(self, tmp_path: Path, marker: str) -> None:
        key = marker.removesuffix("_steps")
        changes = {
            SEQUENCE: CHANGEOVER.replace(f"{marker}, ", ""),
            CLOVE_FILE: CLOVE.replace("leave:", f"{key}:"),
        }
        (fault,) = faults_of(plant(tmp_path, changes))
        assert (fault.path, fault.line, fault.field) == (SEQUENCE, 5, "blocks")
        assert fault.expected == f"{marker} among the blocks (fragrances/clove.yaml has {key} steps)"


class TestLockout:
    def test_a_lockout_must_be_meant_for_every_line_of_its_section(self, tmp_path: Path) -> None:
        second = FILES[LINE].replace("id: L1", "id: L2").replace("    only: clove\n", "")
        cleaning = FILES[CLEANING].replace("when: {strip_down: true, line: L1}", "when: {strip_down: true}")
        (fault,) = faults_of(plant(tmp_path, {"lines/two.yaml": second, CLEANING: cleaning}))
        assert (fault.path, fault.line, fault.field) == (CLEANING, 8, "sections[1].lockout")
        assert fault.found == '"lock-1", which is not meant for L2'

    def test_a_section_for_one_line_needs_the_lockout_of_that_line_only(self, tmp_path: Path) -> None:
        second = FILES[LINE].replace("id: L1", "id: L2").replace("    only: clove\n", "")
        assert set(load(plant(tmp_path, {"lines/two.yaml": second})).lines) == {"L1", "L2"}

    def test_a_step_needs_a_lockout_that_its_own_worksheet_puts_on(self, tmp_path: Path) -> None:
        """The changeover puts lock-1 on, the eyewash check does not."""
        fault = only(tmp_path, ALONE, "duty: operator", "duty: operator\n        needs_lockout: lock-1")
        assert (fault.field, fault.expected[:43]) == (
            "sections[1].steps[1].needs_lockout", "a lockout that a section of eyewash puts on"
        )  # fmt: skip

    def test_a_step_of_a_changeover_may_need_the_lockout_of_another_section(self, tmp_path: Path) -> None:
        text = FILES[START].replace("dwell_min: 5", "dwell_min: 5\n        needs_lockout: lock-1")
        fault = faults_of(plant(tmp_path / "late", {START: text}))  # start comes after the lockout has ended
        assert "a circle" in fault[0].found
        early = text.replace("    title: {en: Start", "    beside: true\n    title: {en: Start", 1)
        early = early.replace("after: [heat, clean]", "after: [scan-oil]")
        assert load(plant(tmp_path / "early", {START: early}))


def test_a_plant_without_a_supervisor_says_who_releases(tmp_path: Path) -> None:
    changes = {name: text.replace("supervisor", "foreman") for name, text in FILES.items()}
    (fault,) = faults_of(plant(tmp_path, changes))
    assert (fault.path, fault.field) == (PLANT, "release_duties")


def test_a_label_may_name_an_item_by_a_number_only_if_it_is_the_only_one(tmp_path: Path) -> None:
    """CAS 97-53-0 is eugenol (Reg. (EC) 1223/2009, Annex III, entry 71, as the label list of the library has it)."""
    assert load(plant(tmp_path / "a", {CLOVE_FILE: CLOVE.replace("  - Eugenol", "  - 97-53-0")}))
    assert (
        "an item of the label list" in only(tmp_path / "b", CLOVE_FILE, "  - Eugenol", "  - 97-53-1").expected
    )


# where a file names something of another one, and where it names itself
NAMED = {
    "lines/one.yaml": ("flash_to: mixer", "dose_at: mixer", "only: clove", "[operator]"),
    "fragrances/clove.yaml": ("lines: [L1]", "L1: T2", "duty: operator"),
    "procedures/changeover.yaml": ("[run-out",),
    "procedures/run-out.yaml": ("duty: operator", "witness: supervisor"),
    "procedures/cleaning.yaml": ("lockout: lock-1", "line: L1"),
    "procedures/start.yaml": ("[dark]", "since: out/stop-dose", "[heat", "after: [start]", "[start/flush]"),
    "procedures/lock-1.yaml": ("[E1]",),
    "procedures/eyewash.yaml": ("lines: [L1]", "[supervisor]"),
}
OWN = {
    "plant.yaml": ("id: tinymere", "id: operator", "id: early", "id: lye-skin"),
    "lines/one.yaml": ("id: L1", "name: mixer", "id: E1", "id: T1"),
    "fragrances/clove.yaml": ("id: clove", "code: TM-CLV", "bar_format: rect", "[dark]", "id: mark-bins"),
    "procedures/run-out.yaml": ("id: run-out", "id: out", "id: stop-dose"),
    "procedures/lock-1.yaml": ("id: lock-1",),
}
PATHS = (
    "../../../etc/passwd", "/etc/passwd", "..", "a/../b", "/dev/zero", "./one", "~/plant", "C:plant", "nul.txt",
    r"C:\plant\x", r"\\srv\share", r"..\x", "file:///etc/passwd", "lines/one.yaml", "a\0b",
)  # fmt: skip


@pytest.mark.parametrize(
    ("trick", "passages"),
    [(trick, passages) for trick in PATHS for passages in (NAMED, OWN)] + [("CON", NAMED), ("aux", NAMED)],
)
def test_no_reference_is_a_path(trick: str, passages: dict[str, tuple[str, ...]], tmp_path: Path) -> None:
    """Each is refused at its place: none is ever looked for on the disk."""
    changed, wanted = {}, set()
    for name, found in passages.items():
        text = FILES[name]
        for passage in found:
            assert passage in text, passage
            wanted.add((name, place(text, passage)[0]))
            before, word = re.fullmatch(r"(.*?)([\w/-]+\]?)", passage).groups()  # type: ignore[union-attr]
            text = text.replace(passage, f"{before}{json.dumps(trick)}{']' * word.endswith(']')}", 1)
        changed[name] = text
    faults = faults_of(plant(tmp_path, changed))
    assert wanted - {(fault.path, fault.line) for fault in faults} == set()
    assert [str(fault) for fault in faults if not str(fault).isprintable()] == []
