"""The ways to flush one pair, compared from the plant's words, and as a record keeps them."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from functools import lru_cache
from math import ceil, expm1, isinf

from msgspec import Struct
from msgspec.structs import replace

from floorterm.changeover.feed import feed_of
from floorterm.changeover.lockout_steps import spoken
from floorterm.changeover.numbers import decimal
from floorterm.changeover.plant_words import in_plant_words, text_of
from floorterm.changeover.worksheet import StrategyNote
from floorterm.flush import (
    Intermediate,
    LineModel,
    Pair,
    Prices,
    Rules,
    SiteFacts,
    Strategy,
    pair_of,
    propose,
    residual_limit_of_several,
    strategies,
)
from floorterm.flush.from_library import bar, line_model, prices, rules, site_facts
from floorterm.flush.pool import PRIOR_SD
from floorterm.flush.quantity import round_up
from floorterm.flush.strategies import ties_marked
from floorterm.library.model import FragranceFile, Library, LineFile

_DIGITS = Decimal("0.01")


class Comparison(Struct, frozen=True, kw_only=True):
    """All ways for one pair on one line. `proposed`: the cheapest allowed; `next_best`: the cheapest besides.

    `currency`: of the costs; "" where the plant states no prices: then costs count kg of soap.
    """

    rows: tuple[Strategy, ...]
    proposed: Strategy | None
    next_best: Strategy | None
    currency: str = ""

    def row(self, key: str) -> Strategy | None:
        """The way of that key, or None where this line does not have it."""
        return next((row for row in self.rows if row.key == key), None)

    def saved_kg(self, key: str) -> float | None:
        """Diverted soap that a way saves against pushing through; None where either never gets there."""
        base, other = self.row("push_through"), self.row(key)
        if base is None or other is None or isinf(base.diverted_kg) or isinf(other.diverted_kg):
            return None
        return base.diverted_kg - other.diverted_kg


def strategies_of(
    library: Library, line: str, outgoing: str, incoming: str, on: date, *, traces: Sequence[str] = ()
) -> Comparison:
    """All ways to flush a line from one fragrance (and traces of others) to another, side by side.

    Rests on the line file, the prices and the label rule in force on that day; nothing that the plant does not
    state is guessed. Raises KeyError for ids that the library does not have, FlushError for figures that make
    no sense.
    """
    spec = library.lines[line]
    old = [library.fragrances[name] for name in (outgoing, *traces)]
    new = library.fragrances[incoming]
    policy = rules(library.plant.limits, on)
    limit = residual_limit_of_several([bar(one) for one in old], bar(new), policy)
    model = line_model(spec)
    feed = feed_of(library, spec, model, old, new, limit.value, policy)
    pair = pair_of(limit, bar(new), floor=min(feed.floor, 1.0 - 1e-12))
    between = intermediate_of(library, spec, model, old, new, policy)
    return compared(library, line, model, pair, intermediate=between)


def intermediate_of(
    library: Library,
    line: LineFile,
    model: LineModel,
    outgoing: Sequence[FragranceFile],
    incoming: FragranceFile,
    policy: Rules,
) -> Intermediate | None:
    """The fragrance that the line file plans in between, with its limits on both sides by the same rules; None
    where there is none, where it does not run here, or where it is one of the pair.

    What the heel of its own tank brings takes away from the limit before it. Raises FlushError.
    """
    stated = line.flushing.intermediate if line.flushing else None
    middle = library.fragrances.get(stated.fragrance) if stated else None
    if stated is None or middle is None or line.id not in middle.lines:
        return None
    if middle.id in (incoming.id, *(one.id for one in outgoing)):
        return None
    before = residual_limit_of_several([bar(one) for one in outgoing], bar(middle), policy)
    after = residual_limit_of_several([bar(middle)], bar(incoming), policy)
    floor = feed_of(library, line, model, outgoing, middle, before.value, policy).floor
    room = (before.value - floor) / (1.0 - floor) if floor < before.value else 0.0
    return Intermediate(
        name=spoken(middle.name),
        limit_before=room,
        run_kg=float(stated.run_kg),
        limit_after=after.value,
        gates=(*before.gates, *after.gates),
    )


def compared(
    library: Library,
    line: str,
    model: LineModel,
    pair: Pair,
    spread: float = PRIOR_SD,
    *,
    intermediate: Intermediate | None = None,
) -> Comparison:
    """The same for a pair whose limit and floor are known; `spread` (sd of ln holdup) makes the ties."""
    site = replace(site_facts(library.lines[line]), intermediate=intermediate)
    rows = _with_ties(_Asked(model, pair, site, prices(library.plant)), spread)
    proposed = propose(rows)
    others = [row for row in rows if row is not proposed]
    stated = library.plant.prices
    return Comparison(
        rows=rows,
        proposed=proposed,
        next_best=propose(others),
        currency=stated.currency if stated else "",
    )


class _Asked:
    """One question: the same line, pair, statements and prices have the same answer."""

    def __init__(self, model: LineModel, pair: Pair, site: SiteFacts, price: Prices) -> None:
        self.model, self.pair, self.site, self.price = model, pair, site, price
        self._key = repr((model, pair, site, price))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)


@lru_cache(maxsize=128)
def _rows(asked: _Asked) -> tuple[Strategy, ...]:
    return strategies(asked.model, asked.pair, asked.site, asked.price)


def _with_ties(asked: _Asked, spread: float) -> tuple[Strategy, ...]:
    rows = _rows(asked)
    base = rows[0].m_star_kg
    if isinf(base) or base == 0.0:
        return rows
    # one standard deviation of the holdup moves every crossing by the same share
    return ties_marked(rows, asked.price, replace(asked.site, uncertainty_kg=base * expm1(spread)))


def strategy_note(row: Strategy, line: LineFile, languages: Sequence[str]) -> StrategyNote:
    """One way as a record keeps it, rounded to the safe side, in the words of the plant."""
    reasons, notes = (
        tuple(text_of(in_plant_words(say, line), languages) for say in says)
        for says in (row.reasons, row.notes)
    )
    if isinf(row.diverted_kg):
        return StrategyNote(
            key=row.key,
            lockout=row.lockout,
            crew=row.crew,
            reasons=reasons,
            notes=notes,
        )
    return StrategyNote(
        key=row.key,
        kg=Decimal(round_up(row.m_star_kg)),
        diverted_kg=Decimal(round_up(row.diverted_kg)),
        bars=row.bars,
        minutes=ceil(row.critical_min - 1e-9),
        lockout=row.lockout,
        crew=row.crew,
        cost=decimal(row.cost).quantize(_DIGITS),
        tied=row.tied,
        reasons=reasons,
        notes=notes,
    )
