"""Readings that are worked out from what is typed at the bench, by figures worked elsewhere.

Net content: 76/211/EEC Annex I and II; NIST Handbook 133 form (rows from memory); MIL-STD-105E single plans; the
triangle test's binomial limit; CIEDE2000 pairs of Sharma, Wu, Dalal (2005). Examples that are named "computed" were
worked with another program from the formulas beside them.
"""

import csv
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.changeover.acts import SignStep
from floorterm.changeover.bench import asked_for, usual_entry, worked
from floorterm.changeover.compose import compose
from floorterm.changeover.entering import Given, act_of, echo
from floorterm.changeover.entry_rules import deviating, within
from floorterm.changeover.worksheet import MethodNote, Step
from floorterm.library.model import Library
from floorterm.wording import sentence
from tests.changeover.sheets import ROOK, Record
from tests.conftest import DAY

PAIRS = Path(__file__).parents[1] / "data" / "ciede2000_pairs.csv"
AVERAGE = MethodNote(name="masses", lot=2880, nominal_g=Decimal(100), cavities=4)
INDIVIDUAL = MethodNote(name="masses", lot=200, nominal_g=Decimal(100), regime="individual")


def _step(method: MethodNote, low: str | None = None, high: str | None = None) -> Step:
    limits = {name: Decimal(value) for name, value in (("low", low), ("high", high)) if value is not None}
    return Step(id="a/b", kind="reading", text={"en": "x"}, unit="%", method=method, **limits)


def _act(step: Step, text: str) -> SignStep:
    found = worked(step, text)
    assert found is not None
    return SignStep(step=step.id, number=found.number, text=text, result="" if found.ok else "not_ok")


def _errors(shift: str = "0") -> str:
    """Twelve bars of 100 g, as differences in g (a worked example of the individual rule, computed)."""
    errors = ["0.4", "-0.6", "0.1", "-1.2", "0.3", "-0.9", "0.2", "-0.4", "-1.5", "0.6", "-0.8", "-0.2"]
    return " ".join(str(Decimal(100) + Decimal(one) + Decimal(shift)) for one in errors)


def test_the_individual_rule_passes_and_fails_as_its_worked_example() -> None:
    # mean -0.3333 g, s 0.67600 g, error limit 0.42926 g: passes; all half a gram less: mean -0.8333 g, fails
    step = _step(INDIVIDUAL)
    good, light = worked(step, _errors()), worked(step, _errors("-0.5"))
    assert good is not None
    assert (good.number, good.ok) == ("-0.33", True)
    assert "Mean 99.67 g, s 0.68 g; mean asked 99.57 g" in sentence(good.says[0])
    assert light is not None
    assert (light.number, light.ok) == ("-0.83", False)
    assert deviating(step, _act(step, _errors("-0.5")))[0] == "bench.net_reject"  # type: ignore[index]
    assert not within(step, _act(step, _errors("-0.5")))


def test_the_average_rule_asks_the_mean_of_its_plan() -> None:
    # Annex II, destructive test of 20: mean accepted from Qn - 0.640 s on; TNE of 100 g is 4.5 g, one may lie below T1
    step = _step(AVERAGE)
    spread = [Decimal("-1"), Decimal("1")] * 10  # s = 1.0260 g, so the mean asked is 99.343 g
    for mean, ok in (("99.35", True), ("99.33", False)):
        found = worked(step, " ".join(str(Decimal(mean) + one) for one in spread))
        assert found is not None
        assert found.ok is ok, mean
    two_light = worked(step, " ".join(["95.4", "95.4", *["101"] * 18]))
    assert two_light is not None
    assert not two_light.ok, "two of twenty below T1 = 95.5 g are one too many"
    far = worked(step, " ".join(["90.9", *["102"] * 19]))
    assert far is not None
    assert not far.ok, "none may lie below T2 = 91 g"
    assert "one far too light" in sentence(far.says[0])


def test_the_lightest_cavity_is_named() -> None:
    bars = ["101.0", "101.2", "99.1", "101.1"] * 5
    found = worked(_step(AVERAGE), " ".join(bars))
    assert found is not None
    said = "Lightest cavity: 3, mean 99.10 g. Means in turn: 1: 101.00; 2: 101.20; 3: 99.10; 4: 101.10."
    assert sentence(found.says[1]) == said
    assert "one of each of the 4 cavities in turn" in sentence(asked_for(_step(AVERAGE)))


@pytest.mark.parametrize(
    ("method", "typed"),
    [
        (AVERAGE, " ".join(["-100", *["100"] * 19])),
        (AVERAGE, " ".join(["0", *["100"] * 19])),
        (MethodNote(name="colour", standard=(Decimal(50), Decimal(0), Decimal(0))), "150 0 0"),
        (MethodNote(name="triangle"), "1204 4"),
        (MethodNote(name="triangle"), "100000 5"),
    ],
)
def test_what_no_bench_could_give_is_no_reading(method: MethodNote, typed: str) -> None:
    assert worked(_step(method), typed) is None


def test_a_bar_that_dries_is_judged_as_it_will_be_in_the_shop() -> None:
    # packed at 13.5 % water, 102.0 g: at 11 % 99.1348 g, by m (1 - w0) / (1 - w1)
    drying = MethodNote(
        name="masses", lot=200, nominal_g=Decimal(100), regime="individual",
        packed_pct=Decimal("13.5"), shop_pct=Decimal(11),
    )  # fmt: skip
    bars = " ".join(str(Decimal("102.0") + one) for one in [Decimal("0.1"), Decimal("-0.1")] * 6)
    found = worked(_step(drying), bars)
    assert found is not None
    assert not found.ok
    assert "mean 99.13 g" in sentence(found.says[1])


@pytest.mark.parametrize("text", ["", "100 100", "100 " * 19, "a " * 20, "100 " * 21])
def test_another_number_of_bars_gives_nothing(text: str) -> None:
    assert worked(_step(AVERAGE), text) is None


def test_the_colour_difference_is_that_of_the_published_pairs() -> None:
    with PAIRS.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    assert len(rows) >= 30
    for row in rows:
        figures = [row[name] for name in row]
        standard = tuple(Decimal(one) for one in figures[1:4])
        step = _step(MethodNote(name="colour", standard=standard))
        found = worked(step, " ".join(figures[4:7]))
        assert found is not None
        assert abs(float(found.number) - float(figures[7])) <= 0.0051, row


def test_the_worst_bar_decides_and_reflectances_may_be_read() -> None:
    bands = (Decimal("0.7085"), Decimal("0.7438"), Decimal("0.5276"))
    step = _step(MethodNote(name="colour", reads="bands", standard=bands), high="1.8")
    same, other = "70.85 74.38 52.76", "60 74.38 52.76"
    one = worked(step, same)
    assert one is not None
    assert one.number == "0.00"
    two = worked(step, f"{same} {other}")
    assert two is not None
    assert float(two.number) > 1.8
    assert deviating(step, _act(step, f"{same} {other}"))[0] == "changeover.deviation.high"  # type: ignore[index]
    for text in (f"{same} 1", "170 1 1"):
        assert worked(step, text) is None


@pytest.mark.parametrize(
    # least numbers of right answers at a risk of 5 %: published tables of the triangle test (binomial, p = 1/3)
    ("answers", "least"),
    [(6, 5), (12, 8), (18, 10), (24, 13), (30, 15)],
)
def test_a_panel_tells_them_apart_from_the_published_limit_on(answers: int, least: int) -> None:
    step = _step(MethodNote(name="triangle"))
    for right, ok in ((least - 1, True), (least, False)):
        found = worked(step, f"{answers} {right}")
        assert found is not None
        assert (found.number, found.ok) == (str(right), ok)
    assert "no proof of none" in sentence(found.says[0])
    for text in ("2 1", "12 13", "12 4.5", "12"):
        assert worked(step, text) is None


def test_moisture_by_the_oven() -> None:
    # dish 25.412 g, with soap 30.417 g, dry 29.746 g: 13.4066 % (computed)
    found = worked(_step(MethodNote(name="oven")), "25.412 30.417 29.746")
    assert found is not None
    assert found.number == "13.41"
    assert worked(_step(MethodNote(name="oven")), "25 24 23") is None


def test_the_dose_by_consumption() -> None:
    # tank 186.4 to 41.9 kg, 11,980 kg of soap, set to 1.2 %: 1.20618 %, +0.5147 % (computed)
    step = _step(MethodNote(name="dose", dose=Decimal("0.012")), low="-5", high="5")
    found = worked(step, "186.4 41.9 0 11980")
    assert found is not None
    assert found.number == "0.51"
    assert "1.2062 %" in sentence(found.says[0])
    assert worked(step, "10 20 0 100") is None


@pytest.mark.parametrize(
    # MIL-STD-105E, single, normal: code letter and plan of the lot
    ("lot", "level", "aql", "n", "accept"),
    [
        (2880, "II", "1.5", 125, 5),
        (2880, "I", "1.5", 50, 2),
        (400, "II", "2.5", 50, 3),
        (14400, "II", "2.5", 315, 14),
    ],
)
def test_the_sample_is_that_of_the_lots_plan(lot: int, level: str, aql: str, n: int, accept: int) -> None:
    step = _step(MethodNote(name="defects", lot=lot, level=level, aql=aql))
    assert f"of {n} are bad" in sentence(asked_for(step))
    for bad, ok in ((accept, True), (accept + 1, False)):
        found = worked(step, str(bad))
        assert found is not None
        assert found.ok is ok
    assert worked(step, str(n + 1)) is None


def test_what_the_plan_lets_through_is_said() -> None:
    # 125/5: accepted with 95, 50, 10 % chance at 2.1108, 4.5240, 7.2932 % bad (binomial, computed)
    found = worked(_step(MethodNote(name="defects", lot=2880, level="II", aql="1.5")), "0")
    assert found is not None
    assert all(share in sentence(found.says[0]) for share in ("2.1 %", "4.5 %", "7.3 %"))


def test_every_such_step_of_the_starter_set_takes_its_usual_entry_and_no_other_figure(
    library: Library,
) -> None:
    record = Record(compose(library, "L1", "clove-leaf", "petitgrain", DAY))
    plain = Record(compose(library, "L1", "clove-leaf", "plain", DAY))
    found = {}
    for one in (record, plain):
        for step in one.worksheet.steps():
            if step.method is None:
                continue
            found[step.method.name] = step
            act = act_of(one.state, step, ROOK, Given(text=usual_entry(step)))
            assert isinstance(act, SignStep)
            assert within(step, act), step.id
            assert echo(one.state, step, Given(text=usual_entry(step)), "en").level == "ok"
            assert echo(one.state, step, Given(text="x"), "es").level == "bad"
            key = asked_for(step).key.removeprefix("bench.")
            assert key not in one.keys(act)
            assert key in one.keys(SignStep(step=step.id, number="-7.77", text=act.text))
            assert key in one.keys(SignStep(step=step.id, number=act.number, text=act.text, result="not_ok"))
    assert set(found) == {"masses", "colour", "triangle", "dose", "defects"}


@given(
    st.text(alphabet="0123456789.,- ;x", max_size=60),
    st.sampled_from(["masses", "colour", "triangle", "oven", "dose", "defects"]),
)
def test_nothing_that_is_typed_breaks_it(text: str, name: str) -> None:
    method = MethodNote(
        name=name,  # type: ignore[arg-type]
        lot=20, nominal_g=Decimal(100), aql="4.0", dose=Decimal("0.01"), standard=(Decimal(80), Decimal(0), Decimal(5)),
    )  # fmt: skip
    found = worked(_step(method), text)
    assert found is None or Decimal(found.number).is_finite()
