"""The day's fragrances of a line in the order that loses the fewest minutes to changeovers. Pure.

Minutes are the standard minutes of the worksheets that would be made for each pair, so flush and hand steps count as
they do on the floor. Each pair counts what the line holds just before it; what a short run of a weaker fragrance leaves
of the one before that is not in it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from itertools import pairwise
from typing import Literal, TypeAlias

from msgspec import Struct

from floorterm.changeover.compose import compose
from floorterm.changeover.line_now import LineNow
from floorterm.changeover.standard import standard_min
from floorterm.library.calibrated import Calibration
from floorterm.library.model import Library
from floorterm.planning.order import Answer, NoOrderError, Question, best_order, cost_of

MOST_FRAGRANCES = 20  # up to 15 are always ordered with a proof, more than that where the search has room
_STATES_ASIDE = 5_000  # of a layer, for what rules cost
Evidence: TypeAlias = Literal["measured", "estimated", "guessed"]
_TENTHS = 10  # of a minute, in which orders are compared


class Change(Struct, frozen=True, kw_only=True):
    """One changeover as it would be planned. `possible` is False where no flush reaches the limit.

    `deviation`: flushing cannot help, quality has to decide; `gates` are claims of the incoming bar that flushing alone
    may not reach.
    """

    outgoing: str
    incoming: str
    minutes: Decimal = Decimal(0)
    flush_kg: Decimal = Decimal(0)
    bars: int = 0
    possible: bool = True
    deviation: bool = False
    gates: tuple[str, ...] = ()
    evidence: Evidence | None = None


Changes: TypeAlias = Callable[[tuple[str, ...], str], Change]


class Day(Struct, frozen=True, kw_only=True):
    """What a line is to run, in the order as it was asked for, and every changeover that this could take.

    `starts`: by fragrance, from what the line holds now; `between`: by outgoing and incoming fragrance.
    """

    fragrances: tuple[str, ...]
    starts: Mapping[str, Change]
    between: Mapping[tuple[str, str], Change]


class Rule(Struct, frozen=True):
    """A rule of the plant: `first` runs before `then`. Without one of them: before, or behind, all others."""

    first: str = ""
    then: str = ""


class Price(Struct, frozen=True):
    """The minutes that a rule costs today; None where that is not proved."""

    rule: Rule
    minutes: Decimal | None


class DayPlan(Struct, frozen=True, kw_only=True):
    """The best order found, what it costs, and what other orders would.

    `bound_min`: no order takes less. `ties`, `next_min`: how many orders take as long, and what the next longer one
    takes (None where not proved, or there is none). `given_min`: the order as it was asked for; None if it breaks a
    rule or cannot be. `prices` are of the rules that cost something, or may.
    """

    changes: tuple[Change, ...]
    minutes: Decimal
    bound_min: Decimal
    ties: int | None
    next_min: Decimal | None
    given_min: Decimal | None
    prices: tuple[Price, ...] = ()

    @property
    def order(self) -> tuple[str, ...]:
        """The fragrances in this order."""
        return tuple(change.incoming for change in self.changes)

    @property
    def proved(self) -> bool:
        """Whether no order takes less by these figures."""
        return self.bound_min == self.minutes


class DayInputError(ValueError):
    """What was asked for is no day: nothing to run, one fragrance twice, too many, or a rule about another one."""


class NoPlanError(ValueError):
    """No order keeps all rules, or none was found (`proved` False). There is one without any one rule of `blocking`."""

    def __init__(self, blocking: tuple[Rule, ...], *, proved: bool) -> None:
        self.blocking, self.proved = blocking, proved
        super().__init__(
            "No order keeps all rules." if proved else "No order that keeps all rules was found."
        )


def comes_from(now: LineNow) -> tuple[str, ...]:
    """What a line holds when its day goes on: what a changeover that is on brings, else what is in it now."""
    on = now.changeover
    if on is not None and on.worksheet.incoming is not None:
        return (on.worksheet.incoming.id,)
    return now.holds.fragrances


def changes_on(library: Library, line: str, on: date, calibration: Calibration | None = None) -> Changes:
    """How a line changes from what it holds to a fragrance on a day; each pair is worked out once.

    Several fragrances held are one, and what an abandoned changeover may have left besides. What is returned raises
    ComposeError for what the library does not know or the line cannot run.
    """

    @cache
    def change(held: tuple[str, ...], new: str) -> Change:
        old, *traces = held
        if held == (new,):
            return Change(outgoing=old, incoming=new)
        sheet = compose(library, line, old, new, on, traces=traces, calibration=calibration)
        note, minutes = sheet.flush, standard_min(sheet)
        if note is None:
            return Change(outgoing=old, incoming=new, minutes=minutes)
        return Change(
            outgoing=old,
            incoming=new,
            minutes=minutes,
            flush_kg=note.required_kg,
            bars=note.bars,
            possible=note.status != "unreachable",
            deviation=note.status == "deviation",
            gates=tuple(note.gate.split(",")) if note.gate else (),
            evidence=note.evidence,
        )

    return change


def day_of(changes: Changes, held: tuple[str, ...], fragrances: Sequence[str]) -> Day:
    """The day of a line that holds `held` at its begin. Raises DayInputError, and what `changes` raises."""
    if not 0 < len(fragrances) <= MOST_FRAGRANCES:
        raise DayInputError(f"A day has 1 to {MOST_FRAGRANCES} fragrances, not {len(fragrances)}.")
    if len(set(fragrances)) < len(fragrances):
        raise DayInputError("A fragrance stands twice; what is made in two lots runs in one go.")
    if not held:
        raise DayInputError("Nobody knows what the line holds.")
    return Day(
        fragrances=tuple(fragrances),
        starts={new: changes(held, new) for new in fragrances},
        between={(old, new): changes((old,), new) for old in fragrances for new in fragrances if old != new},
    )


def plan_day(day: Day, rules: Sequence[Rule] = ()) -> DayPlan:
    """The order that takes the fewest minutes; of several, the one that keeps to the order as given for longest.

    Raises DayInputError for a rule about a fragrance that is not to run, NoPlanError.
    """
    for rule in rules:
        named = [name for name in (rule.first, rule.then) if name]
        if not named or len(set(named)) < len(named) or not set(named) <= set(day.fragrances):
            raise DayInputError(
                f"A rule names {' and '.join(named) or 'nothing'}; it is about one or two fragrances of the day."
            )
    rules = tuple(dict.fromkeys(rules))
    asked = _question(day, rules)
    try:
        best = best_order(asked)
    except NoOrderError as fault:
        freeing = tuple(rule for rule in rules if _best_without(day, rules, rule) is not None)
        raise NoPlanError(freeing, proved=fault.proved) from fault
    order = tuple(day.fragrances[place - 1] for place in best.order)
    given = cost_of(asked, range(1, len(day.fragrances) + 1))
    return DayPlan(
        changes=(day.starts[order[0]], *(day.between[pair] for pair in pairwise(order))),
        minutes=_minutes(best.cost),
        bound_min=_minutes(best.bound),
        ties=best.ties,
        next_min=None if best.second is None else _minutes(best.second),
        given_min=None if given is None else _minutes(given),
        prices=tuple(_prices(day, rules, best)),
    )


def _prices(day: Day, rules: Sequence[Rule], best: Answer) -> Iterator[Price]:
    for rule in rules:
        freer = _best_without(day, rules, rule, best.order) if best.proved else None
        if freer is None or not freer.proved:
            yield Price(rule, None)
        elif freer.cost < best.cost:
            yield Price(rule, _minutes(best.cost - freer.cost))


def _best_without(day: Day, rules: Sequence[Rule], rule: Rule, known: Sequence[int] = ()) -> Answer | None:
    freer = _question(day, [other for other in rules if other != rule])
    try:
        return best_order(freer, known, most_states=_STATES_ASIDE)
    except NoOrderError:
        return None


def _question(day: Day, rules: Iterable[Rule]) -> Question:
    """The day in places: 0 is what the line holds, the fragrances follow as they were given."""
    names = day.fragrances
    place = {name: index for index, name in enumerate(names, start=1)}
    costs: list[list[int | None]] = [[None, *(_tenths(day.starts[name]) for name in names)]]
    for old in names:
        costs.append([None, *(None if new == old else _tenths(day.between[old, new]) for new in names)])
    before = tuple(
        (place[first], place[then])
        for rule in rules
        for first in ([rule.first] if rule.first else names)
        for then in ([rule.then] if rule.then else names)
        if first != then
    )
    return Question(costs=costs, before=before)


def _tenths(change: Change) -> int | None:
    if not change.possible:
        return None
    return int((change.minutes * _TENTHS).to_integral_value(ROUND_HALF_UP))


def _minutes(tenths: int) -> Decimal:
    return Decimal(tenths) / _TENTHS
