"""A titrated reading: three numbers are typed, % NaOH follows from them, and the record holds both.

Formula of free caustic alkali, % NaOH = (V - V_blank) c 3.9997 / m (form of ISO 456, from memory); the figures of the
checks are computed by hand from it: 1.25 mL above the blank of 0.1 mol/L on 10.00 g are 1.25 x 0.1 x 3.9997 / 10.
"""

from datetime import date

import pytest

from floorterm.changeover.acts import SignStep
from floorterm.changeover.bench import worked
from floorterm.changeover.compose import compose_procedure
from floorterm.changeover.entering import Given, Speaker, act_of, echo, entry_spec
from floorterm.library.model import Library
from tests.changeover.sheets import ROOK, Record

STEP = "alkali/titrate"


@pytest.fixture
def record(library: Library) -> Record:
    return Record(compose_procedure(library, "L1", "free-alkali", date(2026, 11, 24)))


@pytest.mark.parametrize(
    ("text", "pct"),
    [
        ("1.35 0.10 10.00", "0.0500"),
        ("1,35 0,10 10,00", "0.0500"),
        ("1.40 0.10 10.00", "0.0520"),
        ("0.05 0.10 10", "0.0000"),
    ],
)
def test_the_percent_follows_from_titre_blank_and_sample(record: Record, text: str, pct: str) -> None:
    step = record.worksheet.step(STEP)
    assert step is not None
    found = worked(step, text)
    assert found is not None
    assert found.number == pct
    act = act_of(record.state, step, ROOK, Given(text=text))
    assert isinstance(act, SignStep)
    assert (act.number, act.text) == (pct, text)


@pytest.mark.parametrize("text", ["", "1.35", "1.35 0.1", "1.35 0.1 0", "a b c", "1.35 0.1 10 2", "-1 0 10"])
def test_what_gives_no_percent_is_not_recorded(record: Record, text: str) -> None:
    step = record.worksheet.step(STEP)
    assert step is not None
    act = act_of(record.state, step, ROOK, Given(text=text))
    assert "ask_titration" in record.keys(act)
    assert not text or echo(record.state, step, Given(text=text), "en").level == "bad"


def test_a_percent_that_is_not_that_of_the_burette_is_refused(record: Record) -> None:
    assert "ask_titration" in record.keys(SignStep(step=STEP, number="0.0100", text="1.40 0.10 10.00"))


def test_above_the_limit_is_a_deviation_and_exactly_at_it_is_not(record: Record) -> None:
    record.force(SignStep(step=STEP, number="0.0500", text="1.35 0.10 10.00"))
    assert not record.state.deviations
    record.force(SignStep(step=STEP, number="0.0520", text="1.40 0.10 10.00"))
    assert record.state.deviations[-1].critical == "quality"


def test_the_screen_asks_for_three_numbers_and_answers_with_the_percent(record: Record) -> None:
    step = record.worksheet.step(STEP)
    assert step is not None
    spec = entry_spec(record.state, step, Speaker(language="en"))
    assert spec.mode == "numbers"
    assert "0.1 mol/L" in spec.prompt
    assert echo(record.state, step, Given(text="1.40 0.10 10.00"), "en").level == "outside"
