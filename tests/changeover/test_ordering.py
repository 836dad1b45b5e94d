"""References between parts of a plan when some of them are left out."""

from floorterm.changeover.ordering import Ordering, Part
from floorterm.library.model import SectionSpec, StepSpec, Text
from tests.library.helper import made


def _step(name: str, after: tuple[str, ...] | None = None) -> StepSpec:
    data = {"id": name, "kind": "confirm", "text": name, "duty": "d", "standard_min": "1", "after": after}
    return made(StepSpec, data)


def _part(
    name: str,
    steps: tuple[StepSpec, ...],
    *,
    stays: bool = True,
    without: tuple[str, ...] = (),
    beside: bool = False,
    after: tuple[str, ...] | None = None,
    lockout: str | None = None,
) -> Part:
    spec = SectionSpec(
        id=name,
        title=Text(en=name),
        steps=steps,
        beside=beside,
        after=after,
        lockout=lockout,
    )
    return Part(spec, stays, tuple((step, stays and step.id not in without) for step in steps))


def _after(ordering: Ordering, part: Part, step: str) -> set[str]:
    return set(ordering.step_after(part, next(spec for spec, _ in part.steps if spec.id == step)))


def test_a_step_comes_after_the_one_above_it_and_a_section_after_the_one_before() -> None:
    a, b = _part("a", (_step("one"), _step("two"))), _part("b", (_step("three"),))
    ordering = Ordering([a, b])
    assert _after(ordering, a, "one") == set()
    assert _after(ordering, a, "two") == {"a/one"}
    assert _after(ordering, b, "three") == {"a/two"}


def test_a_step_that_was_left_out_is_replaced_by_what_it_came_after() -> None:
    a = _part("a", (_step("one"), _step("two"), _step("three")), without=("two",))
    assert _after(Ordering([a]), a, "three") == {"a/one"}


def test_a_section_that_was_left_out_does_not_loosen_the_order() -> None:
    a, b, c = (
        _part("a", (_step("one"),)),
        _part("b", (_step("two"),), stays=False),
        _part("c", (_step("three"),)),
    )
    assert _after(Ordering([a, b, c]), c, "three") == {"a/one"}
    named = _part("c", (_step("three"),), after=("b",))
    assert _after(Ordering([a, b, named]), named, "three") == {"a/one"}


def test_a_section_beside_the_others_waits_only_for_what_it_names() -> None:
    a = _part("a", (_step("one"), _step("two")))
    b = _part("b", (_step("three"),), beside=True, after=("a/one",))
    c = _part("c", (_step("four"),))
    ordering = Ordering([a, b, c])
    assert _after(ordering, b, "three") == {"a/one"}
    assert _after(ordering, c, "four") == {"a/two"}, "the section beside is not waited for"


def test_all_ends_of_a_section_are_waited_for() -> None:
    a = _part("a", (_step("one"), _step("left", ("one",)), _step("right", ("one",))))
    b = _part("b", (_step("three"),))
    assert _after(Ordering([a, b]), b, "three") == {"a/left", "a/right"}


def test_a_section_under_lockout_is_entered_behind_its_try_out_and_left_at_its_close() -> None:
    a = _part("a", (_step("one"),))
    b = _part("b", (_step("two"), _step("more")), lockout="any")
    c = _part("c", (_step("three"),))
    ordering = Ordering([a, b, c])
    assert ordering.entry("b") == ("a/one",)
    assert _after(ordering, b, "two") == {"b-lock/verify"}
    assert _after(ordering, b, "more") == {"b/two"}
    assert _after(ordering, c, "three") == {"b-unlock/close"}


def test_a_step_that_names_only_other_sections_still_waits_for_its_own_to_be_entered() -> None:
    a, b = _part("a", (_step("one"),)), _part("b", (_step("two"),), beside=True)
    c = _part("c", (_step("three", ("b/two",)),), after=("a",))
    assert _after(Ordering([a, b, c]), c, "three") == {"a/one", "b/two"}
