"""The start of a line from a file: numbers and parts, YAML or JSON; each fault with file, line, column and field."""

import pytest

from floorterm.library import LibraryError
from floorterm.library.line_state import PartFractions, read_line_state

UNITS = ("mixer", "refiner", "plodder")


def test_a_number_stands_for_the_unit_and_parts_for_themselves() -> None:
    text = b"plodder: 0.1\nrefiner: {active: 0.2, dead: 1, plug: 2e-3}\nmixer: {dead: 0}\n"
    assert read_line_state("s.yaml", text, UNITS) == {
        "plodder": 0.1,
        "refiner": PartFractions(active=0.2, dead=1.0, plug=0.002),
        "mixer": PartFractions(dead=0.0),
    }


def test_json_is_read_as_well() -> None:
    assert read_line_state("s.json", b'{"plodder": 0.05}', UNITS) == {"plodder": 0.05}


@pytest.mark.parametrize(
    ("text", "place", "field", "part"),
    [
        ("mixer: 0\nplodder: 1.2\n", (2, 10), "plodder", "0.05 means 5 %"),
        ("plodder: -0.1\n", (1, 10), "plodder", "a fraction from 0 to 1"),
        ("plodder: .nan\n", (1, 10), "plodder", "a fraction from 0 to 1"),
        ("plodder: .inf\n", (1, 10), "plodder", "a fraction from 0 to 1"),
        ("plodder: true\n", (1, 10), "plodder", "found true"),
        ("plodder: 10 %\n", (1, 10), "plodder", '"10 %"'),
        ("plodder: [0.1]\n", (1, 10), "plodder", "a list"),
        ("plodder:\n", (1, 9), "plodder", "nothing"),
        ("ploder: 0.1\n", (1, 9), "ploder", 'did you mean "plodder"?'),
        ("refiner: {aktive: 0.1}\n", (1, 19), "refiner.aktive", 'did you mean "active"?'),
        ("refiner: {dead: 3}\n", (1, 17), "refiner.dead", "a fraction from 0 to 1"),
        ("refiner: {}\n", (1, 10), "refiner", "nothing"),
        ("plodder: 0.1\nplodder: 0.2\n", (2, 1), "plodder", "plodder"),
    ],
)
def test_every_fault_names_file_line_column_and_field(
    text: str, place: tuple[int, int], field: str, part: str
) -> None:
    with pytest.raises(LibraryError) as caught:
        read_line_state("s.yaml", text.encode(), UNITS)
    fault = caught.value.faults[0]
    assert (fault.path, fault.field) == ("s.yaml", field)
    assert (fault.line, fault.column) == place
    assert part in str(fault)


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(LibraryError) as caught:
        read_line_state("s.yaml", b"plodder: 2\nnose: 0.1\nrefiner: {dead: x}\n", UNITS)
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize("content", [b"", b"[1, 2]", b"a: {b: [", b"\xff"])
def test_what_is_no_mapping_is_refused(content: bytes) -> None:
    with pytest.raises(LibraryError):
        read_line_state("s.yaml", content, UNITS)
