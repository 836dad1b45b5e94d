"""A day of the starter plant: its order against all orders, what rules cost, what is refused, what is said."""

from datetime import date
from decimal import Decimal
from itertools import pairwise, permutations

import pytest
from msgspec.structs import replace

from floorterm.changeover.compose import compose
from floorterm.changeover.standard import standard_min
from floorterm.languages import LANGUAGES
from floorterm.library.model import Library
from floorterm.planning import Change, Day, DayInputError, NoPlanError, Rule, changes_on, day_of, plan_day
from floorterm.planning.telling import headings, no_plan, rows, sentences, standing

_ON = date(2026, 11, 24)
_HELD = ("palmarosa",)
_NAMES = ("litsea", "plain", "juniper", "petitgrain")


@pytest.fixture(scope="module")
def day(library: Library) -> Day:
    return day_of(changes_on(library, "L2", _ON), _HELD, _NAMES)


def _minutes(day: Day, order: tuple[str, ...]) -> Decimal:
    return day.starts[order[0]].minutes + sum(day.between[pair].minutes for pair in pairwise(order))


def test_the_minutes_are_those_of_the_worksheets(day: Day, library: Library) -> None:
    sheet = compose(library, "L2", "litsea", "plain", _ON)
    change = day.between["litsea", "plain"]
    assert sheet.flush is not None
    assert (change.minutes, change.flush_kg, change.bars) == (
        standard_min(sheet),
        sheet.flush.required_kg,
        sheet.flush.bars,
    )
    assert day.starts["plain"].minutes == standard_min(compose(library, "L2", "palmarosa", "plain", _ON))


def test_no_other_order_takes_less(day: Day) -> None:
    found = plan_day(day)
    every = sorted(_minutes(day, order) for order in permutations(_NAMES))
    assert found.proved
    assert found.minutes == _minutes(day, found.order) == every[0]
    assert found.next_min == next(one for one in every if one > every[0])
    assert found.given_min == _minutes(day, _NAMES)
    assert plan_day(replace(day, fragrances=_NAMES[::-1])).minutes == found.minutes


def test_what_a_line_holds_already_runs_on(library: Library) -> None:
    found = plan_day(day_of(changes_on(library, "L2", _ON), _HELD, ("litsea", "palmarosa")))
    assert found.order == ("palmarosa", "litsea")
    assert (found.changes[0].minutes, found.changes[0].bars) == (0, 0)


def test_what_an_abandoned_changeover_may_have_left_counts(library: Library) -> None:
    alone = day_of(changes_on(library, "L2", _ON), _HELD, ("petitgrain",)).starts["petitgrain"]
    mixed = day_of(changes_on(library, "L2", _ON), ("palmarosa", "juniper"), ("petitgrain",)).starts[
        "petitgrain"
    ]
    assert mixed.flush_kg >= alone.flush_kg
    still = day_of(changes_on(library, "L2", _ON), ("petitgrain", "juniper"), ("petitgrain",)).starts[
        "petitgrain"
    ]
    assert still.flush_kg > 0


@pytest.mark.parametrize(
    ("rule", "kept"),
    [
        (Rule(first="juniper"), lambda order: order[0] == "juniper"),
        (Rule(then="plain"), lambda order: order[-1] == "plain"),
        (Rule("petitgrain", "litsea"), lambda order: order.index("petitgrain") < order.index("litsea")),
    ],
)
def test_a_rule_is_kept_and_its_price_is_the_difference(day: Day, rule: Rule, kept) -> None:  # type: ignore[no-untyped-def]
    found, free = plan_day(day, [rule]), plan_day(day)
    assert kept(found.order)
    assert found.minutes == min(_minutes(day, order) for order in permutations(_NAMES) if kept(order))
    expected = [] if found.minutes == free.minutes else [(rule, found.minutes - free.minutes)]
    assert [(price.rule, price.minutes) for price in found.prices] == expected


def test_a_changeover_that_no_flush_can_do_is_never_planned(day: Day, library: Library) -> None:
    best = plan_day(day).order
    barred = {pair: replace(day.between[pair], possible=False) for pair in pairwise(best)}
    found = plan_day(replace(day, between={**day.between, **barred}))
    assert not set(pairwise(found.order)) & set(barred)
    alone = {name: replace(change, possible=False) for name, change in day.starts.items()}
    with pytest.raises(NoPlanError) as refused:
        plan_day(replace(day, starts=alone))
    assert (refused.value.proved, refused.value.blocking) == (True, ())
    assert "a changeover that no flush can do" in next(no_plan(refused.value, library, "en"))


def test_rules_that_no_order_keeps_are_named(day: Day) -> None:
    rules = [Rule(first="litsea"), Rule("plain", "litsea"), Rule("juniper", "petitgrain")]
    with pytest.raises(NoPlanError) as refused:
        plan_day(day, rules)
    assert refused.value.blocking == (rules[0], rules[1])


@pytest.mark.parametrize(
    "rule", [Rule(), Rule("plain", "plain"), Rule("plain", "palmarosa"), Rule(first="nothing")]
)
def test_a_rule_about_what_does_not_run_is_refused(day: Day, rule: Rule) -> None:
    with pytest.raises(DayInputError):
        plan_day(day, [rule])


@pytest.mark.parametrize("names", [(), ("plain", "plain"), tuple(f"f{n}" for n in range(21))])
def test_what_is_no_day_is_refused(library: Library, names: tuple[str, ...]) -> None:
    with pytest.raises(DayInputError):
        day_of(changes_on(library, "L2", _ON), _HELD, names)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_plan_is_told_in_every_language(day: Day, library: Library, language: str) -> None:
    found = plan_day(day, [Rule(first="juniper")])
    assert all(len(row) == len(headings(language)) for row in rows(found, library, language))
    told = " ".join(sentences(day, found, library, language))
    assert "{" not in told
    assert str(found.next_min - found.minutes).replace(".", "") in told.replace(",", "").replace(".", "")  # type: ignore[operator]


def test_an_unproved_plan_never_calls_itself_best_and_rounds_its_gap_up(day: Day, library: Library) -> None:
    found = plan_day(day)
    near = replace(found, bound_min=found.minutes - Decimal("0.1"), ties=None, next_min=None)
    told = " ".join(sentences(day, near, library, "en"))
    assert "PROVED BEST" not in told
    assert "which is 0.1 % less" in told
    near = replace(found, minutes=Decimal("320.4"), bound_min=Decimal("319.9"))
    assert "less than 5:19," in standing(near, "en")


def test_a_rule_whose_price_is_not_proved_is_said_so(
    day: Day, library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    dear = max(_NAMES, key=lambda name: plan_day(day, [Rule(first=name)]).minutes)
    rule = Rule(first=dear)
    assert [price.minutes is None for price in plan_day(day, [rule, rule]).prices] == [False]
    monkeypatch.setattr("floorterm.planning.day._STATES_ASIDE", 0)
    found = plan_day(day, [rule])
    assert [(price.rule, price.minutes) for price in found.prices] == [(rule, None)]
    assert any("costs today is not proved" in text for text in sentences(day, found, library, "en"))


def test_of_orders_that_tie_the_one_that_begins_as_given_is_shown(day: Day, library: Library) -> None:
    level = {pair: replace(change, minutes=Decimal(5)) for pair, change in day.between.items()}
    starts = {name: replace(change, minutes=Decimal(5)) for name, change in day.starts.items()}
    even = replace(day, starts=starts, between=level)
    found = plan_day(even, [Rule("juniper", "plain")])
    assert found.order == ("litsea", "juniper", "plain", "petitgrain")
    assert any("12 orders take as long" in text for text in sentences(even, found, library, "en"))


def test_marks_are_explained_where_they_stand(day: Day, library: Library) -> None:
    found = plan_day(day)
    marked = (
        Change(
            outgoing="palmarosa",
            incoming="plain",
            minutes=Decimal(5),
            deviation=True,
            gates=("allergen_free",),
        ),
    )
    one = replace(found, changes=marked)
    assert rows(one, library, "en")[0][-1] == "quality, claim"
    told = list(sentences(day, one, library, "en"))
    assert any(text.startswith("quality: flushing cannot help") for text in told)
    assert any(text.startswith("claim: a claim") for text in told)
    refused = NoPlanError((Rule("plain", "litsea"),), proved=False)
    assert list(no_plan(refused, library, "en")) == [
        "No order that keeps all rules was found.",
        "There is one without the rule that Plain runs before Litsea.",
    ]
