"""Whatever the files hold: a library, or one error with faults that a person can read. Never anything else."""

from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.library import Fault, Library, LibraryError, load
from tests.library.helper import FILES, plant

_NAMES = sorted(FILES)
_TREES: dict[str, Any] = {name: yaml.load(text, yaml.BaseLoader) for name, text in FILES.items()}


@pytest.fixture(scope="module")
def small_plant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plant; each test puts back the file that it broke."""
    return plant(tmp_path_factory.mktemp("plant"))


def try_with(folder: Path, name: str, content: bytes) -> Library | None:
    """Load the plant with one file replaced. Faults must be readable and stand within their file."""
    (folder / name).write_bytes(content)
    faults: tuple[Fault, ...] = ()
    library = None
    try:
        library = load(folder)
    except LibraryError as error:
        faults = error.faults
    finally:
        (folder / name).write_text(FILES[name], encoding="utf-8")
    assert (library is None) == bool(faults)
    for fault in faults:
        assert str(fault).isprintable()
        assert fault.expected
        assert fault.found
        if fault.path == name:
            assert 0 <= fault.line <= content.count(b"\n") + content.count(b"\r") + 2
    return library


@settings(max_examples=80, deadline=None)
@given(st.sampled_from(_NAMES), st.binary(max_size=400))
def test_random_bytes(small_plant: Path, name: str, content: bytes) -> None:
    assert try_with(small_plant, name, content) is None


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_file_with_a_passage_cut_out_or_put_in(small_plant: Path, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(_NAMES))
    text = FILES[name]
    at = data.draw(st.integers(0, len(text)))
    cut = data.draw(st.integers(0, 40))
    new = data.draw(
        st.sampled_from(["", "- ", ": ", "{", "]", "no", "\n", "  ", "x", "|", "&a ", "*a", "12", '"'])
    )
    try_with(small_plant, name, (text[:at] + new + text[at + cut :]).encode())


_VALUES = st.recursive(
    st.sampled_from(["", "x", "no", "12", "-1", "1e400", "L1", "clean", "a/b", "{x}", "true"])
    | st.integers()
    | st.booleans(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["id", "en", "kind", "x"]), inner, max_size=3)
    ),
    max_leaves=5,
)


def _paths(tree: Any, here: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    pairs = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    return [here, *(path for key, inner in pairs for path in _paths(inner, (*here, key)))]


def _with(tree: Any, path: tuple[str | int, ...], value: Any) -> Any:
    if not path:
        return value
    copy = dict(tree) if isinstance(tree, dict) else list(tree)
    copy[path[0]] = _with(tree[path[0]], path[1:], value)
    return copy


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_value_of_another_shape_anywhere(small_plant: Path, data: st.DataObject) -> None:
    """The shape of every value is wrong once in a while: texts as lists, lists as numbers, keys missing."""
    name = data.draw(st.sampled_from(_NAMES))
    path = data.draw(st.sampled_from(_paths(_TREES[name])))
    tree = _with(_TREES[name], path, data.draw(_VALUES))
    content = yaml.safe_dump(tree, allow_unicode=True, sort_keys=False)
    try_with(small_plant, name, content.encode())
