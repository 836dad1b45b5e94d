"""Steps that would wait for each other for ever are named, all of them, at a place where the circle can be cut."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.library import LibraryError, load
from tests.library.helper import CLOVE, FILES, broken, faults_of, place, plant

START, RUN_OUT, CLEANING = "procedures/start.yaml", "procedures/run-out.yaml", "procedures/cleaning.yaml"
ALONE = "procedures/eyewash.yaml"


def circle(folder: Path, name: str, old: str, new: str, at: str) -> str:
    """What the one fault of a circle found; its place is checked."""
    (fault,) = broken(folder, name, old, new)
    assert (fault.path, fault.line, fault.column) == (name, *place(FILES[name].replace(old, new, 1), at))
    assert fault.suggestion == "take one of these out of after, since or needs_lockout"
    return fault.found


def test_two_steps_of_a_section_that_wait_for_each_other(tmp_path: Path) -> None:
    found = circle(
        tmp_path, START, "        dwell_min: 5", "        after: [flush]\n        dwell_min: 5", "flush]"
    )
    assert "start/heat > start/flush" in found or "start/flush > start/heat" in found


def test_a_step_that_waits_for_itself(tmp_path: Path) -> None:
    found = circle(
        tmp_path, START, "after: [heat, clean]", "after: [flush]", "flush]\n        standard_min: 14"
    )
    assert found == "a circle: start/flush > start/flush"


def test_a_step_that_waits_for_the_end_of_its_own_section(tmp_path: Path) -> None:
    (fault,) = broken(tmp_path, RUN_OUT, "        mark:", "        after: [out]\n        mark:")
    assert "expected a step of this section, section/step or a section" in fault.sentence


def test_a_section_that_waits_for_a_later_one(tmp_path: Path) -> None:
    text = "    when: {strip_down: true, line: L1}"
    found = circle(tmp_path, CLEANING, text, f"{text}\n    after: [start]", "start]")
    for part in ("end of clean", "beginning of clean", "beginning of start", "end of start"):
        assert part in found


def test_an_early_step_that_waits_for_a_late_one(tmp_path: Path) -> None:
    found = circle(
        tmp_path, RUN_OUT, "        mark:", "        after: [first/look]\n        mark:", "first/look"
    )
    assert "first/look > out/last-bar" in found


def test_a_dwell_counted_from_a_later_step(tmp_path: Path) -> None:
    found = circle(tmp_path, START, "since: out/stop-dose", "since: flush", "flush\n        standard_min: 5")
    assert "start/flush > start/heat" in found


def test_a_circle_in_a_procedure_alone_names_the_procedure(tmp_path: Path) -> None:
    (fault,) = broken(tmp_path, ALONE, "duty: operator", "duty: operator\n        after: [open]")
    assert (fault.expected, fault.found) == (
        "steps of eyewash that can all be reached",
        "a circle: check/open > check/open",
    )


def test_a_circle_through_a_fragrances_own_step_names_the_fragrance(tmp_path: Path) -> None:
    text = CLOVE.replace("    duty: operator", "    duty: operator\n    after: [start/flush]")
    (fault,) = faults_of(plant(tmp_path, {"fragrances/clove.yaml": text}))
    assert (fault.path, fault.field) == ("fragrances/clove.yaml", "leave[1].after[1]")
    assert "clove's leave/mark-bins" in fault.found


def test_steps_of_two_fragrances_that_never_meet_are_no_circle(tmp_path: Path) -> None:
    """Leave steps of two fragrances stand side by side, never one after the other."""
    plain = FILES["fragrances/plain.yaml"] + CLOVE[CLOVE.index("leave:") :]
    text = CLOVE.replace("    duty: operator", "    duty: operator\n    after: [out/last-bar]")
    assert load(plant(tmp_path, {"fragrances/plain.yaml": plain, "fragrances/clove.yaml": text}))


def _section(name: str, steps: list[list[str] | None], after: list[str] | None) -> str:
    rows = [f"  - id: {name}", "    title: x"]
    if after is not None:
        rows.append(f"    after: [{', '.join(after)}]")
    rows.append("    steps:")
    for number, refs in enumerate(steps):
        rows += [
            f"      - id: s{number}",
            "        kind: confirm",
            "        text: x",
            "        duty: operator",
        ]
        rows.append("        standard_min: 1")
        if refs is not None:
            rows.append(f"        after: [{', '.join(refs)}]")
    return "\n".join(rows)


@st.composite
def _procedures(draw: st.DrawFn) -> list[tuple[list[list[str] | None], list[str] | None]]:
    sizes = draw(st.lists(st.integers(1, 3), min_size=1, max_size=3))
    every = [f"p{part}/s{step}" for part, size in enumerate(sizes) for step in range(size)]
    refs = st.none() | st.lists(st.sampled_from(every), max_size=2)
    return [([draw(refs) for _ in range(size)], draw(refs)) for size in sizes]


def _can_be_walked(parts: list[tuple[list[list[str] | None], list[str] | None]]) -> bool:
    """Sign whatever may be signed until nothing moves: the plain meaning of `after`, without a graph."""
    done: set[str] = set()
    total = sum(len(steps) for steps, _ in parts)
    moved = True
    while moved:
        moved = False
        for part, (steps, entry) in enumerate(parts):
            ready = set(entry) <= done if entry is not None else _entered(parts, part, done)
            for number, refs in enumerate(steps):
                name = f"p{part}/s{number}"
                before = {f"p{part}/s{number - 1}"} if refs is None and number else set(refs or ())
                if name not in done and ready and before <= done:
                    done.add(name)
                    moved = True
    return len(done) == total


def _entered(parts: list[tuple[list[list[str] | None], list[str] | None]], part: int, done: set[str]) -> bool:
    """A section without `after` begins when the section before it is finished, which has itself been entered."""
    return part == 0 or {f"p{part - 1}/s{number}" for number in range(len(parts[part - 1][0]))} <= done


@pytest.fixture(scope="module")
def small_plant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plant, of which one procedure is written again and again."""
    return plant(tmp_path_factory.mktemp("plant"))


@settings(max_examples=120, deadline=None)
@given(_procedures())
def test_a_circle_is_found_exactly_where_no_walk_can_finish(
    small_plant: Path, parts: list[tuple[list[list[str] | None], list[str] | None]]
) -> None:
    head = FILES[ALONE].split("sections:\n")[0]
    sections = [_section(f"p{part}", steps, after) for part, (steps, after) in enumerate(parts)]
    (small_plant / ALONE).write_text(f"{head}sections:\n" + "\n".join(sections) + "\n")
    found: list[str] = []
    try:
        load(small_plant)
    except LibraryError as error:
        found = [fault.found for fault in error.faults]
    assert [text[:10] for text in found] == ([] if _can_be_walked(parts) else ["a circle: "])
