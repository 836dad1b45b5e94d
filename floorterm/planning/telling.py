"""A day plan in words: what people read of it, whatever it is printed on."""

from collections.abc import Iterator
from decimal import ROUND_DOWN, ROUND_HALF_UP, ROUND_UP, Decimal

from floorterm.changeover.view_words import span
from floorterm.languages import by_language, grouped, in_, number
from floorterm.library.model import Library
from floorterm.planning.day import Change, Day, DayPlan, NoPlanError, Rule
from floorterm.wording import words


def headings(language: str) -> tuple[str, ...]:
    """The heads of the columns of `rows`."""
    columns = ("place", "fragrance", "minutes", "kg", "bars", "notes")
    return tuple(words(f"plan.column_{name}", language) for name in columns)


def rows(found: DayPlan, library: Library, language: str) -> list[tuple[str, ...]]:
    """One row a fragrance: its place, its name, minutes, kg and bars of the changeover to it, what to know of that."""
    return [
        (
            str(place),
            name_of(change.incoming, library, language),
            _clock(change.minutes),
            grouped(change.flush_kg, language),
            grouped(change.bars, language),
            _notes(change, language),
        )
        for place, change in enumerate(found.changes, start=1)
    ]


def _notes(change: Change, language: str) -> str:
    told = {"runs_on": not change.minutes, "quality": change.deviation, "gate": change.gates}
    return ", ".join(words(f"plan.note_{name}", language) for name, so in told.items() if so)


def sentences(day: Day, found: DayPlan, library: Library, language: str) -> Iterator[str]:
    """How good the order is, what others cost, what the rules cost, and what the figures leave out."""
    yield standing(found, language)
    if found.proved and found.ties is not None and found.ties > 1:
        yield words("plan.ties", language, n=grouped(found.ties, language))
    if found.proved and found.next_min is not None:
        yield words("plan.next", language, more=number(found.next_min - found.minutes, language))
    yield _given(day, found, language)
    for price in found.prices:
        rule = told_rule(price.rule, library, language)
        if price.minutes is None:
            yield words("plan.price_open", language, rule=rule)
        else:
            yield words("plan.price", language, rule=rule, minutes=number(price.minutes, language))
    yield from _footnotes(found, language)
    yield words("plan.basis", language)


def _footnotes(found: DayPlan, language: str) -> Iterator[str]:
    if any(change.deviation for change in found.changes):
        yield words("plan.deviation", language)
    if any(change.gates for change in found.changes):
        yield words("plan.gate", language)
    if guessed := sum(change.evidence == "guessed" for change in found.changes):
        yield words("plan.guessed", language, count=guessed, of=len(found.changes))


def standing(found: DayPlan, language: str) -> str:
    """The minutes, and whether any order can take less. A bound is rounded down and a gap up: one is never 0."""
    if found.proved:
        return words("plan.proved", language, minutes=_clock(found.minutes))
    gap = (100 * (found.minutes - found.bound_min) / found.minutes).quantize(Decimal("0.1"), ROUND_UP)
    return words(
        "plan.found",
        language,
        minutes=_clock(found.minutes),
        bound=_clock(found.bound_min.to_integral_value(ROUND_DOWN)),
        gap=number(gap, language),
    )


def _given(day: Day, found: DayPlan, language: str) -> str:
    if found.order == day.fragrances:
        return words("plan.given_is", language)
    if found.given_min is None:
        return words("plan.given_breaks", language)
    if found.given_min == found.minutes:
        return words("plan.given_ties", language)
    return words(
        "plan.given_costs",
        language,
        minutes=_clock(found.given_min),
        more=number(found.given_min - found.minutes, language),
    )


def no_plan(fault: NoPlanError, library: Library, language: str) -> Iterator[str]:
    """That there is no order, and which rule to give up."""
    none = "none_found" if not fault.proved else "none" if fault.blocking else "none_flush"
    yield words(f"plan.{none}", language)
    for rule in fault.blocking:
        yield words("plan.without", language, rule=told_rule(rule, library, language))


def told_rule(rule: Rule, library: Library, language: str) -> str:
    """A rule in words."""
    names = {
        name: name_of(value, library, language)
        for name, value in (("first", rule.first), ("then", rule.then))
        if value
    }
    form = "before" if len(names) == 2 else "ahead" if rule.first else "behind"
    return words(f"plan.rule_{form}", language, **names)


def name_of(fragrance: str, library: Library, language: str) -> str:
    """What people call a fragrance; its id if the library does not know it."""
    known = library.fragrances.get(fragrance)
    return in_(by_language(known.name), language) if known else fragrance


def _clock(minutes: Decimal) -> str:
    return span(int(minutes.to_integral_value(ROUND_HALF_UP)))
