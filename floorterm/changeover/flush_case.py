"""One flush as it is computed: line, limit, feed, quantity and curve of a pair, before anything is written down."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import cached_property
from math import isinf

from msgspec import Struct
from msgspec.structs import replace

from floorterm.changeover.feed import Feed, feed_of
from floorterm.changeover.lockout_steps import spoken
from floorterm.changeover.plant_words import in_plant_words
from floorterm.changeover.strategies import Comparison, compared, intermediate_of
from floorterm.flush import (
    Bar,
    FlushQuantity,
    Limit,
    LineModel,
    QuantityInputError,
    Rules,
    Washout,
    flush_quantity,
    governing_sentence,
    pair_of,
    reasoning,
    residual_limit_of_several,
    washout,
)
from floorterm.flush.errors import as_number
from floorterm.flush.explain import percent
from floorterm.flush.from_library import bar, evidence, line_model, rules
from floorterm.flush.pool import PRIOR_SD
from floorterm.flush.progress import Spread
from floorterm.flush.quantity import round_up
from floorterm.flush.washout import Start
from floorterm.library.calibrated import Calibration
from floorterm.library.model import FragranceFile, Library, LineFile
from floorterm.wording import Fact, Say, sentence

_NEVER_FULL = 1.0 - 1e-12


class Case(Struct, frozen=True, kw_only=True, dict=True):
    """A flush of one pair on one line. `line` is the line as it counts (with accepted figures).

    `overruled`: somebody gave the residual limit, `limit.value`; `calculated` is what the rules say.
    `start`: outgoing fraction by unit where the line does not start full of the outgoing fragrance.
    """

    library: Library
    line: LineFile
    model: LineModel
    outgoing: tuple[FragranceFile, ...]
    incoming: FragranceFile
    policy: Rules
    limit: Limit
    calculated: float
    overruled: bool
    feed: Feed
    quantity: FlushQuantity
    curve: Washout
    start: Start | None = None
    calibration: Calibration | None = None

    @property
    def incoming_bar(self) -> Bar:
        """The incoming bar as the rules see it."""
        return bar(self.incoming)

    @property
    def confidence(self) -> float:
        """How sure the figure to be sure must be, one-sided."""
        return float(self.library.plant.calibration.confidence)

    @property
    def spread(self) -> Spread:
        """How well the holdup of the next changeover is known."""
        if self.calibration is None:
            return Spread(sd_log=PRIOR_SD)
        return Spread(sd_log=float(self.calibration.spread), measured=True)

    @property
    def sure_kg(self) -> int:
        """Line mass in kg that is enough with the plant's confidence."""
        return round_up(self.quantity.m_star_kg * self.spread.upper(self.confidence))

    @cached_property
    def ways(self) -> Comparison:
        """The ways to flush side by side, from the steady state before the switch."""
        pair = pair_of(self.limit, self.incoming_bar, floor=min(self.feed.floor, _NEVER_FULL))
        between = intermediate_of(
            self.library, self.line, self.model, self.outgoing, self.incoming, self.policy
        )
        return compared(
            self.library, self.line.id, self.model, pair, self.spread.sd_log, intermediate=between
        )

    @property
    def warnings(self) -> tuple[Say, ...]:
        """What a person must know about line, limit and feed, each once, in the words of the plant."""
        found = (in_plant_words(say, self.line) for say in (*self.quantity.warnings, *self.feed.says))
        return tuple({sentence(say): say for say in found}.values())

    @property
    def start_says(self) -> tuple[Say, ...]:
        """What a start other than full of the outgoing fragrance means: where the residual is highest."""
        if self.start is None:
            return ()
        peak_kg, peak = self.curve.peak
        first = self.curve.residual(0.0)
        if first <= self.limit.value < peak and not isinf(peak_kg):
            facts: dict[str, Fact] = {"kg": f"{peak_kg:.0f}", "percent": f"{peak * 100:.3g}"}
            bad = _turns_bad(self.curve, self.limit.value, peak_kg)
            return (Say("flush.case.turns_bad", {"bad": f"{bad:.0f}", **facts}),)
        return ()


def case_of(
    library: Library,
    line: LineFile,
    outgoing: Sequence[FragranceFile],
    incoming: FragranceFile,
    on: date,
    *,
    limit: float | None = None,
    start: Start | None = None,
    calibration: Calibration | None = None,
    tanks: Mapping[str, str] | None = None,
) -> Case:
    """The flush of a line from every fragrance that it may hold to the incoming one.

    `limit` overrules the residual limit of the rules (1 or more: nothing to flush; at or below what the feed
    carries: unreachable). `tanks`: what the line's dosing tanks held last, as far as the record says.
    Raises FlushError naming the field.
    """
    model = line_model(line)
    policy = rules(library.plant.limits, on)
    found = residual_limit_of_several([bar(old) for old in outgoing], bar(incoming), policy)
    calculated = found.value
    if limit is not None:
        value = as_number(QuantityInputError, "limit", limit, low_open=True)
        found = replace(found, value=min(value, 1.0), status="ok")
    overruled = limit is not None
    held = (tanks or {}).get(incoming.tanks.get(line.id, ""), "")
    feed = feed_of(
        library, line, model, outgoing, incoming, found.value, policy, overruled=overruled, held=held
    )
    floor = min(feed.floor, _NEVER_FULL)
    quantity = flush_quantity(
        model, found, float(line.rate_kg_h), float(line.slug_g), evidence(line), floor=floor
    )
    curve = washout(model, floor=floor, start=start)
    if start is not None and quantity.status != "deviation":
        quantity = _from_state(quantity, curve, line)
    if feed.rinse is not None and not feed.rinse.enough and quantity.status != "deviation":
        quantity = _none_of(quantity, "unreachable")
    return Case(
        library=library,
        line=line,
        model=model,
        outgoing=tuple(outgoing),
        incoming=incoming,
        policy=policy,
        limit=found,
        calculated=calculated,
        overruled=overruled,
        feed=feed,
        quantity=quantity,
        curve=curve,
        start=start,
        calibration=calibration,
    )


def chain(case: Case) -> Iterator[Say]:
    """The whole reasoning behind a flush in sentences, with sources, statuses and confidence.

    What the rules say, item by item; what the feed carries; every figure of the line and how it is known; what
    the washout makes of them; how sure that is and which figure to measure first.
    """
    names = {one.id: spoken(one.name) for one in case.outgoing}
    for say in reasoning(case.limit)[:-1]:
        outgoing = say.facts.get("outgoing")
        yield Say(say.key, {**say.facts, "outgoing": names[outgoing]}) if outgoing in names else say
    if case.overruled:
        yield Say(
            "flush.chain.overruled",
            {"percent": percent(case.limit.value), "calculated": percent(case.calculated)},
        )
    else:
        yield governing(case)
    yield from (in_plant_words(say, case.line) for say in case.feed.says)
    yield from _line_says(case)
    yield from case.start_says
    yield from _result_says(case)


def governing(case: Case) -> Say:
    """What decides the limit, in one sentence."""
    decisive = case.limit.decisive
    by = next((one for one in case.outgoing if decisive and one.id == decisive.outgoing), case.outgoing[0])
    reason = decisive.reason if decisive else None
    said = governing_sentence(case.quantity.status, decisive, case.limit.value, "", reason)
    return Say(said.key, {**said.facts, "outgoing": spoken(by.name)})


def _line_says(case: Case) -> Iterator[Say]:
    for unit in case.line.units:
        facts: dict[str, Fact] = {
            "unit": spoken(unit.title),
            "kg": f"{unit.mixed_kg:f}",
            "n": unit.tanks,
            "plug": f"{unit.plug_kg:f}",
            "dead": f"{float(unit.dead_fraction) * 100:g}",
            "exchange": f"{unit.exchange_ratio:f}",
        }
        kind = "unit_dead" if unit.dead_fraction else "unit"
        yield Say(f"flush.chain.{kind}_{unit.evidence}", facts)
    if case.calibration is not None:
        yield Say("flush.chain.calibrated", {"entry": case.calibration.n})
    if case.model.returned_fraction:
        back = next(unit for unit in case.line.units if unit.name == case.line.flash_to)
        facts = {
            "percent": f"{case.model.flash_fraction * 100:.3g}",
            "unit": spoken(back.title),
            "kg": f"{case.model.return_kg:g}",
        }
        yield Say("flush.chain.flash", facts)


def _result_says(case: Case) -> Iterator[Say]:
    found = case.quantity
    if found.status == "ok":
        rate = f"{case.line.rate_kg_h:f}"
        facts: dict[str, Fact] = {
            "percent": percent(case.limit.value),
            "kg": found.required_kg,
            "bars": found.bars,
            "minutes": found.minutes,
            "rate": rate,
        }
        yield Say("flush.chain.result", facts)
        spread = f"{case.spread.sd_log * 100:.3g}"
        kind = "sure_measured" if case.spread.measured else "sure_assumed"
        sure: dict[str, Fact] = {"sure": f"{case.confidence * 100:g}", "kg": case.sure_kg, "spread": spread}
        yield Say(f"flush.chain.{kind}", sure)
        if found.most_sensitive is not None and case.start is None:
            first = found.most_sensitive
            title = next((unit.title for unit in case.line.units if unit.name == first.unit), None)
            yield Say(
                f"flush.chain.measure_{first.field}",
                {
                    "unit": spoken(title) if title else "",
                    "kg": f"{abs(first.kg_per_percent):.2g}",
                },
            )
    elif found.status == "none":
        yield Say("flush.chain.nothing")
    yield from (in_plant_words(say, case.line) for say in found.warnings)


def _from_state(quantity: FlushQuantity, curve: Washout, line: LineFile) -> FlushQuantity:
    """The same quantity for a line that does not start full of the outgoing fragrance."""
    kg = curve.kg_to_reach(quantity.limit.value) if quantity.limit.value > 0 else float("inf")
    if isinf(kg):
        return _none_of(quantity, "unreachable")
    if kg == 0.0:
        return _none_of(quantity, "none")
    gone = curve.line.flash_to is None
    flash_kg = curve.line.flash_fraction * kg if gone else 0.0
    return replace(
        quantity,
        status="ok",
        m_star_kg=kg,
        required_kg=round_up(kg),
        bars=round_up(kg * 1000.0 / float(line.slug_g)),
        bars_kg=curve.bars_kg(kg),
        flash_kg=flash_kg,
        diverted_kg=round_up(curve.bars_kg(kg) + flash_kg),
        minutes=round_up(kg / float(line.rate_kg_h) * 60.0),
        most_sensitive=None,
        trapped_kg=curve.trapped_kg,
    )


def _none_of(quantity: FlushQuantity, status: str) -> FlushQuantity:
    return replace(
        quantity,
        status="unreachable" if status == "unreachable" else "none",
        m_star_kg=0.0,
        required_kg=0,
        bars=0,
        bars_kg=0.0,
        flash_kg=0.0,
        diverted_kg=0,
        minutes=0,
        most_sensitive=None,
    )


def _turns_bad(curve: Washout, limit: float, peak_kg: float) -> float:
    """Where a line that starts clean first goes above the limit, between the start and its peak."""
    steps = 400
    return next(
        (
            peak_kg * step / steps
            for step in range(1, steps + 1)
            if curve.residual(peak_kg * step / steps) > limit
        ),
        peak_kg,
    )


def decimal_spread(case: Case) -> Decimal:
    """The spread as an entry keeps it."""
    return case.calibration.spread if case.calibration else Decimal(repr(PRIOR_SD))
