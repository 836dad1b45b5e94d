"""Lye work: protection confirmed by the one who works, in this shift; a class that only rises; an eyewash in order.

What is asked by class is a default list from handling guides (partly read) that a competent person edits; the
weekly and yearly checks are those of a consensus standard, ANSI/ISEA Z358.1. Both say so where they are shown.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import Protect, RaiseLye, SignStep
from floorterm.changeover.compose import compose_procedure
from floorterm.changeover.eyewash import eyewash_of, up_to_last_good
from floorterm.changeover.faults import ComposeError
from floorterm.changeover.lye_needs import asked_protection, needed_items, shift_begin
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import to_json, worksheet_from_json
from floorterm.library.model import Library
from floorterm.lye.duties import Eyewash
from floorterm.people import Person
from floorterm.wording import sentence
from tests.changeover.sheets import ODE, PELL, PLANT, TAMM, Record
from tests.changeover.walkers import release

DAY = date(2026, 11, 24)
NOON = datetime(2026, 11, 24, 18, 0, tzinfo=UTC)  # 12:00 in the plant


def _record(library: Library, name: str = "lye-dilution") -> Record:
    return Record(compose_procedure(library, "L1", name, DAY), now=NOON)


def _ready(library: Library) -> Record:
    """A dilution up to its own first step after the protection: everything before it signed by R. Ode."""
    record = _record(library)
    everybody = frozenset(duty.id for duty in library.plant.duties) - {"outside_fitter"}
    record.ode = _with(ODE, everybody)  # type: ignore[attr-defined]
    record.tamm = _with(TAMM, everybody)  # type: ignore[attr-defined]
    for step in record.worksheet.steps():
        if step.id == "dilute/stock":
            break
        record.sign(step.id, record.ode, record.tamm if step.witness else None)  # type: ignore[attr-defined]
    return record


def _with(person: Person, duties: frozenset[str]) -> Person:
    return replace(person, duties=duties, trained_on=date(2026, 11, 1))


STOCK = SignStep(step="dilute/stock", scanned="LYE-STOCK")


def test_compose_puts_a_confirmation_for_each_item_of_the_class_before_the_steps(library: Library) -> None:
    sheet = compose_procedure(library, "L1", "lye-dilution", DAY)
    section = sheet.section("dilute")
    assert section is not None
    items = [step.item for step in section.steps if step.kind == "protect"]
    assert items == [
        "goggles",
        "face_shield",
        "long_gloves_k",
        "apron_sleeves",
        "rubber_boots",
        "eyewash_checked",
        "order_of_addition",
        "temperature_estimated",
        "ventilation_on",
    ]
    assert [step.kind for step in section.steps][: len(items)] == ["protect"] * len(items)
    assert worksheet_from_json(to_json(sheet)) == sheet


@pytest.mark.parametrize(
    "name", ["lye-look", "lye-sample", "lye-hose", "lye-dilution", "lye-solid", "lye-spill", "lye-clean"]
)
def test_each_class_has_a_checklist_that_can_be_walked(library: Library, name: str) -> None:
    record = _record(library, name)
    everybody = frozenset(duty.id for duty in library.plant.duties) - {"outside_fitter"}
    release(record, tuple(_with(person, everybody) for person in (ODE, TAMM, PELL)))
    assert record.state.status == "released"


def test_nobody_works_with_lye_before_every_item_is_confirmed(library: Library) -> None:
    record = _ready(library)
    section = record.worksheet.section("dilute")
    assert section is not None
    fresh = _record(library)
    fresh.ode = record.ode  # type: ignore[attr-defined]
    refused = [one.say for one in fresh.may(STOCK, record.ode)]  # type: ignore[attr-defined]
    (told,) = (sentence(say) for say in refused if say.key == "changeover.protect.none")
    missing = told.rstrip(".").partition(": ")[2].split("; ")
    assert len(missing) == len(needed_items(asked_protection(fresh.state, section)))
    assert not record.may(STOCK, record.ode)  # type: ignore[attr-defined]


def test_another_persons_confirmation_does_not_count_and_they_can_give_their_own(library: Library) -> None:
    record = _ready(library)
    tamm = record.tamm  # type: ignore[attr-defined]
    assert {one.say.key for one in record.may(STOCK, tamm)} == {"changeover.protect.other_person"}
    step = next(step for step in record.worksheet.steps() if step.item == "goggles")
    assert not record.may(SignStep(step=step.id), tamm), (
        "a step that another has signed can be confirmed again"
    )
    section = record.worksheet.section("dilute")
    assert section is not None
    items = tuple(item.id for item in needed_items(asked_protection(record.state, section)))
    record.do(Protect(section="dilute", items=items), tamm)
    assert not record.may(STOCK, tamm)
    assert not record.may(STOCK, record.ode), "and the first one's still count"  # type: ignore[attr-defined]


def test_a_confirmation_of_the_last_shift_does_not_count(library: Library) -> None:
    record = _ready(library)
    record.now = NOON + timedelta(hours=1, minutes=50)
    assert not record.may(STOCK, record.ode), "13:50, the same shift"  # type: ignore[attr-defined]
    record.now = NOON + timedelta(hours=2, minutes=1)
    assert {one.say.key for one in record.may(STOCK, record.ode)} == {"changeover.protect.other_shift"}  # type: ignore[attr-defined]


def test_a_shift_that_began_yesterday_goes_on_after_midnight(library: Library) -> None:
    note = _record(library).worksheet.section("dilute").lye  # type: ignore[union-attr]
    assert note is not None
    night = datetime(2026, 11, 25, 1, 30, tzinfo=PLANT)
    assert shift_begin(note, night) == datetime(2026, 11, 24, 22, 0, tzinfo=PLANT)


def test_protection_is_never_signed_as_not_applicable(library: Library) -> None:
    record = _record(library)
    step = next(step for step in record.worksheet.steps() if step.kind == "protect")
    act = SignStep(step=step.id, outcome="not_applicable", reason="none at hand")
    assert "protection_always_applies" in record.keys(act, PELL, None)


def test_hotter_lye_raises_the_class_and_what_was_confirmed_for_less_does_not_count(library: Library) -> None:
    record = _record(library, "lye-clean")
    everybody = frozenset(duty.id for duty in library.plant.duties) - {"outside_fitter"}
    ode = _with(ODE, everybody)
    for step in record.worksheet.steps():
        if step.kind != "protect":
            break
        record.sign(step.id, ode)
    label = SignStep(step="wash/label", number="1.5")
    assert not record.may(label, ode)
    record.do(
        RaiseLye(section="wash", mass_pct=Decimal("1.5"), temperature_c=Decimal(75)), _with(PELL, everybody)
    )
    keys = {one.say.key for one in record.may(label, ode)}
    assert "changeover.protect.none" in keys or "changeover.protect.lower_class" in keys
    section = record.worksheet.section("wash")
    assert section is not None
    before = asked_protection(record.state, section)
    record.do(RaiseLye(section="wash", mass_pct=Decimal("0.2"), temperature_c=Decimal(20)), ode)
    assert asked_protection(record.state, section).asked_class == before.asked_class, (
        "never lowered by itself"
    )
    items = tuple(item.id for item in needed_items(before))
    record.do(Protect(section="wash", items=items), ode)
    assert not record.may(label, ode)


def test_pressure_raises_sampling_to_the_protection_of_opening_a_line(library: Library) -> None:
    sheet = _record(library, "lye-sample").worksheet
    record = Record(sheet, now=NOON)
    record.do(
        RaiseLye(section="sample", mass_pct=Decimal(50), temperature_c=Decimal(25), pressurised=True), ODE
    )
    section = record.worksheet.section("sample")
    assert section is not None
    asked = asked_protection(record.state, section)
    assert asked.raised_by == ("pressure",)
    assert (asked.task_class, asked.asked_class) == ("L1", "L2")


@pytest.mark.parametrize(
    ("eyewash", "key"),
    [
        (Eyewash(activated=None, inspected=DAY), "weekly"),
        (Eyewash(activated=DAY - timedelta(days=8), inspected=DAY), "weekly"),
        (Eyewash(activated=DAY, inspected=date(2025, 11, 23)), "yearly"),
        (Eyewash(activated=DAY - timedelta(days=1), inspected=DAY, failed=DAY), "failed"),
    ],
)
def test_an_eyewash_that_is_overdue_or_failed_stops_lye_work_from_the_first_item_on(
    library: Library, eyewash: Eyewash, key: str
) -> None:
    record = _record(library)
    record.eyewash = eyewash
    step = next(step for step in record.worksheet.steps() if step.kind == "protect")
    found = {one.say.key: one.rule for one in record.may(SignStep(step=step.id), ODE)}
    assert "consensus standard" in found[f"lye.eyewash.{key}"]


def test_the_seventh_day_and_the_last_day_of_the_year_still_count(library: Library) -> None:
    record = _record(library)
    record.eyewash = Eyewash(activated=DAY - timedelta(days=7), inspected=date(2025, 11, 24))
    step = next(step for step in record.worksheet.steps() if step.kind == "protect")
    assert not [one for one in record.may(SignStep(step=step.id), ODE) if "eyewash" in one.say.key]


def test_running_a_closed_line_waits_for_no_eyewash(library: Library) -> None:
    record = _record(library, "lye-look")
    record.eyewash = Eyewash(activated=None, inspected=None)
    step = next(step for step in record.worksheet.steps() if step.kind == "protect")
    assert not [one for one in record.may(SignStep(step=step.id), ODE) if "eyewash" in one.say.key]


def test_a_closed_line_under_pressure_waits_for_the_eyewash_as_what_it_is_raised_to(library: Library) -> None:
    record = _record(library, "lye-look")
    record.eyewash = Eyewash(activated=None, inspected=None)
    raised = RaiseLye(section="look", mass_pct=Decimal(50), temperature_c=Decimal(25), pressurised=True)
    record.do(raised, ODE)
    step = next(step for step in record.worksheet.steps() if step.kind == "protect")
    keys = {one.say.key for one in record.may(SignStep(step=step.id), ODE)}
    assert {"lye.eyewash.weekly", "lye.eyewash.yearly"} <= keys


def test_an_item_whose_own_inspection_is_over_does_not_count(library: Library) -> None:
    record = _record(library, "lye-spill")
    note = record.worksheet.section("absorb").lye  # type: ignore[union-attr]
    assert note is not None
    assert note.due["suit_3"] > DAY
    late = datetime(2027, 4, 1, 18, 0, tzinfo=UTC)
    everybody = frozenset(duty.id for duty in library.plant.duties) - {"outside_fitter"}
    ode = _with(ODE, everybody)
    record.now = late
    section = record.worksheet.section("absorb")
    assert section is not None
    items = tuple(item.id for item in needed_items(asked_protection(record.state, section)))
    record.do(Protect(section="absorb", items=items), ode)
    refused = [one.say for one in record.may(SignStep(step="absorb/take-up"), ode)]
    assert "changeover.protect.inspection_overdue" in {say.key for say in refused}


@pytest.mark.parametrize("items", [(), ("leather_gloves",)])
def test_confirming_nothing_or_what_is_not_asked_is_refused(library: Library, items: tuple[str, ...]) -> None:
    assert _record(library).keys(Protect(section="dilute", items=items)) == ["no_such_protection"]


def test_a_section_without_lye_has_nothing_to_confirm_or_raise(library: Library) -> None:
    record = _record(library)
    assert record.keys(Protect(section="ready", items=("goggles",))) == ["no_lye_work"]
    raised = RaiseLye(section="ready", mass_pct=Decimal(5), temperature_c=Decimal(20))
    assert record.keys(raised) == ["no_lye_work"]


@pytest.mark.parametrize(
    ("pct", "degrees", "key"),
    [
        ("0", "20", "lye_strength_impossible"),
        ("101", "20", "lye_strength_impossible"),
        ("NaN", "20", "lye_strength_impossible"),
        ("5", "200", "lye_temperature_impossible"),
    ],
)
def test_lye_that_cannot_be_is_refused(library: Library, pct: str, degrees: str, key: str) -> None:
    act = RaiseLye(section="dilute", mass_pct=Decimal(pct), temperature_c=Decimal(degrees))
    assert _record(library).keys(act) == [key]


# --- what compose refuses ---------------------------------------------------------------------------


def _changed(library: Library, **lye: object) -> Library:
    alone = library.alone["lye-dilution"]
    sections = tuple(
        replace(section, lye=replace(section.lye, **lye)) if section.lye else section
        for section in alone.sections
    )
    changed = replace(alone, sections=sections)
    return replace(library, alone={**library.alone, "lye-dilution": changed})


@pytest.mark.parametrize("material", ["aluminium", "aluminum", "zinc", "leather"])
def test_a_tool_that_lye_attacks_is_refused(library: Library, material: str) -> None:
    with pytest.raises(ComposeError, match="lye attacks it"):
        compose_procedure(_changed(library, tools=(material,)), "L1", "lye-dilution", DAY)


def test_opening_a_line_under_pressure_is_refused(library: Library) -> None:
    with pytest.raises(ComposeError, match="under pressure"):
        compose_procedure(_changed(library, task="L2", pressurised=True), "L1", "lye-dilution", DAY)


def test_lye_work_needs_the_plants_papers(library: Library) -> None:
    bare = replace(library, plant=replace(library.plant, lye=None))
    with pytest.raises(ComposeError, match=r"plant\.yaml needs lye"):
        compose_procedure(bare, "L1", "lye-dilution", DAY)
    assert library.plant.lye is not None
    papers = replace(library.plant.lye, assessment=replace(library.plant.lye.assessment, changed_on=DAY))
    changed = replace(library, plant=replace(library.plant, lye=papers))
    with pytest.raises(ComposeError, match="assess again"):
        compose_procedure(changed, "L1", "lye-dilution", DAY)


def test_an_older_data_sheet_is_a_warning_in_the_worksheet(library: Library) -> None:
    assert library.plant.lye is not None
    sheet = replace(library.plant.lye.data_sheet, newest_on=date(2026, 10, 1))
    papers = replace(library.plant.lye, data_sheet=sheet)
    changed = replace(library, plant=replace(library.plant, lye=papers))
    section = compose_procedure(changed, "L1", "lye-dilution", DAY).section("dilute")
    assert section is not None
    assert "older than the newest" in section.steps[0].caution["en"]
    assert "older" not in section.steps[1].caution.get("en", "")


def test_each_item_says_what_to_look_for_and_which_data_sheet_hangs_there(library: Library) -> None:
    section = compose_procedure(library, "L1", "lye-dilution", DAY).section("dilute")
    assert section is not None
    whys = {step.item: step.why["en"] for step in section.steps if step.kind == "protect"}
    assert "SDS-041 caustic soda 50 %, 2025-09-02" in whys["goggles"]
    assert "ANSI/ISEA Z87.1" in whys["goggles"]
    assert "29 CFR 1910.136" in whys["rubber_boots"]
    gloves = next(step for step in section.steps if step.item == "long_gloves_k")
    assert "letter K stands for lye of 40 %" in gloves.caution["en"], "50 % is beyond it"


# --- what the record says of the eyewash ------------------------------------------------------------


def _check(library: Library, name: str, at: datetime, *, bad: str = "", whole: bool = True) -> State:
    record = Record(compose_procedure(library, "L1", name, DAY), now=at)
    everybody = frozenset(duty.id for duty in library.plant.duties) - {"outside_fitter"}
    person = _with(ODE, everybody)
    steps = list(record.worksheet.steps())
    for step in steps if whole else steps[:-1]:
        entry = {"choice": bad} if bad and step.kind == "choice" else {}
        record.force(SignStep(step=step.id, **(entry or _good(record, step))), person)
    return record.state


def _good(record: Record, step) -> dict[str, object]:  # type: ignore[no-untyped-def]
    from tests.changeover.sheets import good_entry

    act = good_entry(record.state, step, ODE)
    if step.kind == "reading":
        return {"number": str(step.low if step.low is not None else step.high)}
    return {name: getattr(act, name) for name in ("number", "choice", "text", "scanned", "counter")}


def test_a_whole_check_without_a_fault_counts_on_its_day(library: Library) -> None:
    weekly = _check(library, "eyewash-weekly", NOON)
    yearly = _check(library, "eyewash-yearly", NOON - timedelta(days=30))
    assert eyewash_of([weekly], [yearly]) == Eyewash(
        activated=DAY, inspected=(NOON - timedelta(days=30)).date()
    )


def test_half_a_check_counts_as_none(library: Library) -> None:
    assert eyewash_of([_check(library, "eyewash-weekly", NOON, whole=False)], []).activated is None


def test_a_failed_activation_stands_until_a_later_good_one(library: Library) -> None:
    failed = _check(library, "eyewash-weekly", NOON, bad="blocked")
    before = _check(library, "eyewash-weekly", NOON - timedelta(days=2))
    after = _check(library, "eyewash-weekly", NOON + timedelta(hours=2))
    assert eyewash_of([before, failed], []).failed == DAY
    assert eyewash_of([before, failed, after], []).failed is None
    assert eyewash_of([after, failed, before], []).activated == DAY


def test_checks_older_than_the_last_good_one_are_not_read(library: Library) -> None:
    newest = [
        _check(library, "eyewash-weekly", NOON, whole=False),
        _check(library, "eyewash-weekly", NOON - timedelta(days=3)),
    ]

    def endless() -> Iterator[State]:
        yield from newest
        yield _check(library, "eyewash-weekly", NOON - timedelta(days=10))
        raise AssertionError("read on for ever")

    assert up_to_last_good(endless()) == newest
