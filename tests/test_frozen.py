"""`replaced` is `dataclasses.replace`, only faster."""

from dataclasses import dataclass, field, replace

import pytest

from floorterm.frozen import replaced


@dataclass(frozen=True, kw_only=True)
class _Value:
    one: int
    many: tuple[int, ...] = ()
    named: dict[str, int] = field(default_factory=dict)


def test_it_gives_what_the_standard_library_gives_and_leaves_the_old_value_alone() -> None:
    old = _Value(one=1, named={"a": 1})
    assert replaced(old, one=2, many=(3,)) == replace(old, one=2, many=(3,))
    assert old == _Value(one=1, named={"a": 1})


def test_a_field_that_there_is_none_of_is_told() -> None:
    with pytest.raises(TypeError, match="_Value has no field two"):
        replaced(_Value(one=1), two=2)
