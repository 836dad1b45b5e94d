"""What is corrected after goods were released: told against the signature of their shift, and waiting on every list."""

from datetime import timedelta
from typing import Any

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import Abandon, Act, CorrectStep, Dispose, RaiseDeviation
from floorterm.changeover.standing import STANDS
from floorterm.changeover.view_words import unit_text
from floorterm.changeover.worksheet import to_json
from floorterm.demo import open_still
from floorterm.entries import Draft
from floorterm.line_record import LineRecord
from floorterm.plant import Plant
from floorterm.review.document_text import as_text
from floorterm.review.framing import Printing
from floorterm.review.shift_document import shift_document
from floorterm.shift.summary import differences
from floorterm.shift.window import Window, window_named
from floorterm.shift_review import Review, review_of, sign
from floorterm.terminal.plain import review_text, shift_text, status_text
from floorterm.terminal.views.first_rows import told_of
from floorterm.wording import LANGUAGES, sentence, words
from tests.conftest import who
from tests.terminal.shell import opened, rows, text_of, until_top

WORK = "C-0009"


@pytest.fixture
def still() -> Plant:
    """The demo plant on Tuesday at 14:22, its early shift over and signed; C-0009 was released in it at 9:40."""
    plant = open_still()
    _sign(plant, "2026-11-24/early")
    return plant


def _window(plant: Plant, key: str) -> Window:
    return window_named(plant.library.plant.shifts, key, plant.zone)


def _review(plant: Plant, key: str) -> Review:
    return review_of(plant, _window(plant, key))


def _sign(plant: Plant, key: str) -> None:
    for one in _review(plant, key).summary.undecided:
        _act(plant, one.work, Dispose(deviation=one.n, decision="accept", reason="as agreed"), witness="SH")
    sign(plant, who(plant, "CI"), _review(plant, key), "nothing", key=plant.ledger.new_id())


def _act(plant: Plant, work: str, act: Act, witness: str = "") -> int:
    seen = plant.ledger.person(witness) if witness else None
    return plant.act(work, act, who(plant, "CI"), key=plant.ledger.new_id(), witness=seen).n


def _correct(plant: Plant, step: str, witness: str = "", **fields: Any) -> int:
    signed = plant.state(WORK).signed[step]
    act = CorrectStep(step=step, corrects=signed.corrected_by or signed.n, reason="read anew", **fields)
    return _act(plant, WORK, act, witness)


def _pink(plant: Plant) -> int:
    """A critical deviation of quality on goods that were released hours ago."""
    number = _correct(plant, "first-article/alkali-spot", "SH", choice="pink")
    (one,) = plant.state(WORK).open_deviations
    assert (one.n, one.critical, one.stops) == (number, "quality", True)
    return number


def _told(review: Review) -> str:
    return " ".join(sentence(say) for say in review.changed)


def _everywhere(plant: Plant) -> dict[str, str]:
    """What commands and screens say now, each as one text."""
    plant = Plant(plant.library, plant.ledger, "T2")  # one that has read nothing yet
    return {
        "status": "\n".join(status_text(plant, "en")),
        "shift": "\n".join(shift_text(plant, "en")),
        "review": "\n".join(review_text(_review(plant, "2026-11-24/late"), "en")),
    }


def test_a_deviation_on_released_goods_reads_differently_since_the_signature(still: Plant) -> None:
    assert _review(still, "2026-11-24/early").changed == ()
    number = _pink(still)
    review = _review(still, "2026-11-24/early")
    assert [one.n for one in review.summary.undecided] == [number]
    assert f"The deviation of entry {number} reads differently now." in _told(review)
    assert f"Entry {number} corrects {WORK}" in _told(review)
    printing = Printing(plant="Alder Bay", language="en", at=still.now(), by="", seal=None)
    assert f"Entry {number} corrects {WORK}" in " ".join(as_text(shift_document(review, printing)).split())


def test_an_open_deviation_of_released_goods_stands_on_every_list(still: Plant) -> None:
    before = _everywhere(still)
    assert not any("alkaline" in text or "pink" in text for text in before.values())
    _pink(still)
    _correct(still, "first-article/moisture", number="25.0")
    told = _everywhere(still)
    assert WORK in told["status"]
    assert "2 deviations wait" in told["status"]
    assert "pink" in told["shift"]
    assert "pink" in told["review"]
    late = review_of(still, _window(still, "2026-11-24/late"))
    assert len(late.summary.undecided) == 2


def test_it_waits_in_every_later_shift_until_it_is_decided(still: Plant) -> None:
    number = _pink(still)
    night = _window(still, "2026-11-24/night")
    found = review_of(still, night).summary.deviations
    assert [(one.n, one.work, one.undecided) for one in found] == [(number, WORK, True)]
    _act(still, WORK, Dispose(deviation=number, decision="scrap", reason="pallets blocked"), witness="SH")
    assert review_of(still, night).summary.deviations == ()
    assert WORK not in _everywhere(still)["status"]
    late = _review(still, "2026-11-24/late").summary
    assert [(one.n, one.decision) for one in late.deviations] == [(number, "scrap")], "it was raised in it"


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_correction_that_raises_nothing_is_told_with_both_values(still: Plant, language: str) -> None:
    number = _correct(still, "prep/bars-left", number="9999")
    review = _review(still, "2026-11-24/early")
    assert [say.key for say in review.changed] == ["shift.diff_correction"]
    assert str(number) in sentence(review.changed[0], language)
    (line,) = review.summary.corrections
    assert (line.n, line.work, line.by, line.reason) == (number, WORK, "C. Iversen", "read anew")
    assert (line.was, line.now, line.unit) == ({"en": "3200"}, {"en": "9999"}, "bars")
    text = " ".join(review_text(review, language))
    assert f"9999 {unit_text('bars', language)}" in text
    assert "read anew" in text
    assert [one.n for one in _review(still, "2026-11-24/late").summary.corrections] == [number]


def test_what_was_corrected_before_the_signature_is_part_of_what_is_signed(still: Plant) -> None:
    _correct(still, "prep/bars-left", number="9999")
    _sign(still, "2026-11-24/early")
    review = _review(still, "2026-11-24/early")
    assert review.changed == ()
    assert review.signature is not None
    assert len(review.signature.summary.corrections) == 1
    again = _correct(still, "prep/bars-left", number="3200")
    review = _review(still, "2026-11-24/early")
    assert [say.facts["n"] for say in review.changed] == [str(again)]


def test_a_signature_of_an_earlier_version_that_knew_no_corrections_reads_as_it_did(still: Plant) -> None:
    number = _correct(still, "prep/bars-left", number="9999")
    summary = _review(still, "2026-11-24/early").summary
    before = replace(summary, corrections=())
    assert differences(before, summary, after_n=number) == ()
    (said,) = differences(before, summary, after_n=number - 1)
    assert said.key == "shift.diff_correction"


def test_a_correction_of_what_another_shift_signed_off_is_no_difference_of_this_one(still: Plant) -> None:
    night = _review(still, "2026-11-23/night")
    _pink(still)
    assert _review(still, "2026-11-23/night").changed == ()
    assert _review(still, "2026-11-23/night").summary.deviations == night.summary.deviations


def test_who_opens_the_plant_from_a_standing_on_reads_the_same(still: Plant) -> None:
    """A deviation raised before the last standing, and one raised after it on goods that had been forgotten."""
    number = _pink(still)
    whole = _everywhere(still)
    for _ in range(2):
        standing = still.standing()
        assert standing.line("L2").waiting + standing.line("L1").waiting == (WORK,)
        still.ledger.append(Draft(kind=STANDS, key=still.ledger.new_id(), value=to_json(standing)))
        assert _everywhere(still) == whole
    _act(still, WORK, Dispose(deviation=number, decision="scrap", reason="pallets blocked"), witness="SH")
    still.ledger.append(Draft(kind=STANDS, key=still.ledger.new_id(), value=to_json(still.standing())))
    fresh = Plant(still.library, still.ledger, "T2")
    assert all(one.waiting == () for one in fresh.lines())
    _correct(still, "first-article/moisture", number="25.0")
    assert "1 deviation waits" in _everywhere(still)["status"]
    assert [state.work for one in fresh.lines() for state in one.waiting] == [WORK]


def test_the_deviations_of_a_day_hold_those_of_goods_released_days_before(still: Plant) -> None:
    number = _pink(still)
    since = still.now() - timedelta(minutes=10)
    assert WORK not in {state.work for state in still.works_between(since, still.now() + timedelta(1))}
    found = still.works_told_between(since, still.now() + timedelta(1))
    assert number in {one.n for state in found for one in state.deviations}


def test_what_was_found_open_when_a_work_was_given_up_waits_on(still: Plant) -> None:
    """Nothing is left on the line of it, so nobody would look at it any more."""
    work = still.start_procedure(who(still, "SH"), "L2", "jam-stamper", "begin").work
    number = _act(still, work, RaiseDeviation(text="bars crack"))
    _act(still, work, Abandon(reason="line is wanted"))
    told = _everywhere(still)
    assert work in told["status"]
    assert "bars crack" in told["shift"]
    found = review_of(still, _window(still, "2026-11-24/night")).summary.deviations
    assert [one.n for one in found] == [number]


def test_a_line_with_a_procedure_alone_is_told_at_once(still: Plant) -> None:
    """What a terminal keeps for its next start, and shows before the record is open."""
    work = still.start_procedure(who(still, "SH"), "L2", "jam-stamper", "begin").work
    _pink(still)
    told = told_of(LineRecord(still.ledger), "en")
    assert set(told.steps) == {"L1", f"L2/{work}"}, (
        "no step of a line without a changeover, or of what has ended"
    )
    assert {f"L1/{WORK}", "L2"} <= {row.key for row in told.rows}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_screens_show_what_waits_of_released_goods_and_lead_to_it(
    still: Plant, size: tuple[int, int], language: str
) -> None:
    _pink(still)
    waits = words("terminal.deviations_wait", language, n=1).strip()
    async with opened(still, size, language=language) as (app, pilot):
        (place,) = (n for n, row in enumerate(rows(app).rows) if row.key == f"L1/{WORK}")
        shown = next(line for line in text_of(app).splitlines() if "Litsea" in line)
        assert waits in shown
        await pilot.press(str(place + 1), "enter")
        await until_top(pilot, "WorkScreen")
        await pilot.press("escape")
        await until_top(pilot, "LinesScreen")
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        critical = words("terminal.critical_quality", language)
        assert critical in text_of(app)
        await pilot.press("f6")
        await until_top(pilot, "ReviewScreen")
        assert critical in text_of(app)
