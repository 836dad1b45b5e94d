"""Composing worksheets from the starter plant: every ordered pair is complete without being typed."""

from datetime import date
from decimal import Decimal
from itertools import permutations

import pytest
from msgspec.structs import replace

from floorterm.changeover.compose import ComposeError, compose, compose_procedure
from floorterm.changeover.worksheet import Worksheet, to_json, worksheet_from_json
from floorterm.entries import canonical
from floorterm.library.model import Library
from floorterm.library.tables import oil
from floorterm.lockout.model import Event

DAY = date(2026, 11, 24)  # the extended label list binds new products from 1 August 2026 on


def _pairs(library: Library) -> list[tuple[str, str, str]]:
    return [
        (line, outgoing, incoming)
        for line in library.lines
        for outgoing, incoming in permutations(
            [name for name, fragrance in library.fragrances.items() if line in fragrance.lines], 2
        )
    ]


@pytest.fixture(scope="module")
def sheets(library: Library) -> dict[tuple[str, str, str], Worksheet]:
    return {pair: compose(library, *pair, DAY) for pair in _pairs(library)}


def test_every_ordered_pair_on_every_line_has_a_worksheet(
    library: Library, sheets: dict[tuple[str, str, str], Worksheet]
) -> None:
    assert len(library.lines) >= 2
    assert len(library.fragrances) >= 8
    expected = 0
    for line in library.lines:
        n = sum(1 for fragrance in library.fragrances.values() if line in fragrance.lines)
        expected += n * (n - 1)
    assert len(sheets) == expected


def test_every_constituent_of_every_oil_used_has_its_source(library: Library) -> None:
    rows = [
        row for fragrance in library.fragrances.values() for part in fragrance.oils for row in oil(part.oil)
    ]
    assert len(rows) > 50
    assert all(row.source and row.confidence for row in rows)


def test_every_worksheet_is_in_an_order_that_can_be_walked(
    sheets: dict[tuple[str, str, str], Worksheet],
) -> None:
    for pair, sheet in sheets.items():
        ids = [step.id for step in sheet.steps()]
        assert len(ids) == len(set(ids)), pair
        known: set[str] = set()
        left = list(sheet.steps())
        while left:
            ready = [step for step in left if set(step.after) <= known]
            assert ready, (pair, [step.id for step in left])
            known |= {step.id for step in ready}
            left = [step for step in left if step.id not in known]


def test_a_worksheet_is_the_same_when_it_is_read_back_from_an_entry(
    sheets: dict[tuple[str, str, str], Worksheet],
) -> None:
    for sheet in sheets.values():
        again = worksheet_from_json(to_json(sheet))
        assert again == sheet
        assert again.digest == sheet.digest
        assert canonical(to_json(again)) == canonical(to_json(sheet))


def test_a_changeover_with_strip_down_has_at_least_45_steps(
    sheets: dict[tuple[str, str, str], Worksheet],
) -> None:
    sheet = sheets["L1", "clove-leaf", "plain"]
    assert sheet.facts["strip_down"] is True
    assert sum(1 for _ in sheet.steps()) >= 45
    assert len(sheet.jobs) == 1


def test_without_strip_down_there_is_no_lockout(sheets: dict[tuple[str, str, str], Worksheet]) -> None:
    sheet = sheets["L1", "plain", "petitgrain"]
    assert sheet.facts["strip_down"] is False
    assert sheet.jobs == ()
    assert not [step for step in sheet.steps() if step.needs_lockout or step.kind == "lockout"]


# Order of one correct job in individual mode, 29 CFR 1910.147(c)(9), (d)(1)-(6), (e)(1)-(3); the notice after
# the locks are off stands before the restart (Appendix A restores energy first and passes too).
_ORDER = [
    Event.NOTIFY_BEFORE, Event.REVIEW, Event.SHUT_DOWN, Event.ISOLATE, Event.LOCK_ON, Event.RELEASE,
    Event.VERIFY, None, Event.WORK_END, Event.INSPECT_AREA, Event.ACCOUNT_PEOPLE, Event.LOCK_OFF,
    Event.NOTIFY_AFTER, Event.RE_ENERGISE, Event.RESTART, Event.CLOSE,
]  # fmt: skip


def test_the_lockout_steps_stand_in_the_order_of_the_regulation(
    sheets: dict[tuple[str, str, str], Worksheet],
) -> None:
    checked = 0
    for sheet in sheets.values():
        for job in sheet.jobs:
            events = [
                step.event for step in sheet.steps() if step.job == job.id or step.needs_lockout == job.id
            ]
            places = [_ORDER.index(event) for event in events]
            assert places == sorted(places)
            for event in (Event.ISOLATE, Event.LOCK_ON, Event.LOCK_OFF, Event.RE_ENERGISE):
                found = {step.point for step in sheet.steps() if step.job == job.id and step.event is event}
                assert found == set(job.required)
            relieved = {step.point for step in sheet.steps() if step.event is Event.RELEASE}
            assert relieved == {point.id for point in job.points if point.needs_release}
            checked += 1
    assert checked > 20


def test_work_under_lockout_comes_after_the_try_out_and_before_the_locks_come_off(
    sheets: dict[tuple[str, str, str], Worksheet],
) -> None:
    sheet = sheets["L1", "clove-leaf", "plain"]
    after = {step.id: set(step.after) for step in sheet.steps()}

    def comes_after(step: str) -> set[str]:
        found: set[str] = set()
        todo = [step]
        while todo:
            for name in after[todo.pop()] - found:
                found.add(name)
                todo.append(name)
        return found

    job = sheet.jobs[0].id
    for step in sheet.steps():
        if step.needs_lockout:
            assert f"{job}-lock/verify" in comes_after(step.id)
            assert step.id in comes_after(f"{job}-unlock/work-end")


def test_the_steps_of_both_fragrances_are_on_the_worksheet(library: Library) -> None:
    outgoing, incoming = library.fragrances["clove-leaf"], library.fragrances["plain"]
    assert outgoing.leave
    assert incoming.enter
    sheet = compose(library, "L1", "clove-leaf", "plain", DAY)
    assert sheet.section("leave") is not None
    assert sheet.section("enter") is not None


def test_texts_name_the_pair_in_each_language_and_codes_are_those_of_the_scanner(library: Library) -> None:
    sheet = compose(library, "L1", "juniper", "clove-leaf", DAY)
    step = sheet.step("prep/oil-drum")
    assert step is not None
    assert "Clove leaf" in step.text["en"]
    assert step.text["es"] != step.text["en"]
    assert step.expect == "OIL-" + library.fragrances["clove-leaf"].code


def test_a_worksheet_is_written_in_english_and_the_languages_that_the_plant_declares(
    library: Library,
) -> None:
    """What the program itself says in it too: a language that the program learns changes no worksheet."""
    for own in ("es", "de"):
        plant = replace(library.plant, languages=(own,))
        found = replace(library, plant=plant)
        sheet = compose(found, "L1", "clove-leaf", "plain", DAY, compare=True)
        verify = next(step for step in sheet.steps() if step.event is Event.VERIFY)
        assert sheet.flush is not None
        for text in (verify.text, verify.why, *sheet.flush.chain, *sheet.flush.warnings):
            assert set(text) == {"en", own}


def test_what_the_program_says_around_a_draft_of_the_plant_is_a_draft(library: Library) -> None:
    """So that a screen marks the step: its place is in words that nobody has reviewed."""
    sheet = compose(library, "L1", "clove-leaf", "plain", DAY)
    isolate = next(step for step in sheet.steps() if step.event is Event.ISOLATE)
    (job,) = (job for job in sheet.jobs if job.id == isolate.job)
    point = next(point for point in job.points if point.id == isolate.point)
    assert set(point.place) == set(isolate.text) == {"en", "es", "de_draft"}
    assert point.place["de_draft"] in isolate.text["de_draft"]
    assert set(isolate.why) == {"en", "es", "de"}  # of the plant it holds volts alone
    assert {"en", "es", "de_draft"} == set(next(s for s in sheet.sections if s.id == "enter").title)


def test_a_line_that_may_hold_more_is_flushed_for_the_worst_of_it(library: Library) -> None:
    """Residues share the line's soap, so that each rule is kept by the limit of its worst fragrance."""
    alone = {
        name: compose(library, "L1", name, "petitgrain", DAY).flush
        for name in ("plain", "clove-leaf", "litsea")
    }
    both = compose(library, "L1", "plain", "petitgrain", DAY, traces=("litsea", "clove-leaf")).flush
    assert both is not None
    needed = max(note.required_kg for note in alone.values() if note is not None)
    assert both.required_kg >= needed > 0
    assert {one.outgoing for one in both.candidates} >= {"clove-leaf", "litsea"}


def test_the_same_item_of_two_fragrances_has_the_limit_of_the_worse_one(library: Library) -> None:
    """Palmarosa and geranium both bring geraniol, which the plain bar's label cannot name."""

    def geraniol(outgoing: str, *traces: str) -> tuple[Decimal, str]:
        note = compose(library, "L1", outgoing, "plain", DAY, traces=traces).flush
        assert note is not None
        found = [one for one in note.candidates if one.item == "Geraniol"]
        assert len(found) == 1
        return found[0].limit, found[0].outgoing

    one, other = geraniol("palmarosa"), geraniol("geranium")
    assert one != other
    assert geraniol("palmarosa", "geranium") == min(one, other) == geraniol("geranium", "palmarosa")


def test_the_label_is_read_wherever_it_limits_also_where_something_else_decides(library: Library) -> None:
    sheet = compose(library, "L1", "clove-leaf", "petitgrain", DAY)
    assert sheet.flush is not None
    assert sheet.flush.governing is not None
    assert sheet.flush.governing.criterion == "colour"
    assert (sheet.facts["allergen_governs"], sheet.facts["allergen_limits"]) == (False, True)
    assert any(step.id.endswith("/read-label") for step in sheet.steps())
    free = compose(library, "L1", "plain", "petitgrain", DAY)
    assert not free.facts["allergen_limits"]
    assert not any(step.id.endswith("/read-label") for step in free.steps())


def test_a_claim_is_a_gate_and_stands_on_the_worksheet(library: Library) -> None:
    note = compose(library, "L1", "clove-leaf", "plain", DAY).flush
    assert note is not None
    assert note.gate == "fragrance_free"


def test_what_cannot_be_composed_is_said_in_a_sentence(library: Library) -> None:
    with pytest.raises(ComposeError, match="no line 'L9'"):
        compose(library, "L9", "plain", "juniper", DAY)
    with pytest.raises(ComposeError, match="no fragrance 'musk'"):
        compose(library, "L1", "musk", "juniper", DAY)
    with pytest.raises(ComposeError, match="does not run on line L2"):
        compose(library, "L2", "plain", "clove-leaf", DAY)
    with pytest.raises(ComposeError, match="already holds"):
        compose(library, "L1", "plain", "plain", DAY)
    with pytest.raises(ComposeError, match="no procedure"):
        compose_procedure(library, "L1", "dance", DAY)


def test_procedures_that_stand_alone_compose_on_each_of_their_lines(library: Library) -> None:
    count = 0
    for name, alone in library.alone.items():
        for line in alone.lines:
            sheet = compose_procedure(library, line, name, DAY)
            assert sheet.procedure is not None
            assert sheet.flush is None
            count += 1
    assert count >= 10
