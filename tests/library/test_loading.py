"""A folder becomes a library, or one error with every fault of every file."""

import os
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest

from floorterm.library import LibraryError, load
from floorterm.library.loading import digest_of
from tests.conftest import bound_by_permissions
from tests.library.helper import FILES, PLAIN, broken, faults_of, plant


def test_the_small_plant_loads_with_everything_in_it(tmp_path: Path) -> None:
    library = load(plant(tmp_path))
    assert library.plant.name == "Tinymere soap works"
    assert list(library.lines) == ["L1"]
    assert list(library.fragrances) == ["clove", "plain"]
    assert library.fragrances["plain"].unscented
    assert list(library.lockouts) == ["lock-1"]
    assert set(library.blocks) == {"run-out", "cleaning", "start"}
    assert list(library.alone) == ["eyewash"]
    assert library.sequence.blocks == ("run-out", "leave_steps", "cleaning", "enter_steps", "start")
    assert library.files["lines/L1"] == "lines/one.yaml"
    assert library.files["blocks/start"] == "procedures/start.yaml"
    assert library.files["sequence"] == "procedures/changeover.yaml"


def test_a_library_cannot_be_changed(tmp_path: Path) -> None:
    library = load(plant(tmp_path))
    with pytest.raises(AttributeError):
        library.plant.name = "other"  # type: ignore[misc]
    with pytest.raises(TypeError):
        library.lines["L9"] = library.lines["L1"]  # type: ignore[index]


def test_a_folder_as_text_loads_too(tmp_path: Path) -> None:
    assert load(str(plant(tmp_path))).digest == load(tmp_path).digest


def test_the_digest_is_that_of_sorted_names_and_bytes(tmp_path: Path) -> None:
    """SHA-256 (FIPS 180-4) by the standard library over the layout that `digest_of` documents."""
    total = sha256()
    for name in sorted(FILES):
        content = FILES[name].encode()
        total.update(name.encode() + b"\x00" + len(content).to_bytes(8, "big") + content)
    assert load(plant(tmp_path)).digest == total.hexdigest()


def test_the_digest_does_not_depend_on_the_place_or_on_files_that_nobody_reads(tmp_path: Path) -> None:
    first = load(plant(tmp_path / "a"))
    plant(tmp_path / "b")
    (tmp_path / "b" / "README.md").write_text("words")
    (tmp_path / "b" / "lines" / ".one.yaml.swp").write_text("half a file")
    assert load(tmp_path / "b").digest == first.digest


@pytest.mark.parametrize("change", ["byte", "name", "file"])
def test_the_digest_moves_with_every_byte_name_and_file(tmp_path: Path, change: str) -> None:
    before = load(plant(tmp_path)).digest
    if change == "byte":
        (tmp_path / "fragrances/plain.yaml").write_text(PLAIN + "# a word\n")
    elif change == "name":
        (tmp_path / "fragrances/plain.yaml").rename(tmp_path / "fragrances/unscented.yaml")
    else:
        text = PLAIN.replace("id: plain", "id: bare").replace("TM-PLN", "TM-BAR")
        (tmp_path / "fragrances/bare.yaml").write_text(text)
    assert load(tmp_path).digest != before


def test_bytes_cannot_move_between_name_and_content() -> None:
    assert digest_of({"a": b"bc"}) != digest_of({"ab": b"c"})
    assert digest_of({"a": b"1", "b": b"2"}) != digest_of({"a": b"12", "b": b""})
    assert digest_of({"a": b"1", "b": b"2"}) == digest_of({"b": b"2", "a": b"1"})


def test_faults_of_all_files_come_at_once_in_the_order_of_the_files(tmp_path: Path) -> None:
    changes = {
        "plant.yaml": FILES["plant.yaml"].replace("hours: 8", "hours: 48"),
        "lines/one.yaml": FILES["lines/one.yaml"]
        .replace("dose_at: mixer", "dose_at: mixre")
        .replace("cavities: 4", "cavities: no"),
        "fragrances/clove.yaml": FILES["fragrances/clove.yaml"].replace("share: 0.4", "share: 0.5"),
        "procedures/start.yaml": FILES["procedures/start.yaml"].replace("kind: wait", "kind: wiat"),
        "procedures/run-out.yaml": "sections: [",
    }
    faults = faults_of(plant(tmp_path, changes))
    fields = [(fault.path, fault.field) for fault in faults]
    assert ("plant.yaml", "shifts[1].hours") in fields
    assert ("lines/one.yaml", "dose_at") in fields
    assert ("lines/one.yaml", "cavities") in fields
    assert ("fragrances/clove.yaml", "oils") in fields
    assert ("procedures/start.yaml", "sections[1].steps[2].kind") in fields
    assert "procedures/run-out.yaml" in {path for path, _ in fields}
    assert list(faults) == sorted(faults)


def test_a_file_that_cannot_be_read_does_not_blame_those_who_name_what_is_in_it(tmp_path: Path) -> None:
    faults = faults_of(plant(tmp_path / "a", {"procedures/run-out.yaml": "sections: ["}))
    assert {fault.path for fault in faults} == {"procedures/run-out.yaml"}
    faults = faults_of(plant(tmp_path / "b", {"lines/one.yaml": b"\xff"}))
    assert {fault.path for fault in faults} == {"lines/one.yaml"}


def test_a_broken_value_does_not_hide_the_references_of_its_file(tmp_path: Path) -> None:
    changed = (
        FILES["procedures/cleaning.yaml"]
        .replace("standard_min: 3", "standard_min: soon")
        .replace("duty: operator", "duty: operater", 1)
    )
    faults = faults_of(plant(tmp_path, {"procedures/cleaning.yaml": changed}))
    assert [fault.field for fault in faults] == [
        "sections[1].steps[1].duty",
        "sections[1].steps[1].standard_min",
    ]


def test_the_error_says_how_many_faults_and_each_on_one_line(tmp_path: Path) -> None:
    plant(tmp_path, {"plant.yaml": FILES["plant.yaml"].replace("hours: 8", "hours: 48\n    our: 1")})
    with pytest.raises(LibraryError, match="2 faults in ") as caught:
        load(tmp_path)
    text = str(caught.value)
    assert 'plant.yaml:16:12: shifts[1].hours: expected a number of at most 24, found "48".' in text
    assert (
        'plant.yaml:17:5: shifts[1].our: expected a known key, found the key "our"; did you mean "hours"?.'
        in text
    )
    assert len(text.splitlines()) == 3


@pytest.mark.parametrize("name", ["plant.yaml", "procedures/changeover.yaml"])
def test_a_file_that_every_plant_needs_is_missed(tmp_path: Path, name: str) -> None:
    faults = faults_of(plant(tmp_path, {name: None}))
    assert [fault.found for fault in faults] == ["none"]
    assert faults[0].line == 0


def test_an_empty_folder_names_all_that_is_missing(tmp_path: Path) -> None:
    assert {fault.path for fault in faults_of(tmp_path)} == {
        "plant.yaml",
        "lines",
        "fragrances",
        "procedures",
    }


def test_a_folder_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    assert faults_of(tmp_path / "nowhere")[0].found == "nothing there"
    (tmp_path / "file").write_text("x")
    assert faults_of(tmp_path / "file")[0].found == "a file"
    assert faults_of(Path("a\0b"))


def test_yaml_in_a_place_that_nobody_reads_is_a_fault(tmp_path: Path) -> None:
    plant(tmp_path)
    (tmp_path / "plants.yaml").write_text("id: x\n")
    (tmp_path / "lines" / "two.yml").write_text("id: x\n")
    (tmp_path / "fragrances" / "old").mkdir()
    (tmp_path / "fragrance").mkdir()
    found = {fault.path: fault.suggestion for fault in faults_of(tmp_path)}
    assert found == {
        "plants.yaml": 'did you mean "plant.yaml"?',
        "lines/two.yml": "rename it",
        "fragrances/old": "put its files into fragrances/",
        "fragrance": 'did you mean "fragrances"?',
    }


def test_a_link_that_leads_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    plant(tmp_path / "plant")
    outside = tmp_path / "secret.yaml"
    outside.write_text(PLAIN.replace("id: plain", "id: other"))
    (tmp_path / "plant/fragrances/other.yaml").symlink_to(outside)
    (fault,) = faults_of(tmp_path / "plant")
    assert (fault.path, fault.found) == ("fragrances/other.yaml", "a link that leads out of it")


def test_a_link_in_a_circle_or_to_nothing_is_a_fault(tmp_path: Path) -> None:
    plant(tmp_path)
    (tmp_path / "fragrances/a.yaml").symlink_to(tmp_path / "fragrances/b.yaml")
    (tmp_path / "fragrances/b.yaml").symlink_to(tmp_path / "fragrances/a.yaml")
    (tmp_path / "lines/gone.yaml").symlink_to(tmp_path / "lines/nothing.yaml")
    assert {fault.path for fault in faults_of(tmp_path)} == {
        "fragrances/a.yaml",
        "fragrances/b.yaml",
        "lines/gone.yaml",
    }


def test_a_link_within_the_folder_is_followed(tmp_path: Path) -> None:
    plant(tmp_path)
    (tmp_path / "spare").mkdir()
    (tmp_path / "lines/one.yaml").rename(tmp_path / "spare/one.txt")
    (tmp_path / "lines/one.yaml").symlink_to(tmp_path / "spare/one.txt")
    assert load(tmp_path).lines


def test_a_pipe_or_a_folder_named_like_a_file_is_a_fault_and_does_not_hang(tmp_path: Path) -> None:
    plant(tmp_path)
    os.mkfifo(tmp_path / "lines/pipe.yaml")
    (tmp_path / "lines/folder.yaml").mkdir()
    assert [fault.found for fault in faults_of(tmp_path)] == ["something else", "something else"]


def test_a_file_that_may_not_be_read_is_a_fault(open_folder: Path) -> None:
    load(plant(open_folder))
    (open_folder / "plant.yaml").chmod(0)
    with bound_by_permissions():
        assert "cannot" in faults_of(open_folder)[0].found


def test_a_second_sequence_is_a_fault(tmp_path: Path) -> None:
    text = FILES["procedures/changeover.yaml"].replace("id: changeover", "id: other")
    (fault,) = faults_of(plant(tmp_path, {"procedures/other.yaml": text}))
    assert (fault.path, fault.line, fault.column, fault.field) == ("procedures/other.yaml", 2, 7, "kind")


def test_an_unknown_kind_of_procedure_gets_a_suggestion(tmp_path: Path) -> None:
    faults = broken(tmp_path, "procedures/eyewash.yaml", "kind: alone", "kind: alnoe")
    assert [(f.line, f.column, f.suggestion) for f in faults] == [(2, 7, 'did you mean "alone"?')]
    faults = broken(tmp_path, "procedures/eyewash.yaml", "kind: alone\n", "")
    assert [(f.field, f.found) for f in faults] == [("kind", "nothing")]


def test_the_room_is_light_until_it_is_used() -> None:
    """In a fresh process: YAML is not loaded with the package, and neither ORM nor terminal with its use."""
    code = (
        "import sys, floorterm.library as l; "
        "assert 'yaml' not in sys.modules, 'heavy'; "
        "l.load; assert 'yaml' in sys.modules; "
        "heavy = {'textual', 'pydantic', 'sqlmodel', 'sqlalchemy', 'numpy', 'scipy'}; "
        "assert not heavy & set(sys.modules), 'too heavy'"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_name_that_the_room_lacks_is_an_attribute_error() -> None:
    import floorterm.library

    with pytest.raises(AttributeError, match="nothing_here"):
        _ = floorterm.library.nothing_here  # type: ignore[attr-defined]


def _calls_to_load(folder: Path, steps: int) -> int:
    """Function calls, of Python and of C, while a library with a procedure of so many steps is loaded."""
    head, step = FILES["procedures/eyewash.yaml"].split("    steps:\n")
    many = "".join(step.replace("id: open", f"id: open-{number}") for number in range(steps))
    plant(folder, {"procedures/eyewash.yaml": f"{head}    steps:\n{many}"})
    calls = 0

    def count(_frame: object, event: str, _arg: object) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    sys.setprofile(count)
    try:
        library = load(folder)
    finally:
        sys.setprofile(None)
    assert len(library.alone["eyewash"].sections[0].steps) == steps
    return calls


def test_twice_the_steps_are_twice_the_work_of_loading(tmp_path: Path) -> None:
    """Counted in calls, so that it says the same on a busy machine; what it takes in ms is a benchmark's."""
    few, some, many = (_calls_to_load(tmp_path / str(n), n) for n in (1, 250, 500))
    assert (many - few) / (some - few) < 2.1
    assert (many - few) / 499 < 3000
