"""What `check` asks of an energy-control procedure and of the plan of its points.

Source of the parts of a procedure: 29 CFR 1910.147(c)(4)(ii) and its items (A) to (D); of the further measure for a
point that takes no lock: (c)(3)(ii). The plan is the program's own.
"""

from pathlib import Path

import pytest
from msgspec.structs import asdict

from floorterm.library import load
from floorterm.library.model import Library
from tests.library.helper import FILES, broken, faults_of, only, plant

LINE, LOCK = "lines/one.yaml", "procedures/lock-1.yaml"
PARTS = (
    "scope", "purpose", "authorisation", "rules_and_techniques", "enforcement", "intended_use",
    "steps_shut_down_isolate", "steps_devices_and_responsible", "how_tested",
)  # fmt: skip
PLAN = """\
plan:
  length_m: 10
  width_m: 4
  note: {en: From above., es: Desde arriba.}
  machines:
    - {name: {en: Mixer, es: Mezcladora}, x_m: 1, y_m: 1, length_m: 3, width_m: 2}
tanks:"""


def _content(part: str) -> str:
    return next(line for line in FILES[LOCK].splitlines() if line.startswith(f"  {part}: "))


@pytest.mark.parametrize("part", PARTS)
def test_each_part_that_the_regulation_asks_for_must_be_there(tmp_path: Path, part: str) -> None:
    fault = only(tmp_path, LOCK, _content(part) + "\n", "")
    assert fault.field == f"content.{part}"


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("word", ["-", "TBD", "n/a.", "{en: tbd, es: pendiente}", '""'])
def test_a_word_that_only_holds_the_place_of_a_sentence_is_a_fault(
    tmp_path: Path, part: str, word: str
) -> None:
    faults = broken(
        tmp_path,
        LOCK,
        _content(part),
        f"  {part}: {word if '{' in word or word[0] == chr(34) else repr(word)}",
    )
    assert {fault.field.split("[")[0] for fault in faults} & {f"content.{part}", f"content.{part}.en"}


def test_a_point_without_a_stated_verification_is_a_fault(tmp_path: Path) -> None:
    start = FILES[LINE].index("    verify:")
    text = FILES[LINE][start : FILES[LINE].index("tanks:\n")]
    assert only(tmp_path, LINE, text, "").field == "points[1].verify"


def test_a_point_that_takes_no_lock_needs_a_further_measure(tmp_path: Path) -> None:
    fault = only(tmp_path, LINE, "    needs_release: false", "    lockable: false\n    needs_release: false")
    assert fault.field == "points[1].extra_measure"
    text = (
        "    lockable: false\n    extra_measure: {en: Handle off., es: Sin manija.}\n    needs_release: false"
    )
    load(plant(tmp_path / "well", {LINE: FILES[LINE].replace("    needs_release: false", text)}))


def test_a_procedure_has_at_least_one_point_that_is_required(tmp_path: Path) -> None:
    text = FILES[LINE].replace("    needs_release: false", "    required: false\n    needs_release: false")
    (fault,) = faults_of(plant(tmp_path, {LINE: text}))
    assert (fault.path, fault.field) == (LOCK, "points")
    assert "required on L1" in fault.expected


# --- the plan ---------------------------------------------------------------------------------------

AT = "    needs_release: false\n    at: {x_m: 2, y_m: 0.5}"


def _line(plan: str = PLAN, at: str = AT) -> str:
    return FILES[LINE].replace("    needs_release: false", at).replace("\ntanks:\n", f"\n{plan}\n", 1)


def test_a_plan_with_every_point_on_it_is_read(tmp_path: Path) -> None:
    library = load(plant(tmp_path, {LINE: _line()}))
    point = library.lines["L1"].points[0]
    assert point.at is not None
    assert (float(point.at.x_m), float(point.at.y_m)) == (2, 0.5)


@pytest.mark.parametrize(
    ("plan", "at", "field", "expected"),
    [
        (PLAN, "    needs_release: false", "points[1].at", "place on the plan"),
        ("tanks:", AT, "points[1].at", "no place"),
        (PLAN, AT.replace("x_m: 2", "x_m: 11"), "points[1].at", "a place on the plan (10 by 4 m)"),
        (PLAN, AT.replace("y_m: 0.5", "y_m: 4.5"), "points[1].at", "a place on the plan"),
        (PLAN.replace("x_m: 1,", "x_m: 8,"), AT, "plan.machines[1]", "an outline inside the plan"),
        (PLAN.replace("y_m: 1,", "y_m: 3,"), AT, "plan.machines[1]", "an outline inside the plan"),
    ],
)
def test_whatever_is_drawn_lies_on_the_plan(
    tmp_path: Path, plan: str, at: str, field: str, expected: str
) -> None:
    (fault,) = faults_of(plant(tmp_path, {LINE: _line(plan, at)}))
    assert (fault.path, fault.field) == (LINE, field)
    assert expected in fault.expected


def test_two_points_do_not_cover_each_other_on_the_plan(tmp_path: Path) -> None:
    text = _line()
    start = text.index("  - id: E1")
    point = text[start : text.index("plan:")]
    second = point.replace("id: E1", "id: E2").replace("x_m: 2,", "x_m: 2.2,")
    (fault,) = faults_of(plant(tmp_path, {LINE: text.replace("plan:", second + "plan:", 1)}))
    assert fault.field == "points[2].at"
    assert "0.5 m from E1" in fault.expected


def test_the_starter_set_draws_every_line_and_states_its_procedures_in_both_languages(
    library: Library,
) -> None:
    for line in library.lines.values():
        assert line.plan is not None
        assert all(point.at for point in line.points)
    for lockout in library.lockouts.values():
        assert all(text.es for text in asdict(lockout.content).values())
