"""Lockout procedures that name their mode or an exception: what does not fit together is a fault with its reason.

29 CFR 1910.147(a)(2) exceptions and (f)(3) groups; the starter plant's own procedures are altered one thing at a time.
"""

from typing import Any

import pytest
from msgspec.structs import asdict

from floorterm.library import LibraryError
from floorterm.library.model import IsolationPoint, Library, LockoutFile
from tests.library.helper import made


def altered(library: Library, name: str, **changes: Any) -> LockoutFile:
    return made(LockoutFile, {**asdict(library.lockouts[name]), **changes})


@pytest.mark.parametrize(
    ("name", "changes", "expected"),
    [
        ("lockout-stamper-1", {"points": ()}, "points: expected at least one isolation point"),
        ("exception-sensor-lens", {"points": ("L1-S1",)}, "points: expected none"),
        ("exception-sensor-lens", {"measure": None}, "measure: expected what protects instead"),
        ("exception-sensor-lens", {"task": None}, "task: expected a word for the task"),
        ("exception-belt-cleaner", {"mode": "group"}, "mode: expected individual"),
        ("lockout-stamper-1", {"crews": 2}, "mode: expected group"),
    ],
)
def test_what_does_not_fit_together_is_said(
    library: Library, name: str, changes: dict[str, Any], expected: str
) -> None:
    with pytest.raises(LibraryError, match=expected):
        altered(library, name, **changes)


def test_what_fits_is_taken(library: Library) -> None:
    assert altered(library, "lockout-stamper-1", mode="group", crews=2).crews == 2
    assert altered(library, "exception-belt-cleaner").points == ()


def test_no_isolation_point_is_called_like_the_lock_box(library: Library) -> None:
    point = library.lines["L1"].points[0]
    with pytest.raises(LibraryError, match="the lock box of a group"):
        made(IsolationPoint, {**asdict(point), "id": "Box"})


def test_contractors_are_named_by_duties_that_the_plant_has(library: Library) -> None:
    duties = {duty.id for duty in library.plant.duties}
    assert set(library.plant.lockout.contractor_duties) <= duties
