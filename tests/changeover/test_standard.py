"""Standard minutes: a list schedule with one person a duty."""

from datetime import date
from decimal import Decimal

from floorterm.changeover.compose import compose
from floorterm.changeover.standard import minutes_of, schedule, standard_min
from floorterm.changeover.worksheet import Named, Section, Step, Worksheet
from floorterm.library.model import Library


def _sheet(*steps: Step) -> Worksheet:
    section = Section(id="s", title={"en": "s"}, steps=steps)
    return Worksheet(line=Named(id="L", name={"en": "L"}), on=date(2026, 11, 24), sections=(section,))


def _step(name: str, minutes: int, duty: str, *after: str, **more: object) -> Step:
    plain: dict[str, object] = {
        "kind": "confirm", "duty": duty, "standard_min": Decimal(minutes), "after": after
    }  # fmt: skip
    return Step(id=name, text={"en": name}, **{**plain, **more})  # type: ignore[arg-type]


def test_two_people_work_side_by_side_and_one_person_one_thing_after_another() -> None:
    side_by_side = _sheet(_step("a", 5, "x"), _step("b", 7, "y"))
    assert standard_min(side_by_side) == 7
    one_person = _sheet(_step("a", 5, "x"), _step("b", 7, "x"))
    assert standard_min(one_person) == 12


def test_a_step_waits_for_what_it_comes_after() -> None:
    slots = schedule(_sheet(_step("a", 5, "x"), _step("b", 7, "y", "a")))
    assert (slots["b"].start, slots["b"].end) == (5, 12)


def test_external_work_counts_nothing_and_a_dwell_keeps_nobody() -> None:
    sheet = _sheet(
        _step("fetch", 30, "x", external=True),
        _step("heat", 0, "x", "fetch", kind="wait", dwell_min=Decimal(6)),
        _step("wipe", 4, "x"),
    )
    assert standard_min(sheet) == 6


def test_the_count_begins_with_the_last_good_bar() -> None:
    sheet = _sheet(
        _step("run-down", 9, "x"),
        _step("last", 1, "x", "run-down", mark="last_good_outgoing"),
        _step("clean", 20, "x", "last"),
    )
    assert standard_min(sheet) == 20


def test_a_flush_takes_what_its_kg_need_at_the_rate_of_the_line(library: Library) -> None:
    sheet = compose(library, "L1", "clove-leaf", "plain", date(2026, 11, 24))
    step = next(step for step in sheet.steps() if step.kind == "flush")
    assert sheet.flush is not None
    expected = sheet.flush.required_kg / sheet.flush.rate_kg_h * 60
    assert abs(minutes_of(sheet, step) - expected) <= Decimal("0.05")
